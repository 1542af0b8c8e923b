"""The header picture as text: where each cavity lies, from which side, and what is in it."""

from pathlib import Path

import pytest

from loomproof.job.file.loading import load_job
from loomproof.tui.desk.channels import channel_views
from loomproof.tui.desk.headers import header_views
from loomproof.tui.views.header import CavityView, HeaderView
from loomproof.tui.widgets.header import draw_header, window
from loomproof.tui.words import Live

EXAMPLES = Path(__file__).parents[2] / "examples"
TWO_ROWS = HeaderView(
    "H1", "header", ((1, 2, 3, 4), (5, 6, 7, 8)), "wire",
    (
        CavityView(2, "GNBK", 1, "injector 1", verdict="pass", colours="green with black"),
        CavityView(7, "RD", None, "rail", "87", colours="red"),
        CavityView(8, "BU", 2, "coil", verdict="fail", live=Live.DRIVEN),
    ),
)  # fmt: skip


def text_of(view: HeaderView, marked: int | None = None, size=(60, 16), *, mirrored=False) -> list[str]:
    lines = draw_header(view, *size, marked, mirrored=mirrored)
    return ["".join(text for text, _ in line) for line in lines]


def test_each_cavity_lies_where_the_job_says_with_wire_channel_and_sign():
    lines = text_of(TWO_ROWS)
    assert lines[1] == "seen from the WIRE SIDE"
    assert lines[3] == "│  1  │  2  │  3  │  4  │"
    assert lines[4] == "│     │ GNBK│     │     │"
    assert lines[5] == "│     │  1✓ │     │     │"
    assert lines[9] == "│     │     │ +87 │  2► │"


def test_the_other_side_swaps_left_and_right_and_says_so():
    lines = text_of(TWO_ROWS, mirrored=True)
    assert lines[1] == "seen from the MATING SIDE (mirrored)"
    assert lines[3] == "│  4  │  3  │  2  │  1  │"
    assert lines[7] == "│  8  │  7  │  6  │  5  │"


def test_a_side_that_the_job_does_not_state_is_not_made_up():
    unsaid = HeaderView("H1", "header", ((1, 2),))
    assert text_of(unsaid)[1] == "side not stated in the job"
    assert text_of(unsaid, mirrored=True)[1] == "side not stated in the job, mirrored"


def test_the_marked_cavity_has_a_heavy_frame_on_all_sides_and_is_told_in_words():
    lines = text_of(TWO_ROWS, 2)
    assert lines[2] == "┌─────┏━━━━━┓─────┬─────┐"
    assert lines[3] == "│  1  ┃  2  ┃  3  │  4  │"
    assert lines[6] == "├─────┗━━━━━┛─────┼─────┤"
    assert "┃H1-2┃ channel 1, injector 1" in lines
    assert "✓ pass wire GNBK (green with black)" in lines
    assert not any("┃" in line or "━" in line for line in text_of(TWO_ROWS))


def test_every_cavity_can_be_marked_and_its_frame_is_closed():
    for marked in range(1, 9):
        lines = text_of(TWO_ROWS, marked)
        text = "\n".join(lines[2:11])
        assert [text.count(corner) for corner in "┏┓┗┛"] == [1, 1, 1, 1], marked
        assert text.count("┃") == 6


def test_a_place_without_a_cavity_is_filled():
    lines = text_of(HeaderView("H2", "latched", ((1, 0, 2),), "wire"))
    assert lines[3] == "│  1  │░░░░░│  2  │"


@pytest.mark.parametrize("marked", [1, 15, 30])
def test_a_header_too_wide_shows_the_part_with_the_marked_cavity_and_counts_the_rest(marked):
    wide = HeaderView("H1", "wide", (tuple(range(1, 31)), tuple(range(31, 61))), "wire")
    lines = text_of(wide, marked, (45, 14))
    assert all(len(line) <= 45 for line in lines)
    assert any(f"┃{marked:^3}┃" in line for line in lines)
    told = next(line for line in lines if line.startswith("more: "))
    shown = next(line for line in lines if "┃" in line).count("│") + 1
    hidden = sum(int(word) for word in told.replace(",", "").split() if word.isdigit())
    assert hidden + shown == 30


def test_a_window_always_holds_what_it_is_about():
    for extent in range(1, 12):
        for room in range(1, 12):
            for at in range(extent):
                start, count = window(extent, room, at)
                assert 0 <= start <= at < start + count <= extent
                assert count == min(extent, room)


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
@pytest.mark.parametrize("size", [(49, 15), (78, 19)])
def test_every_header_of_the_examples_fits_with_every_cavity_in_use_marked(path, size):
    job = load_job(path)
    for view in header_views(job, channel_views(job)):
        for cavity in view.cavities:
            for mirrored in (False, True):
                lines = text_of(view, cavity.number, size, mirrored=mirrored)
                assert len(lines) <= size[1]
                assert all(len(line) <= size[0] for line in lines)
                assert any(f"┃{view.id}-{cavity.number}┃" in line for line in lines)
