"""The wiggle page: what is chosen and marked reaches the desk, dropouts reach eyes, ears and the list."""

from __future__ import annotations

from dataclasses import replace

import pytest
from textual.widgets import Input

from loomproof.procedure.wiggle.model import Seen, WiggleState
from loomproof.tui.messages import PanelChanged, WiggleAdvanced
from loomproof.tui.pages.wiggle.desk import WiggleDesk
from loomproof.tui.pages.wiggle.stripchart import StripChart, draw_lane
from loomproof.tui.pages.wiggle.view import Lane, WiggleView
from loomproof.tui.sounds import Sound
from loomproof.tui.widgets.braille import Canvas
from loomproof.tui.widgets.row_list import RowList
from tests.tui.conftest import LIVE_PANEL
from tests.tui.looking import text_of
from tests.tui.test_walk_page import JOB

SEEN = (
    Seen(3, 104.2, 3200, 1000, "at the header"),
    Seen(3, 104.9, 400, 350),
    Seen(11, 109.5, 40_000, 990, "by the bulkhead"),
)


def told(seen=SEEN, fresh=(), watching=11, **state):
    views = []
    flexing = WiggleDesk(JOB, lambda message: views.append(message.view))
    usual = {"held": False, "hand": "by the bulkhead", "spans": ((3, 102.0, 106.0), (11, 106.0, 108.0))}
    flexing.told(
        WiggleState(channels=(3, 11), began_s=100.0, now_s=112.0, watching=watching, watching_since_s=108.0,
                  seen=tuple(seen), **(usual | state)), fresh,
    )  # fmt: skip
    return views[-1]


@pytest.fixture(autouse=True)
def still(monkeypatch):
    monkeypatch.setattr(Input, "cursor_blink", False)
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")
    monkeypatch.setattr(StripChart, "now_s", lambda self: self.view.now_s)


@pytest.mark.parametrize("size", [(80, 24), (120, 36)], ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("state", ["idle", "running", "ended"])
def test_picture(snap_compare, console, desk, state, size):
    async def run_before(pilot):
        await pilot.press("8")
        await pilot.pause()
        if state == "idle":
            await pilot.press("space", "down", "down", "space")
        elif state == "running":
            desk.post(WiggleAdvanced(told()))
        else:
            view = told(watching=None)
            desk.post(
                WiggleAdvanced(
                    WiggleView(**{**vars(view), "running": False, "said": "3 dropouts.", "ok": False})
                )
            )
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


async def test_channels_are_chosen_and_begun_with(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        await pilot.pause()
        await pilot.press("space", "down", "space", "t", "g")
        assert desk.asked == [("start_wiggle", (1, 2), True)]
        assert "HELD ON, under current" in text_of(console)


async def test_without_a_choice_the_channel_under_the_cursor_is_watched(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        await pilot.pause()
        await pilot.press("down", "g")
        assert desk.asked == [("start_wiggle", (2,), False)]


async def test_a_channel_that_is_held_on_is_never_said_to_be_only_watched(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        for held, word in ((False, "~ watching ch 11"), (True, "► holding ch 11 ON")):
            desk.post(WiggleAdvanced(told(held=held)))
            desk.post(PanelChanged(replace(LIVE_PANEL, state="sensing", driving_channel=11)))
            await pilot.pause()
            assert word in text_of(console)
        desk.post(WiggleAdvanced(replace(told(held=True), running=False)))
        desk.post(PanelChanged(LIVE_PANEL))
        await pilot.pause()
        await pilot.press("t")
        assert "to be HELD ON, under current" in text_of(console)
        assert "[t] At rest instead" in text_of(console)


@pytest.mark.parametrize("page", ["7", "8"])
async def test_nothing_begins_while_the_box_is_stopped(console, desk, page):
    async with console.run_test() as pilot:
        await pilot.press(page)
        desk.post(PanelChanged(replace(LIVE_PANEL, stopped=True)))
        await pilot.pause()
        await pilot.press("g", "f")
        await pilot.pause()
        assert not [what for what, *_ in desk.asked if what.startswith("start")]
        assert "The box is stopped" in {note.title for note in console._notifications}


async def test_single_keys_and_places_say_where_the_hand_is(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        await pilot.press("h", "j", "w", "c")
        places = console.screen.query_one("#wiggle-places", RowList)
        places.focus()
        await pilot.press("down", "enter")
        assert desk.asked == [
            ("mark_hand", "at the header", None),
            ("mark_hand", "at a splice or branch", None),
            ("mark_hand", "where it goes through a wall", None),
            ("mark_hand", "at the load's connector", None),
            ("mark_hand", "cylinder 2", None),
        ]


async def test_with_the_cursor_on_a_dropout_the_same_keys_correct_it(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        rows = console.screen.query_one("#wiggle-rows", RowList)
        rows.focus()
        rows.go_to("1")
        await pilot.press("h")
        assert desk.asked == [("mark_hand", "at the header", 1)]


async def test_own_words_are_asked_for(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        await pilot.press("l", *"tape", "enter")
        await pilot.pause()
        assert desk.asked == [("mark_hand", "tape", None)]


async def test_a_fresh_dropout_ticks_once_from_any_page(console, desk):
    async with console.run_test() as pilot:
        heard = []
        console.sounds.play = lambda sound, **more: heard.append(sound)
        await pilot.press("2")
        desk.post(WiggleAdvanced(told(fresh=SEEN[-1:])))
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        assert heard == [Sound.TICK]


async def test_enough_ends_it_and_only_while_it_runs(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("8", "e")
        assert desk.asked == []
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        await pilot.press("g", "e")
        assert desk.asked == [("end_wiggle",)]


async def test_the_list_tells_time_length_depth_and_hand(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("8")
        desk.post(WiggleAdvanced(told()))
        await pilot.pause()
        await pilot.pause()
        text = text_of(console)
        assert "4.20 s ch 3     3.2 ms  100 % at the header" in text
        assert "hand not marked" in text
        assert "watching channel 11, at rest, nothing driven." in text
        assert "3 dropouts" in text


def test_a_lane_is_drawn_only_while_watched_and_dips_as_deep_as_it_let_go():
    canvas = Canvas(30, 2)
    draw_lane(Lane(3, "x", ((10.0, 20.0),), ((15.0, 0.001, 1.0), (12.0, 0.001, 0.4))), canvas, 0.0, 30.0)
    top, bottom = list(canvas.lines())
    blank = "\u2800"
    assert top[:9] == top[21:] == blank * 9
    assert blank not in top[11:20]
    assert [i for i, ch in enumerate(bottom) if ch != blank] == [15]


def test_the_view_counts_from_the_beginning():
    view = told()
    assert view.lanes[0].dips[0] == (pytest.approx(4.2), pytest.approx(0.0032), 1.0)
    assert view.lanes[1].spans[-1] == (8.0, 12.0)
    assert [row.hand for row in view.rows] == ["at the header", "", "by the bulkhead"]
