"""The engine picture as text."""

from loomproof.tui.views import CylinderView, EngineView
from loomproof.tui.widgets.engine import draw_engine


def text_of(view: EngineView, width: int = 80, height: int = 40) -> list[str]:
    return ["".join(text for text, _ in line) for line in draw_engine(view, width, height)]


def vee(orientation: str, live: int = 0, banks: int = 2, rows: int = 3) -> EngineView:
    cylinders = tuple(
        CylinderView(b * rows + r + 1, b, r, (("I", "pass"), ("S", "fail")), b * rows + r + 1 == live)
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


def test_where_the_ends_lie_is_said():
    assert text_of(vee("crosswise"))[1] == "left: free end  right: power output"
    assert text_of(vee("lengthwise"))[1] == "top: free end  bottom: power output"


def test_without_cylinders_the_other_loads_are_listed():
    assert draw_engine(EngineView(), 40, 10) == []
