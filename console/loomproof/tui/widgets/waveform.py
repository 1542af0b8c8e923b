"""The trace plot: measured curves over the expected band, drawn in braille through `render_line`."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.views.trace import Curve, TraceBand, TraceView
from loomproof.tui.widgets.braille import Canvas
from loomproof.tui.widgets.scale import Scale, choose, choose_time

PATTERNS = ((1, 0), (1, 1), (1, 3))
"""Dots on, dots off: curves differ by pattern as well as by colour."""
PATTERN_WORDS = ("━━", "╍╍", "┈┈")
NAMES = ("first", "second", "third")
"""Style of each kind of curve."""
BAND_GLYPH = "░"
MARGIN = 8
"""Cells left of the plot for the labels of the current axis."""


def kind_of(curve: Curve, index: int) -> int:
    """Return how a curve is drawn: as it says, else by its place."""
    return min(index if curve.kind < 0 else curve.kind, len(PATTERNS) - 1)


def interpolate(times: Sequence[float], values: Sequence[float], at: float) -> float | None:
    """Return the value at a time by straight lines between samples; None outside them."""
    if not len(times) or at < times[0] or at > times[-1]:
        return None
    right = bisect_left(times, at)
    if right == 0:
        return float(values[0])
    span = times[right] - times[right - 1]
    weight = (at - times[right - 1]) / span if span > 0 else 1.0
    return float(values[right - 1] + weight * (values[right] - values[right - 1]))


def band_cells(
    band: TraceBand, x_axis: Scale, y_axis: Scale, columns: int, rows: int
) -> set[tuple[int, int]]:
    """Return the cells (column, row) whose middle, or nearest cell, lies within the band.

    Args:
        band: the expected range.
        x_axis: the time axis.
        y_axis: the value axis.
        columns: cells across.
        rows: cells down.
    """
    cells: set[tuple[int, int]] = set()
    for column in range(columns):
        at = x_axis.value((column + 0.5) / columns)
        low = interpolate(band.times_s, band.low, at)
        high = interpolate(band.times_s, band.high, at)
        if low is None or high is None:
            continue
        top = rows - y_axis.fraction(high) * rows
        bottom = rows - y_axis.fraction(low) * rows
        first = min(max(int(top), 0), rows - 1)
        last = min(max(int(bottom - 1e-9), 0), rows - 1)
        cells.update((column, row) for row in range(first, last + 1))
    return cells


def draw_curve(curve: Curve, x_axis: Scale, y_axis: Scale, canvas: Canvas, pattern: tuple[int, int]) -> None:
    """Draw one curve, thinning samples that fall on the same dot column to their extremes.

    Args:
        curve: the trace.
        x_axis: the time axis.
        y_axis: the value axis.
        canvas: where it is drawn.
        pattern: dots on and dots off along the line.
    """
    previous: tuple[int, int] | None = None
    on, off = pattern
    for at, value in zip(curve.times_s, curve.values, strict=True):
        x = round(x_axis.fraction(at) * (canvas.width - 1))
        y = round((1 - y_axis.fraction(value)) * (canvas.height - 1))
        if previous is None:
            canvas.line(x, y, x, y)
        elif (x, y) != previous:
            canvas.line(previous[0], previous[1], x, y, on=on, off=off)
        previous = (x, y)


REVERSED = Style(reverse=True)


@dataclass(frozen=True)
class CellStyles:
    """How one curve looks in its cells: plain, over the band, and where a cursor crosses it. Made once a picture."""

    plain: Style
    over_band: Style
    crossed: Style

    @classmethod
    def of(cls, style: Style, ground: Color | None) -> CellStyles:
        """Return the styles of a curve over a band of that colour."""
        return cls(style, style + Style(bgcolor=ground), style + REVERSED)

    def at(self, inside: bool, crossed: bool) -> Style:
        """Return the style of one cell."""
        return self.crossed if crossed else (self.over_band if inside else self.plain)


class Waveform(Widget):
    """Two or more traces over one another with an expected band and axes with units.

    Legible without colour: the band is shaded with a character, curves differ by dot pattern, the legend
    names each.
    """

    COMPONENT_CLASSES = {
        "waveform--axis",
        "waveform--band",
        "waveform--first",
        "waveform--second",
        "waveform--third",
        "waveform--empty",
    }

    view: reactive[TraceView] = reactive(TraceView())
    empty_text = "No trace yet. A trace appears here when a step or a drive has run."

    def __init__(self, *, id: str | None = None, empty_text: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._cache: tuple[tuple[object, ...], list[Strip]] | None = None
        if empty_text is not None:
            self.empty_text = empty_text

    def render_line(self, y: int) -> Strip:
        """Return one line of the picture, rebuilt only when view, size or theme changed."""
        width, height = self.size
        key = self.drawn_key()
        if self._cache is None or self._cache[0] != key:
            self._cache = (key, self._build(width, height))
        lines = self._cache[1]
        return lines[y] if y < len(lines) else Strip.blank(width, self.rich_style)

    def drawn_key(self) -> tuple[object, ...]:
        """Return what the picture depends on."""
        return (self.view, *self.size, self.app.theme)

    def marked_columns(self, columns: int) -> dict[int, str]:
        """Return columns to mark by a line with a letter on top; none here."""
        del columns
        return {}

    def axes(self) -> tuple[Scale, Scale]:
        """Return the time axis and the value axis of the present view."""
        curves = [c for c in self.view.curves if len(c.times_s)]
        start = min((float(c.times_s[0]) for c in curves), default=0.0)
        end = max((float(c.times_s[-1]) for c in curves), default=1e-3)
        low = min((float(min(c.values)) for c in curves), default=0.0)
        high = max((float(max(c.values)) for c in curves), default=1.0)
        if self.view.band is not None and len(self.view.band.high):
            high = max(high, float(max(self.view.band.high)))
            if not curves:
                start, end = float(self.view.band.times_s[0]), float(self.view.band.times_s[-1])
        return choose_time(min(start, 0.0), end), choose(low, high * 1.02, self.view.unit)

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(f"waveform--{name}")

    def _build(self, width: int, height: int) -> list[Strip]:
        if not any(len(c.times_s) for c in self.view.curves) and self.view.band is None:
            return self._build_empty(width, height)
        rows = height - 3
        columns = width - MARGIN - 1
        if rows < 2 or columns < 10:
            return [Strip([Segment("(too small for a trace)"[:width], self._style("empty"))])]
        x_axis, y_axis = self.axes()
        body = self._plot_rows(columns, rows, x_axis, y_axis)
        lines = [self._legend(width)]
        labels = self._row_labels(rows, y_axis)
        for row, segments in enumerate(body):
            mark = "┤" if row in labels else "│"
            text = f"{labels.get(row, ''):>{MARGIN - 1}} {mark}"
            lines.append(Strip([Segment(text, self._style("axis")), *segments]))
        lines.append(self._time_line(columns, x_axis))
        lines.append(self._time_labels(columns, x_axis))
        return [strip.adjust_cell_length(width, self.rich_style) for strip in lines]

    def _build_empty(self, width: int, height: int) -> list[Strip]:

        text = wrap(self.empty_text, max(width - 4, 10))
        blank = Strip.blank(width, self.rich_style)
        lines = [blank] * max((height - len(text)) // 2, 0)
        lines += [
            Strip([Segment(f"  {line}", self._style("empty"))]).adjust_cell_length(width, self.rich_style)
            for line in text
        ]
        return lines

    def _legend(self, width: int) -> Strip:
        segments: list[Segment] = []
        gap = Segment("  ", self.rich_style)
        for kind in range(len(PATTERNS)):
            labels = [
                curve.label for index, curve in enumerate(self.view.curves) if kind_of(curve, index) == kind
            ]
            if labels:
                more = f" +{len(labels) - 1}" if len(labels) > 1 else ""
                segments += [
                    Segment(f"{PATTERN_WORDS[kind]} {labels[0]}{more}", self._style(NAMES[kind])),
                    gap,
                ]
        if self.view.band is not None:
            segments += [Segment(f"{BAND_GLYPH * 2} {self.view.band.label}", self._style("band")), gap]
        if self.view.reading:
            segments.append(Segment(self.view.reading, self._style("axis")))
        return Strip(segments).crop(0, width)

    @staticmethod
    def _row_labels(rows: int, y_axis: Scale) -> dict[int, str]:
        """Return the labels of the value axis by row; the highest carries the unit."""
        values = y_axis.ticks(max(2, min(5, rows // 2)))
        return {
            min(max(rows - 1 - int(y_axis.fraction(value) * rows), 0), rows - 1): y_axis.label(
                value, with_unit=value == values[-1]
            )
            for value in values
        }

    def _plot_rows(self, columns: int, rows: int, x_axis: Scale, y_axis: Scale) -> list[list[Segment]]:
        canvases: list[tuple[Canvas, CellStyles]] = []
        ground = self._style("band").bgcolor
        for index, curve in enumerate(self.view.curves):
            kind = kind_of(curve, index)
            canvas = Canvas(columns, rows)
            draw_curve(curve, x_axis, y_axis, canvas, PATTERNS[kind])
            canvases.append((canvas, CellStyles.of(self._style(NAMES[kind]), ground)))
        shaded = band_cells(self.view.band, x_axis, y_axis, columns, rows) if self.view.band else set()
        marked = self.marked_columns(columns)
        gap, axis = Segment(" ", self.rich_style), self._style("axis")
        shade = Segment(BAND_GLYPH, self._style("band"))
        letter = self._style("first") + REVERSED
        lines = []
        for row in range(rows):
            segments = []
            for column in range(columns):
                inside, mark = (column, row) in shaded, marked.get(column, "")
                top = next((found for found in canvases if found[0].filled(column, row)), None)
                if mark and row == 0:
                    segments.append(Segment(mark, letter))
                elif top is not None:
                    segments.append(Segment(top[0].glyph(column, row), top[1].at(inside, bool(mark))))
                elif mark:
                    segments.append(Segment("│" if mark == "A" else "┆", axis))
                else:
                    segments.append(shade if inside else gap)
            lines.append(list(Segment.simplify(segments)))
        return lines

    def _time_line(self, columns: int, x_axis: Scale) -> Strip:
        ticks = {column for column, _ in self._time_ticks(columns, x_axis)}
        line = "".join("┴" if column in ticks else "─" for column in range(columns))
        return Strip([Segment(" " * MARGIN + "└" + line, self._style("axis"))])

    @staticmethod
    def _time_ticks(columns: int, x_axis: Scale) -> list[tuple[int, str]]:
        """Return column and label of each tick of the time axis; the last carries the unit."""
        values = x_axis.ticks(max(2, min(6, columns // 12)))
        return [
            (
                round(x_axis.fraction(value) * (columns - 1)),
                x_axis.label(value, with_unit=value == values[-1]),
            )
            for value in values
        ]

    def _time_labels(self, columns: int, x_axis: Scale) -> Strip:
        text = [" "] * (columns + MARGIN + 1)
        for column, label in self._time_ticks(columns, x_axis):
            start = min(max(column + MARGIN + 1 - len(label) // 2, 0), len(text) - len(label))
            text[start : start + len(label)] = label
        return Strip([Segment("".join(text), self._style("axis"))])
