"""The run sheet's page with a desk that only remembers: steps, questions, answers."""

from dataclasses import replace

import pytest

from loomproof.tui.desk.protocol import Reply
from loomproof.tui.messages import PanelChanged, Progressed, PromptRaised
from loomproof.tui.pages.questions import AskReason
from loomproof.tui.pages.run_sheet.page import SheetPage
from loomproof.tui.pages.run_sheet.words import just_ended
from loomproof.tui.views.panel import LinkState, PanelView
from loomproof.tui.views.prompt import ChoiceView
from tests.tui.looking import text_of


async def test_go_runs_the_step_under_the_cursor(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("home", "down", "g")
        assert desk.asked == [("run_step", "boost")]


async def test_without_a_box_it_is_said_why_there_are_no_steps(console, desk):
    desk.progress = replace(desk.progress, steps=(), current=None)
    async with console.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "no fitted channel" in text_of(console)
        desk.post(PanelChanged(PanelView(LinkState.LOST)))
        await pilot.pause()
        assert "Connect to the box again" in text_of(console)


async def test_run_on(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("o")
        assert desk.asked == [("run_on",)]


async def test_a_skip_needs_a_reason(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("k")
        assert isinstance(console.screen, AskReason)
        await pilot.press("enter")
        assert desk.asked == []
        await pilot.press(*"not built", "enter")
        assert desk.asked == [("skip", "inj-3", "not built")]


async def test_leaving_the_reason_skips_nothing(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("k", *"x", "escape")
        assert isinstance(console.screen, SheetPage)
        assert desk.asked == []


async def test_the_step_card_tells_what_will_happen_and_its_caution(console):
    async with console.run_test() as pilot:
        await pilot.pause()
        text = text_of(console)
        assert "The injector of cylinder 3 clicks ten times." in text
        assert "▲! DANGER" in text
        assert "10 pulses of 3 ms at 10 Hz" in text


async def test_a_question_is_answered_by_its_key(console, desk, noticed):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        assert "Did you hear it click?" in text_of(console)
        await pilot.press("n")
        assert desk.asked == [("answer", "7", Reply("nothing"))]
        assert console.prompt is None


async def test_a_question_is_answered_by_mouse(console, desk, noticed):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        await pilot.click("#answer-h")
        assert desk.asked == [("answer", "7", Reply("heard"))]


async def test_while_a_question_waits_nothing_else_can_be_run(console, desk, noticed):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        await pilot.press("g", "o", "k")
        assert desk.asked == []


@pytest.mark.parametrize(("size", "words"), [((80, 24), "? press 1"), ((120, 36), "? Injector, cylinder 3")])
async def test_a_question_that_waits_shows_on_every_other_page(console, desk, noticed, size, words):
    async with console.run_test(size=size) as pilot:
        await pilot.press("5")
        desk.post(PromptRaised(noticed))
        desk.post(PanelChanged(console.panel))
        await pilot.pause()
        assert words in text_of(console)


async def test_a_new_question_is_shown_and_one_behind_another_pane_is_not_answered(console, desk, noticed):
    async with console.run_test(size=(80, 24)) as pilot:
        await pilot.press("v")
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        assert "Did you hear it click?" in text_of(console)
        await pilot.press("v")
        assert "Did you hear it click?" not in text_of(console)
        await pilot.press("n")
        assert desk.asked == []
        assert "Did you hear it click?" in text_of(console)
        await pilot.press("n")
        assert desk.asked == [("answer", "7", Reply("nothing"))]


async def test_what_came_of_the_last_step_is_told_on_the_card_of_the_next(console, desk):
    steps = desk.progress.steps
    ended = replace(steps[-2], state="fail", attempts=1, outcome="channel 2 lost its load")
    after = replace(desk.progress, steps=(*steps[:-2], ended, steps[-1]), current=steps[-1].id)
    async with console.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "just now" not in text_of(console)
        desk.post(Progressed(after))
        await pilot.pause()
        assert f"Step {ended.number} just now: ✗ FAIL: channel 2 lost its load" in text_of(console)
        await pilot.press("up")
        assert "just now" not in text_of(console)


def test_a_drive_that_failed_says_what_the_measurement_showed_not_what_was_driven(desk):

    channel = replace(desk.progress.channels[0], verdict="fail", reason="above its limit")
    step = replace(
        desk.progress.steps[0], number=7, state="fail", channel=channel.channel, outcome="4 x 60 ms"
    )
    assert just_ended(step, (channel,)) == "Step 7 just now: ✗ FAIL: above its limit"
    assert just_ended(step, ()) == "Step 7 just now: ✗ FAIL: 4 x 60 ms"
    left = replace(
        step, state="skipped", outcome="skipped: no clip at hand", skipped_because="no clip at hand"
    )
    assert just_ended(left) == "Step 7 just now: » skipped: no clip at hand"


async def test_a_step_that_begins_is_shown_wherever_the_cursor_was(console, desk, noticed):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("home")
        desk.post(Progressed(replace(desk.progress, running=True)))
        await pilot.pause()
        assert console.screen.shown_step().id == desk.progress.current


async def test_a_choice_that_needs_a_reason_asks_for_it(console, desk, noticed):
    skip = replace(
        noticed, choices=(*noticed.choices, ChoiceView("k", "skip this step", "skip", needs_reason=True))
    )
    async with console.run_test() as pilot:
        desk.post(PromptRaised(skip))
        await pilot.pause()
        await pilot.press("k", *"later", "enter")
        await pilot.pause()
        assert desk.asked == [("answer", "7", Reply("skip", note="later"))]
