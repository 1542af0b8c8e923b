"""The stop works from everywhere, by key and by mouse."""

from dataclasses import replace

import pytest
from textual.widgets import Input

from loomproof.tui.messages import PanelChanged, PromptRaised
from loomproof.tui.views.prompt import FactView
from loomproof.tui.widgets.dialog_stop import StopButton
from loomproof.tui.widgets.status import StatusBar
from tests.tui.looking import SIZES, text_of


@pytest.mark.parametrize("key", ["ctrl+x", "f12", "ctrl+c"])
@pytest.mark.parametrize("where", ["page", "setting", "statement", "reason", "help", "palette"])
async def test_the_stop_key_works_everywhere(console, desk, isolation, key, where):
    async with console.run_test() as pilot:
        if where == "setting":
            await pilot.press("3")
            console.screen.query_one("#set-2", Input).focus()
        elif where == "statement":
            desk.post(PromptRaised(isolation))
            await pilot.pause()
        elif where != "page":
            await pilot.press({"reason": "k", "help": "f1", "palette": "ctrl+p"}[where])
            await pilot.pause()
        await pilot.press(key)
        await pilot.pause()
        assert desk.stops >= 1


async def test_while_stopped_no_step_runs_and_it_is_said_how_to_go_on(console, desk):
    async with console.run_test(size=(80, 24), notifications=True) as pilot:
        desk.post(PanelChanged(replace(console.panel, stopped=True, stop_reason="stop key")))
        await pilot.pause()
        await pilot.press("g", "o")
        await pilot.pause()
        assert desk.asked == []
        shown = text_of(console)
        assert "The box is stopped. Find out why" in shown
        assert "spark ARMED 42 s" in shown  # the note leaves the line of the box's state free


@pytest.mark.parametrize("opener", ["k", "f1"])
@pytest.mark.parametrize("size", SIZES)
async def test_every_modal_has_its_own_stop_in_view(console, desk, opener, size):
    async with console.run_test(size=size) as pilot:
        await pilot.press(opener)
        await pilot.pause()
        assert console.screen.is_modal
        button = console.screen.query_one(StopButton)
        assert console.screen.region.contains_region(button.region)
        await pilot.click(button)
        await pilot.pause()
        assert desk.stops == 1


@pytest.mark.parametrize("size", SIZES)
async def test_the_statement_keeps_its_stop_in_view(console, desk, isolation, size):
    long = replace(isolation, facts=tuple(FactView(f.key, f.text * 6) for f in isolation.facts))
    async with console.run_test(size=size) as pilot:
        desk.post(PromptRaised(long))
        await pilot.pause()
        await pilot.pause()  # the first may end before the statement is laid out
        button = console.screen.query_one(StopButton)
        assert console.screen.region.contains_region(button.region)
        assert console.screen.query_one("#ok").region.height == 1


async def test_a_click_on_the_status_bar_stops(console, desk):
    async with console.run_test() as pilot:
        await pilot.click(StatusBar, offset=(5, 1))
        await pilot.pause()
        assert desk.stops == 1
        await pilot.click(StatusBar, offset=(60, 1))
        await pilot.pause()
        assert desk.stops == 1


async def test_clearing_is_offered_only_when_stopped(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("ctrl+r")
        assert desk.asked == []
        desk.post(PanelChanged(replace(console.panel, stopped=True, stop_reason="command")))
        await pilot.pause()
        assert "STOPPED (command)" in text_of(console)
        await pilot.press("ctrl+r")
        assert desk.asked == [("clear_stop",)]


async def test_the_interface_calls_in_while_it_lives(console, desk):
    async with console.run_test() as pilot:
        before = desk.calls
        await pilot.pause(0.35)
        assert desk.calls > before
