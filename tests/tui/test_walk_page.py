"""The walk page: what is told reaches eyes and ears, keys reach the desk; pictures of every state."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from textual.widgets import Input

from loomproof.job.file.loading import load_job
from loomproof.procedure.sheet import build_sheet
from loomproof.procedure.walk.map import map_of
from loomproof.procedure.walk.model import Happening, How, Kind, Order, Stage, WalkAnswer, WalkState
from loomproof.procedure.walk.places import places_of
from loomproof.tui.messages import WalkAdvanced
from loomproof.tui.pages.walk.desk import WalkDesk
from loomproof.tui.pages.walk.page import WalkPage
from loomproof.tui.pages.walk.view import WalkStage
from loomproof.tui.sounds import Sound, SoundKind
from loomproof.tui.widgets.bigtext import BigText
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import RowList
from tests.tui.looking import text_of

JOB = load_job(Path(__file__).parents[2] / "examples" / "inline-five-turbo.toml")
PLACES = places_of(JOB, build_sheet(JOB))
RIGHT = {p.id: WalkAnswer(p.visible, How.ASKED) for p in PLACES[4:9]}
SWAPPED = {"inj1": WalkAnswer(frozenset({2}), How.ASKED), "inj2": WalkAnswer(frozenset({1}), How.ASKED)}


def told(stage, happened=None, **state):
    """The view that the desk makes of a state."""
    views = []
    walking = WalkDesk(JOB, lambda message: views.append(message.view))
    usual = {"order": Order.GUIDED, "asked": None, "told": None, "off": frozenset(), "doubt": frozenset()}
    given = WalkState(stage=stage, **(usual | {"answers": RIGHT, "places": PLACES} | state))
    walking.told(given, (happened,) if happened else ())
    return views[-1]


def happening(kind, place=None, *channels):
    return Happening(kind, 1.0, place, frozenset(channels))


def rested(answers, stage=WalkStage.DONE, pulsed=(), blind=()):
    walking = WalkDesk(JOB, lambda message: None)
    return walking._at_rest(map_of(PLACES, answers, blind), stage, "", pulsed)


ALL_RIGHT = {p.id: WalkAnswer(p.visible, How.ASKED) for p in PLACES}
STATES = {
    "asked": lambda: told(Stage.PULL, happening(Kind.ASKED, "inj3"), asked="inj3", silent_left_s=24.0),
    "once-more": lambda: told(Stage.PULL, happening(Kind.ASKED, "inj3", 5), asked="inj3", doubt=frozenset({5})),
    "right": lambda: told(Stage.SEAT, happening(Kind.MATCHED, "inj3", 3), asked="inj3", off=frozenset({3})),
    "mismatch": lambda: told(Stage.SEAT, happening(Kind.MISMATCH, "inj3", 5), asked="inj3", off=frozenset({5})),
    "free": lambda: told(Stage.PULL, order=Order.FREE),
    "free-told": lambda: told(Stage.SEAT, happening(Kind.MATCHED, "coil4", 9), order=Order.FREE, off=frozenset({9})),
    "two": lambda: told(Stage.SEAT, happening(Kind.STRAY, None, 6), asked="inj3", off=frozenset({3, 6})),
    "supply": lambda: told(Stage.PAUSED, happening(Kind.SUPPLY_LOST), asked="inj3"),
    "holding": lambda: told(Stage.PULL, happening(Kind.HOLD_OFF, "inj5"), asked="inj5", holding=("inj3", "inj5")),
    "ended-wrong": lambda: rested(ALL_RIGHT | SWAPPED),
    "ended-right": lambda: rested(ALL_RIGHT),
    "ended-blind": lambda: rested(
        {k: v for k, v in ALL_RIGHT.items() if k != "tacho"}, pulsed=("drive-16",), blind=(16,)
    ),
}  # fmt: skip


@pytest.fixture(autouse=True)
def still(monkeypatch):
    monkeypatch.setattr(Input, "cursor_blink", False)
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")


@pytest.mark.parametrize("size", [(80, 24), (120, 36)], ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("state", STATES)
def test_picture(snap_compare, console, desk, state, size):
    async def run_before(pilot):
        await pilot.press("7")
        desk.post(WalkAdvanced(STATES[state]()))
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


@pytest.mark.parametrize("size", [(80, 24), (120, 36)], ids=lambda s: f"{s[0]}x{s[1]}")
async def test_nothing_of_the_page_sticks_out_in_any_state(console, desk, size):
    async with console.run_test(size=size) as pilot:
        await pilot.press("7")
        for name, state in STATES.items():
            desk.post(WalkAdvanced(state()))
            await pilot.pause()
            await pilot.pause()
            for widget in console.screen.query(
                "KeyButton, BigText, #walk-detail, #walk-note, PageLine Button"
            ):
                if widget.display and widget.region.area:
                    assert console.screen.region.contains_region(widget.region), (name, widget)
            assert console.screen.query_one(BigText).size.height >= 10


WORDS = {
    "asked": ("cylinder 3 injector", "plain", "PULL"),
    "once-more": ("cylinder 3 injector", "doubt", "PULL IT ONCE MORE"),
    "right": ("Seat it", "good", "✓ RIGHT: cylinder 3 injector"),
    "mismatch": ("Channel 5", "bad", "✗ NOT AS EXPECTED AT cylinder 3 injector"),
    "free-told": ("cylinder 4 coil", "good", "✓ CHANNEL 9 BELONGS HERE. IF YOU HOLD IT, SEAT IT"),
    "supply": ("Supply lost", "bad", "NOTHING IS JUDGED"),
    "two": ("One at a time", "doubt", "SEAT BOTH"),
    "ended-wrong": ("2 wrong", "bad", "THE WALK HAS ENDED"),
    "ended-right": ("All right", "good", "THE WALK HAS ENDED"),
}


@pytest.mark.parametrize("state", WORDS)
def test_the_large_letters_say_what_to_do(state):
    view = STATES[state]()
    assert (view.headline, view.tone, view.caption) == WORDS[state]


def test_a_mismatch_names_where_the_channel_should_be():
    assert "cylinder 5 injector" in STATES["mismatch"]().detail


SOUNDS = {
    "asked": (Sound.NEXT, 3, "fuel", "cylinder 3 injector"),
    "once-more": (Sound.NOTE, 3, "fuel", "once more, cylinder 3 injector"),
    "right": (Sound.RIGHT, 0, "", "right"),
    "mismatch": (Sound.WRONG, 0, "", "not expected, channel 5"),
    "free-told": (Sound.RIGHT, 4, "spark", "channel 9, cylinder 4 coil"),
    "ended-right": (Sound.DONE, 0, "", "All right"),
}


@pytest.mark.parametrize("state", SOUNDS)
def test_ears_are_told_the_same(state):
    (cue,) = STATES[state]().cues
    assert (cue.sound, cue.number, cue.role, cue.words) == SOUNDS[state]


async def test_sounds_are_heard_from_any_page(console, desk):
    async with console.run_test() as pilot:
        heard = []
        console.sounds.play = lambda sound, **more: heard.append(sound)
        await pilot.press("2")
        desk.post(WalkAdvanced(STATES["mismatch"]()))
        await pilot.pause()
        assert heard == [Sound.WRONG]


async def test_keys_reach_the_walk_and_only_while_somebody_walks(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("7")
        await pilot.press("space", "n", "k", "o", "e")
        assert desk.asked == []
        await pilot.press("g", "f")
        assert desk.asked == [("start_walk", False), ("start_walk", True)]
        desk.asked.clear()
        desk.post(WalkAdvanced(STATES["asked"]()))
        await pilot.pause()
        await pilot.press("space", "n", "k", "o", "f", "e")
        words = ("nothing", "no", "skip", "leave off", "order", "finish")
        assert desk.asked == [("walk_key", word, None) for word in words]
        desk.asked.clear()
        await pilot.press("g")
        assert desk.asked == []


async def test_here_names_the_place_under_the_cursor(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("7")
        desk.post(WalkAdvanced(STATES["free-told"]()))
        await pilot.pause()
        await pilot.press("down", "h")
        assert desk.asked == [("walk_key", "here", PLACES[1].id)]


async def test_what_was_not_seen_is_offered_a_pulse(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("7", "d")
        assert desk.asked == []
        desk.post(WalkAdvanced(STATES["ended-blind"]()))
        await pilot.pause()
        assert "16 tachometer" in text_of(console)
        await pilot.press("d")
        await pilot.pause()
        assert desk.asked == [("run_steps", ("drive-16",))]
        assert console.current_mode == "sheet"


async def test_the_demos_hand_pulls_what_is_asked_for_and_seats_it(console, desk, hands):
    async with console.run_test() as pilot:
        await pilot.press("7", "p")
        assert hands.did == []
        desk.post(WalkAdvanced(STATES["asked"]()))
        await pilot.pause()
        await pilot.press("p")
        desk.post(WalkAdvanced(STATES["right"]()))
        await pilot.pause()
        await pilot.press("p")
        assert hands.did == [("pull", "inj3"), ("seat", "inj3")]


async def test_the_demos_hand_leaves_off_what_is_to_stay_off_and_seats_it_all_in_the_end(
    console, desk, hands
):
    async with console.run_test() as pilot:
        await pilot.press("7")
        for place in ("inj3", "inj5"):
            state = told(Stage.PULL, happening(Kind.HOLD_OFF, place), asked=place, holding=("inj3", "inj5"))
            desk.post(WalkAdvanced(state))
            await pilot.pause()
            await pilot.press("p")
        assert hands.did == [("pull", "inj3"), ("pull", "inj5")]
        joined = happening(Kind.CONFIRMED, "inj5", 3, 5)
        desk.post(WalkAdvanced(told(Stage.SEAT, joined, asked="inj5", holding=("inj3", "inj5"))))
        await pilot.pause()
        await pilot.press("p")
        assert hands.did[2:] == [("seat", "inj3"), ("seat", "inj5")]


async def test_a_page_that_is_away_draws_nothing_and_catches_up_on_its_return(console, desk, monkeypatch):
    async with console.run_test() as pilot:
        await pilot.press("7")
        drawn = []
        show = WalkPage._show_found
        monkeypatch.setattr(WalkPage, "_show_found", lambda page: (drawn.append(1), show(page)))
        await pilot.press("2")
        drawn.clear()
        desk.post(WalkAdvanced(STATES["asked"]()))
        await pilot.pause()
        assert drawn == []
        await pilot.press("7")
        await pilot.pause()
        assert "PULL" in text_of(console)


def test_what_moved_nothing_is_to_be_seated_before_the_next():
    views = []
    walking = WalkDesk(JOB, lambda message: views.append(message.view))
    usual = {"order": Order.GUIDED, "told": None, "off": frozenset(), "doubt": frozenset(), "places": PLACES}
    next_one = WalkState(stage=Stage.PULL, asked="inj4", answers={}, **usual)
    walking.told(next_one, (happening(Kind.NOTHING, "inj3"), happening(Kind.ASKED, "inj4")))
    assert "Seat cylinder 3 injector first." in views[-1].detail
    walking.told(next_one, (happening(Kind.LOST, None, 4),))
    assert "first" not in views[-1].detail
    free = replace(next_one, order=Order.FREE, asked=None)
    walking.told(free, (happening(Kind.NOTHING),))
    assert "Noted: one moved nothing" in views[-1].detail


def test_joined_wires_are_called_so_and_what_cannot_be_seen_is_not_counted():
    joined = told(Stage.SEAT, happening(Kind.CONFIRMED, "inj5", 3, 5), asked="inj5", holding=("inj3", "inj5"))
    assert joined.caption == "✗ JOINED WIRES AT cylinder 5 injector"
    assert "Seat everything that is off" in joined.detail
    places = tuple(replace(p, visible=frozenset()) if p.id == "tacho" else p for p in PLACES)
    known = {k: v for k, v in ALL_RIGHT.items() if k != "tacho"}
    rest = WalkDesk(JOB, lambda message: None)._at_rest(map_of(places, known, (16,)), WalkStage.DONE, "", ())
    assert (rest.known, rest.total) == (15, 15)


async def test_sounds_turn_and_are_remembered(console):
    async with console.run_test() as pilot:
        await pilot.press("7")
        console.sounds._players = console.sounds._speakers = ()
        assert console.sound_means == "bell"
        await pilot.press("m")
        assert console.sounds.kind is SoundKind.OFF
        assert "Sounds: off" in text_of(console)
        assert console.settings.now.sounds is False
        await pilot.press("m")
        assert console.settings.now.sounds is True


async def test_every_place_has_a_sign_with_a_word(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("7")
        desk.post(WalkAdvanced(replace(STATES["ended-wrong"](), blind="")))
        await pilot.pause()
        await pilot.pause()
        text = text_of(console)
        assert "✗ WRONG       cylinder 1 injector" in text
        assert "✓ right       cylinder 3 injector" in text
        assert "1. Take the terminal (GNBK)" in text
        rows = console.screen.query_one("#walk-places", RowList)
        assert len(rows.rows) == 16


async def test_the_first_wrong_place_is_in_view_at_the_end(console, desk):
    one, other = (next(iter(p.visible)) for p in PLACES[-2:])
    crossed = {
        "relay_pump": WalkAnswer(frozenset({other}), How.ASKED),
        "tacho": WalkAnswer(frozenset({one}), How.ASKED),
    }
    async with console.run_test() as pilot:
        await pilot.press("7")
        desk.post(WalkAdvanced(rested(ALL_RIGHT | crossed)))
        await pilot.pause()
        await pilot.pause()
        assert console.screen.query_one("#walk-places", RowList).key == "relay_pump"


async def test_buttons_do_what_their_keys_do(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("7")
        desk.post(WalkAdvanced(STATES["asked"]()))
        await pilot.pause()
        await pilot.pause()
        shown = [b for b in console.screen.query("#walk-keys KeyButton").results(KeyButton) if b.display]
        for button in shown:
            await pilot.click(button)
        assert [word for _, word, _ in desk.asked] == [
            "nothing",
            "no",
            "skip",
            "leave off",
            "order",
            "finish",
        ]
