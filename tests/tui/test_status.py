"""The status bar: link, supply, isolation, arming and the stop, in words."""

import pytest

from loomproof.tui.desk.panel import STOP_TEXT
from loomproof.tui.views.panel import Armed, LinkState, PanelView
from loomproof.tui.widgets.status import fitted_line, state_parts, stop_parts


def words(parts) -> str:
    return " | ".join(text for text, _ in parts)


LIVE = PanelView(LinkState.LIVE, "box", True, 13.46, "idle")


def test_a_live_box_shows_its_supply():
    assert (
        words(state_parts(LIVE))
        == "● simulated box live | supply 13.5 V | idle | fuel not isolated | ○ nothing armed"
    )


def test_armed_classes_show_the_time_left():
    view = PanelView(LinkState.LIVE, armed=(Armed("fuel", 12.4), Armed("spark", 0)), isolation_left_s=75.0)
    text = words(state_parts(view))
    assert "▲ fuel ARMED 12 s" in text
    assert "spark" not in text
    assert "✓ fuel isolated 1:15" in text


@pytest.mark.parametrize("width", [80, 120])
def test_what_is_armed_is_never_cut(width):
    view = PanelView(
        LinkState.LIVE, simulated=True, supply_v=13.5, state="driving", driving_channel=12, isolation_left_s=599.0,
        armed=(Armed("fuel", 59.0),), waiting="Pull the connector: cylinder 1 injector, behind the manifold",
    )  # fmt: skip
    line = "".join(text for text, _ in fitted_line(view, width))
    assert len(line) <= width
    assert "▲ fuel ARMED 59 s" in line
    assert line.startswith("? ")


def test_a_lost_link_is_a_word_and_a_shape():
    assert words(state_parts(PanelView(LinkState.LOST))).startswith("✗ box LOST")


def test_tripped_channels_are_named():
    assert "! tripped ch 3 7" in words(state_parts(PanelView(LinkState.LIVE, tripped=(3, 7))))


@pytest.mark.parametrize("width", [80, 120, 200])
def test_the_stop_key_and_what_it_is_not_are_always_there(width):
    text = words(stop_parts(LIVE, width))
    assert "Ctrl+X or F12" in text
    assert "ot an emergency stop" in text
    assert sum(len(part) for part, _ in stop_parts(LIVE, width)) <= width


def test_a_stopped_box_says_why_and_how_to_go_on():
    for reason in STOP_TEXT.values():
        parts = stop_parts(PanelView(LinkState.LIVE, stopped=True, stop_reason=reason), 80)
        assert f"STOPPED ({reason})" in words(parts) or not reason
        assert "Ctrl+R" in words(parts)
        assert sum(len(text) for text, _ in parts) <= 80


def test_the_stop_switch_must_be_closed_first():
    assert "Close it" in words(stop_parts(PanelView(LinkState.LIVE, stopped=True, stop_input_open=True), 80))


def test_a_loom_without_fuel_says_nothing_of_its_isolation():
    assert "fuel" in words(state_parts(PanelView(LinkState.LIVE)))
    assert "fuel" not in words(state_parts(PanelView(LinkState.LIVE, fuel=False)))
    assert "fuel" in words(state_parts(PanelView(LinkState.LIVE, fuel=False, isolation_left_s=5.0)))
