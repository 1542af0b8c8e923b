"""The trace plot: dots, axes, band and legend, with and without colour."""

import math

import pytest
from textual.app import App, ComposeResult

from loomproof.tui.views.trace import Curve, TraceBand, TraceView
from loomproof.tui.widgets.braille import Canvas
from loomproof.tui.widgets.scale import choose, choose_time, round_up
from loomproof.tui.widgets.waveform import BAND_GLYPH, Waveform, band_cells, interpolate


def test_dots_are_where_unicode_puts_them():
    # The Unicode Standard, Braille Patterns: U+2801 dot 1 top left, U+2808 dot 4 top right, U+2840 dot 7, U+2880 dot 8.
    for (x, y), code in {
        (0, 0): 0x2801,
        (1, 0): 0x2808,
        (0, 1): 0x2802,
        (0, 3): 0x2840,
        (1, 3): 0x2880,
    }.items():
        canvas = Canvas(1, 1)
        canvas.dot(x, y)
        assert ord(canvas.glyph(0, 0)) == code


def test_dots_outside_are_left_out():
    canvas = Canvas(2, 2)
    for x, y in ((-1, 0), (4, 0), (0, 8), (0, -1)):
        canvas.dot(x, y)
    assert not any(canvas.filled(c, r) for c in range(2) for r in range(2))


def test_a_line_reaches_both_ends_without_gaps():
    canvas = Canvas(10, 5)
    canvas.line(0, 0, 19, 19)
    assert canvas.filled(0, 0)
    assert canvas.filled(9, 4)
    assert all(canvas.filled(c, c // 2) for c in range(10))


@pytest.mark.parametrize(
    ("value", "up"), [(0.93, 1.0), (1.0, 1.0), (1.01, 1.2), (13.5, 15.0), (0.042, 0.05), (0, 1.0)]
)
def test_round_up(value, up):
    assert round_up(value) == pytest.approx(up)


def test_axes_carry_units_that_keep_labels_short():
    assert choose(0, 0.012, "A").label(0.012, with_unit=True) == "12 mA"
    assert choose(0, 9.3, "A").label(10.0, with_unit=True) == "10 A"
    assert choose_time(0, 5e-3).label(2.5e-3, with_unit=True) == "2.5 ms"
    assert choose_time(0, 8e-5).label(8e-5, with_unit=True) == "80 µs"


@pytest.mark.parametrize(
    ("low", "high", "most", "ticks"),
    [
        (0.0, 7.49e-3, 5, [0.0, 2e-3, 4e-3, 6e-3]),
        (0.0, 1.51e-3, 4, [0.0, 0.5e-3, 1e-3, 1.5e-3]),
        (0.0, 1.2, 4, [0.0, 0.5, 1.0]),
        (0.0, 10.0, 2, [0.0, 10.0]),
        (-0.5, 1.0, 4, [-0.5, 0.0, 0.5, 1.0]),
        (0.0, 9.9, 2, [0.0, 5.0]),
    ],
)
def test_ticks_are_round_and_not_too_many(low, high, most, ticks):
    scale = choose_time(low, high)
    assert scale.ticks(most) == pytest.approx(ticks)


def test_interpolation():
    assert interpolate((0.0, 1.0, 2.0), (0.0, 10.0, 0.0), 1.5) == pytest.approx(5.0)
    assert interpolate((0.0, 1.0), (0.0, 1.0), 1.5) is None


def test_band_covers_the_cells_between_its_edges():
    band = TraceBand((0.0, 1.0), (0.25, 0.25), (0.75, 0.75))
    cells = band_cells(band, choose_time(0, 1.0), choose(0, 1.0, "A"), 4, 8)
    assert {row for _, row in cells} == {2, 3, 4, 5}
    assert {column for column, _ in cells} == {0, 1, 2, 3}


def curve(label: str, height: float) -> Curve:
    times = tuple(i * 5e-5 for i in range(100))
    return Curve(label, times, tuple(height * (1 - math.exp(-t / 1e-3)) for t in times))


class Holder(App[None]):
    def compose(self) -> ComposeResult:
        yield Waveform()


def lines_of(app: App[None]) -> list[str]:
    waveform = app.query_one(Waveform)
    return ["".join(s.text for s in waveform.render_line(y)) for y in range(waveform.size.height)]


async def test_plot_has_legend_axes_and_distinct_patterns():
    app = Holder()
    async with app.run_test(size=(60, 16)) as pilot:
        first = curve("measured", 1.0)
        band = TraceBand(first.times_s, [v * 0.8 for v in first.values], [v * 1.15 for v in first.values])
        app.query_one(Waveform).view = TraceView(
            curves=(first, curve("before", 0.5)), band=band, reading="13.9 Ω"
        )
        await pilot.pause()
        lines = lines_of(app)
    text = "\n".join(lines)
    assert "━━ measured" in lines[0]
    assert "╍╍ before" in lines[0]
    assert "expected" in lines[0]
    assert "13.9 Ω" in lines[0]
    assert BAND_GLYPH in "\n".join(lines[1:-2]), "the band shows without colour"
    labelled = [line.split("┤")[0].strip() for line in lines if "┤" in line]
    assert labelled == ["1 A", "0.5", "0"]
    assert lines[-1].split() == ["0", "2", "4", "ms"]
    dots = [bin(ord(c) - 0x2800).count("1") for c in text if 0x2800 < ord(c) <= 0x28FF]
    assert sum(dots) > 100


async def test_empty_plot_says_what_would_fill_it():
    app = Holder()
    async with app.run_test(size=(60, 10)):
        assert "No trace yet" in "\n".join(lines_of(app))


async def test_a_tiny_plot_says_so_instead_of_breaking():
    app = Holder()
    async with app.run_test(size=(14, 4)) as pilot:
        app.query_one(Waveform).view = TraceView(curves=(curve("measured", 1.0),))
        await pilot.pause()
        assert "too small" in lines_of(app)[0]


async def test_every_line_is_exactly_as_wide_as_the_widget():
    app = Holder()
    async with app.run_test(size=(60, 16)) as pilot:
        for width, height in ((60, 16), (31, 9), (120, 40)):
            await pilot.resize_terminal(width, height)
            app.query_one(Waveform).view = TraceView(curves=(curve("measured", 1.0),))
            await pilot.pause()
            waveform = app.query_one(Waveform)
            for y in range(waveform.size.height):
                assert waveform.render_line(y).cell_length == waveform.size.width
