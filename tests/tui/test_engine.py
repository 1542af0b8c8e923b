"""The engine picture as text."""

from dataclasses import replace

from loomproof.facts.verdict import Verdict
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.engine import CylinderView, EngineView
from loomproof.tui.widgets.engine import draw_engine
from loomproof.tui.words import Live


def text_of(view: EngineView, width: int = 80, height: int = 40) -> list[str]:
    return ["".join(text for text, _ in line) for line in draw_engine(view, width, height)]


def vee(orientation: str, live: int = 0, banks: int = 2, rows: int = 3) -> EngineView:
    cylinders = tuple(
        CylinderView(
            b * rows + r + 1, b, r, (("I", Verdict.PASS), ("S", Verdict.FAIL)), b * rows + r + 1 == live
        )
        for b in range(banks)
        for r in range(rows)
    )
    return EngineView(
        cylinders, "vee" if banks == 2 else "inline", orientation=orientation, firing_order=(1, 4, 2, 5, 3, 6),
        start_text="free end", end_text="power output",
    )  # fmt: skip


def test_crosswise_banks_lie_one_above_the_other():
    lines = text_of(vee("crosswise"))
    first = next(i for i, line in enumerate(lines) if " 1 " in line and " 3 " in line)
    second = next(i for i, line in enumerate(lines) if " 4 " in line and " 6 " in line)
    assert first < second
    assert any("V between the banks" in line for line in lines[first:second])


def test_lengthwise_banks_lie_side_by_side():
    lines = text_of(vee("lengthwise"))
    for pair in ((1, 4), (2, 5), (3, 6)):
        assert any(f" {pair[0]} " in line and f" {pair[1]} " in line and "╲╱" in line for line in lines)


def test_the_live_cylinder_is_told_by_frame_and_word():
    lines = text_of(vee("crosswise", live=2))
    assert any("LIVE" in line for line in lines)
    assert any("╔" in line for line in lines)
    assert "[2]" in next(line for line in lines if line.startswith("Fires"))
    assert not any("LIVE" in line or "╔" in line for line in text_of(vee("crosswise")))


def test_marks_carry_a_shape_and_the_legend_its_word():
    lines = "\n".join(text_of(vee("crosswise")))
    assert "I✓ S✗" in lines
    assert "✓ pass  ✗ FAIL" in lines


def test_low_rooms_get_one_line_a_cylinder():
    lines = text_of(vee("lengthwise", live=5), height=9)
    assert len(lines) <= 9
    assert any("► 5" in line for line in lines)


def test_many_cylinders_fit_a_narrow_pane():
    lines = text_of(vee("crosswise", live=3, rows=6), width=46)
    boxes = [line for line in lines if line.startswith(("┌", "╔", "│", "║"))]
    assert boxes
    assert max(len(line) for line in boxes) <= 46


def test_the_front_of_the_vehicle_and_both_ends_of_the_crank_are_marked():
    across = text_of(vee("crosswise"))
    assert across[1] == "▲ front of the vehicle"
    assert across[2].startswith("◄ free end")
    assert across[2].endswith("power output ►")
    along = text_of(vee("lengthwise"))
    assert along[1] == "▲ front of the vehicle   ┬ free end of the crank"
    assert "┴ power output" in along
    assert along.index("┴ power output") > max(i for i, line in enumerate(along) if "└" in line)


def test_a_driven_load_is_told_by_its_own_shape_and_two_of_a_kind_by_the_worse():
    cylinder = CylinderView(1, 0, 0, (("I", Live.DRIVEN), ("S", Verdict.PASS)), live=True)
    one = replace(vee("crosswise"), cylinders=(cylinder,))
    assert any("I► S✓" in line for line in text_of(one))
    twin = CylinderView(
        1, 0, 0, (("I", Verdict.PASS), ("I", Verdict.FAIL), ("S", Verdict.PASS), ("S", Verdict.UNSURE))
    )
    assert any("I✗ S?" in line for line in text_of(replace(one, cylinders=(twin,))))


def test_a_bank_too_long_for_its_room_goes_on_below_and_loses_no_cylinder():
    lines = text_of(vee("crosswise", rows=8), width=40, height=40)
    assert max(len(line) for line in lines) <= 60  # the legend is cut by the widget, the bay is not
    bay = [line for line in lines if line.startswith(("┌", "│"))]
    assert max(len(line) for line in bay) <= 40
    for number in range(1, 17):
        assert any(f"│{number:>2}" in line for line in bay), number
    assert any("goes on to the right" in line for line in lines)


def elsewhere(count: int) -> tuple[ChannelView, ...]:
    return tuple(
        ChannelView(n, f"load {n}", "valve", f"H1-{n}", "GN", f"place {n}", verdict="pass")
        for n in range(1, count + 1)
    )


def test_loads_away_from_the_cylinders_stand_beside_a_narrow_bay():
    lines = text_of(replace(vee("lengthwise", banks=1, rows=5), elsewhere=elsewhere(6)), width=49, height=13)
    assert len(lines) <= 13
    for number in range(1, 7):
        assert any(f"◇ {number} place {number} ✓" in line for line in lines)
    assert all(len(line) <= 49 for line in lines)


def test_what_does_not_fit_is_counted():
    lines = text_of(replace(vee("crosswise"), elsewhere=elsewhere(15)), width=40, height=16)
    shown = sum("◇" in line for line in lines)
    assert len(lines) <= 16
    assert lines[-1] == f"... and {15 - shown} more, see the channels"


def test_without_cylinders_the_other_loads_are_listed():
    assert draw_engine(EngineView(), 40, 10) == []
    lines = text_of(EngineView(elsewhere=elsewhere(3)), width=60, height=10)
    assert lines[0].startswith("No engine in this job")
    assert len(lines) == 4
