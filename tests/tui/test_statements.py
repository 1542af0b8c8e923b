# ruff: noqa: A001, A002 - tables of cases read best one a line
"""What a person states before a dangerous step: every fact, a name and the word."""

from dataclasses import replace

import pytest
from textual.widgets import Input, Static

from loomproof.tui.desk.protocol import Reply
from loomproof.tui.messages import PromptRaised
from loomproof.tui.pages.questions import StatementScreen
from tests.tui.looking import SIZES, text_of


@pytest.mark.parametrize("size", SIZES)
async def test_a_statement_needs_every_fact_a_name_and_the_word(console, desk, isolation, size):
    async with console.run_test(size=size) as pilot:
        desk.post(PromptRaised(isolation))
        await pilot.pause()
        assert isinstance(console.screen, StatementScreen)
        for id, text in (
            ("fact-0", "yes"),
            ("fact-1", "Yes"),
            ("fact-2", "yes"),
            ("who", "N. N."),
            ("word", "isolated"),
        ):
            await pilot.press("enter")
            assert isinstance(console.screen, StatementScreen), f"accepted without {id}"
            assert console.screen.focused.id == id
            console.screen.query_one(f"#{id}", Input).value = text
        await pilot.press("enter")
        await pilot.pause()
        assert desk.asked == [("answer", "8", Reply("state", ("pump", "rail", "air"), "isolated", "N. N."))]


@pytest.mark.parametrize(
    ("id", "wrong"), [("fact-1", "no"), ("fact-2", "y"), ("who", "  "), ("word", "isolate")]
)
async def test_one_wrong_line_keeps_the_statement_unmade(console, desk, isolation, id, wrong):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(isolation))
        await pilot.pause()
        right = {"fact-0": "yes", "fact-1": "yes", "fact-2": "yes", "who": "N. N.", "word": "isolated"}
        for name, text in (right | {id: wrong}).items():
            console.screen.query_one(f"#{name}", Input).value = text
        await pilot.press("enter")
        await pilot.pause()
        assert desk.asked == []
        assert str(console.screen.query_one("#asking-problem", Static).content)


async def test_a_field_that_is_still_empty_does_not_look_filled_in(console, desk, isolation):
    async with console.run_test(size=(80, 24)) as pilot:
        desk.post(PromptRaised(isolation))
        await pilot.pause()
        lines = [line.split("┃")[1].strip() for line in text_of(console).splitlines() if "┃" in line]
        assert sum("____" in line for line in lines) == 5
        assert not any(line.startswith(("yes", "isolated")) for line in lines)


async def test_not_stating_it_answers_with_the_way_out(console, desk, isolation):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(isolation))
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        assert desk.asked == [("answer", "8", Reply("leave"))]


async def test_a_withdrawn_statement_goes_away(console, desk, isolation):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(isolation))
        await pilot.pause()
        desk.post(PromptRaised(None))
        await pilot.pause()
        assert not isinstance(console.screen, StatementScreen)
        assert desk.asked == []


async def test_ticks_serve_where_no_word_is_asked(console, desk, isolation):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(replace(isolation, typed_word="")))
        await pilot.pause()
        for index in range(3):
            await pilot.click(f"#fact-{index}")
        console.screen.query_one("#who", Input).value = "N. N."
        await pilot.click("#ok")
        await pilot.pause()
        assert desk.asked == [("answer", "8", Reply("state", ("pump", "rail", "air"), "", "N. N."))]


async def test_a_tick_is_seen_without_colour_and_enter_does_not_make_it(console, desk, isolation):
    async with console.run_test() as pilot:
        desk.post(PromptRaised(replace(isolation, typed_word="")))
        await pilot.pause()
        assert text_of(console).count("[ ]") == 3
        await pilot.press("enter")
        assert text_of(console).count("[ ]") == 3
        assert "Fact 1 is not confirmed" in text_of(console)
        await pilot.press("space", "tab", "space")
        await pilot.pause()
        assert (text_of(console).count("[✓]"), text_of(console).count("[ ]")) == (2, 1)
