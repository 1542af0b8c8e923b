"""The pages with a desk that only remembers: what is done reaches the desk, what it says reaches the screen."""

from dataclasses import replace

import pytest
from textual.widgets import Input

from loomproof.tui.app import Console
from loomproof.tui.messages import PanelChanged, Progressed, PromptRaised
from loomproof.tui.page_table import PAGES
from loomproof.tui.pages.help import HelpScreen
from loomproof.tui.pages.run_sheet.words import working_text
from loomproof.tui.palette import entries
from loomproof.tui.views.prompt import ChoiceView, PromptView
from loomproof.tui.widgets.bigtext import BigText
from loomproof.tui.widgets.row_list import RowList
from loomproof.tui.widgets.status import StatusBar
from loomproof.tui.words import about
from tests.tui.looking import SIZES, text_of


@pytest.mark.parametrize("size", SIZES)
async def test_every_page_opens_by_key_and_shows_the_stop(console, size):
    async with console.run_test(size=size) as pilot:
        for key, name in ((row.key, row.name) for row in PAGES):
            await pilot.press(key)
            await pilot.pause()
            assert console.current_mode == name
            assert console.screen.query_one(StatusBar).size.height == 2
            assert "Ctrl+X or F12" in text_of(console)
            assert "supply 13.5 V" in text_of(console)


@pytest.mark.parametrize("size", SIZES)
async def test_every_page_opens_by_mouse(console, size):
    async with console.run_test(size=size) as pilot:
        for index, name in enumerate(row.name for row in PAGES):
            await pilot.click(list(console.screen.query("PageLine Button"))[index])
            await pilot.pause()
            assert console.current_mode == name


@pytest.mark.parametrize("size", SIZES)
async def test_nothing_sticks_out_of_the_screen(console, size):
    async with console.run_test(size=size) as pilot:
        for key in (row.key for row in PAGES):
            await pilot.press(key)
            await pilot.pause()
            for widget in console.screen.query("PageLine Button, KeyButton, .pane-tab, StatusBar, Pane"):
                if widget.display and widget.region.area:
                    assert console.screen.region.contains_region(widget.region), (key, widget)


async def test_the_page_line_fits_again_after_a_resize(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.pause()
        await pilot.resize_terminal(80, 24)
        await pilot.pause()
        assert text_of(console).splitlines()[0].startswith("▸1 Sheet 2 Loom 3 Bench")
        await pilot.resize_terminal(120, 36)
        await pilot.pause()
        assert text_of(console).splitlines()[0].startswith("▸1 Run sheet 2 Loom 3 Bench")
        assert "? Help" in text_of(console).splitlines()[0]


async def test_function_keys_change_pages_while_typing(console):
    async with console.run_test() as pilot:
        await pilot.press("3")
        console.screen.query_one("#set-0", Input).focus()
        await pilot.press("f2")
        assert console.current_mode == "sheet"


async def test_digits_typed_into_a_setting_stay_there(console):
    async with console.run_test() as pilot:
        await pilot.press("3")
        setting = console.screen.query_one("#set-0", Input)
        setting.focus()
        await pilot.press("2")
        assert console.current_mode == "bench"
        assert setting.value.endswith("2")


async def test_a_minus_typed_into_a_setting_is_not_lost(console):
    async with console.run_test() as pilot:
        await pilot.press("3")
        setting = console.screen.query_one("#set-0", Input)
        setting.focus()
        await pilot.press("ctrl+u", "minus", "5")
        assert setting.value == "-5"


@pytest.mark.parametrize(("size", "told"), [((70, 24), True), ((80, 20), True), ((80, 24), False)])
async def test_too_small_a_screen_says_so(console, size, told):
    async with console.run_test(size=size) as pilot:
        await pilot.pause()
        assert (f"{size[0]}x{size[1]} is too small" in text_of(console)) is told
        await pilot.resize_terminal(120, 36)
        await pilot.pause()
        assert "is too small" not in text_of(console)


# --- hands, palette, help ------------------------------------------------------------------------------


async def test_a_hand_pulls_every_wire_of_a_connector(console, desk, hands):
    first, second = (replace(c, location="splice box") for c in desk.progress.channels[:2])
    desk.progress = replace(desk.progress, channels=(first, second, *desk.progress.channels[2:]))
    async with console.run_test() as pilot:
        await pilot.press("6", "home", "p")
        assert hands.did == [("pull", first.channel), ("pull", second.channel)]
        assert text_of(console).count("◇ pulled") == 2


async def test_hands_pull_seat_flex_and_switch(console, desk, hands):
    apart = tuple(replace(c, location=f"place {c.channel}") for c in desk.progress.channels)
    desk.progress = replace(desk.progress, channels=apart)
    async with console.run_test() as pilot:
        await pilot.press("6", "home", "down", "p", "s", "f", "b", "x", "x")
        assert hands.did == [
            ("pull", 2), ("seat", 2), ("wiggle", 2), ("supply", False), ("stop_input", True), ("stop_input", False),
        ]  # fmt: skip


async def test_without_hands_there_is_no_such_page(desk):

    console = Console(desk)
    async with console.run_test() as pilot:
        assert len(console.screen.query("PageLine Button")) == len(PAGES)  # help takes the place of hands
        await pilot.press("6")
        assert console.current_mode == "sheet"


async def palette_names(console) -> list[str]:

    return [name for name, _, _ in entries(console)]


async def test_the_palette_offers_only_what_is_valid_now(console, desk, noticed):
    async with console.run_test() as pilot:
        names = await palette_names(console)
        assert "Stop: every output off" in names
        assert "Run the step shown (g)" in names
        assert "Clear the stop" not in names
        assert "Connect to the box again" not in names
        assert "Go to: Run sheet" not in names
        desk.post(PanelChanged(replace(console.panel, stopped=True)))
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        names = await palette_names(console)
        assert "Clear the stop" in names
        assert "Run the step shown (g)" not in names


async def test_the_palette_does_what_it_offers(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("ctrl+p")
        await pilot.pause()
        await pilot.press(*"run on", "enter")
        await pilot.pause(0.5)
        assert ("run_on",) in desk.asked


@pytest.mark.parametrize(("key", "name"), [(row.key, row.name) for row in PAGES])
async def test_every_page_has_its_own_help(console, key, name):
    async with console.run_test() as pilot:
        await pilot.press(key)
        assert len(console.screen.HELP) > 200
        await pilot.press("question_mark")
        await pilot.pause()
        assert isinstance(console.screen, HelpScreen)
        await pilot.press("escape")
        assert not console.screen.is_modal


# --- folding -------------------------------------------------------------------------------------------


async def test_small_screens_show_one_pane_at_a_time_and_v_turns(console):
    async with console.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        seen = []
        for _ in range(4):
            seen += [pane.id for pane in console.screen.query("Pane") if pane.display]
            await pilot.press("v")
        assert sorted(seen) == ["pane-engine", "pane-step", "pane-steps", "pane-trace"]


async def test_resizing_folds_and_unfolds(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.pause()
        assert len([pane for pane in console.screen.query("Pane") if pane.display]) == 4
        await pilot.resize_terminal(80, 24)
        await pilot.pause()
        assert len([pane for pane in console.screen.query("Pane") if pane.display]) == 1
        await pilot.resize_terminal(120, 36)
        await pilot.pause()
        assert len([pane for pane in console.screen.query("Pane") if pane.display]) == 4


async def test_the_cursor_stays_on_its_step_when_the_sheet_changes(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("home", "down")
        steps = desk.progress.steps
        desk.post(Progressed(replace(desk.progress, steps=(replace(steps[0], state="fail"), *steps[1:]))))
        await pilot.pause()
        assert console.screen.query_one("#steps", RowList).key == "boost"


@pytest.mark.parametrize(
    ("busy_s", "for_s", "words"),
    [
        (None, 0.2, "► Working. The stop key"),
        (None, 31.0, "► Working, 30 s so far."),
        (8.0, 2.0, "► Working ▰▰▰▱▱▱▱▱▱▱▱▱ about 6 s left."),
        (8.0, 9.0, "► Working ▰▰▰▰▰▰▰▰▰▰▰▰ a moment longer."),
        (0.5, 0.2, "► Working. The stop key"),
    ],
)
def test_work_that_takes_over_a_second_says_how_long(busy_s, for_s, words):

    assert working_text(busy_s, for_s).startswith(words)
    assert "stop key" in working_text(busy_s, for_s)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 s"), (7.4, "7 s"), (52, "50 s"), (430, "7 min"), (4300, "1 h 10 min")]
)
def test_a_span_of_time_in_words(seconds, words):

    assert about(seconds) == words


async def test_large_text_stays_on_says_what_is_asked_and_is_remembered(console, desk):

    async with console.run_test() as pilot:
        big = console.screen.query_one("#step-afar", BigText)
        assert not big.display
        await pilot.press("ctrl+l")
        desk.post(
            PromptRaised(
                PromptView(
                    "9",
                    "Pull the connector: cylinder 3",
                    "Now.",
                    (ChoiceView("p", "off", "pulled"),),
                    short="Pull cylinder 3",
                )
            )
        )
        await pilot.pause()
        assert big.display
        assert big.text == "Pull cylinder 3"
        assert console.settings.now.large_text
        await pilot.press("ctrl+l", "ctrl+l")
        await pilot.pause()
        assert (big.display, big.text) == (True, "Pull cylinder 3")
        desk.post(PanelChanged(replace(console.panel, stopped=True)))
        await pilot.pause()
        assert (big.text, big.tone) == ("Stopped", "bad")
        await pilot.press("ctrl+l")
        assert not big.display
        assert not console.settings.now.large_text


# --- work that nobody sees is not done -----------------------------------------------------------------


async def test_a_page_that_is_away_catches_up_when_it_comes_back(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        sheet = console.screen
        drawn = []
        show = sheet.query_one("#steps", RowList).show
        sheet.query_one("#steps", RowList).show = lambda rows: (drawn.append(1), show(rows))
        await pilot.press("3")
        await pilot.pause()
        steps = desk.progress.steps
        for state in ("fail", "unsure", "done"):
            desk.post(Progressed(replace(desk.progress, steps=(replace(steps[0], state=state), *steps[1:]))))
            await pilot.pause()
        assert drawn == []
        await pilot.press("1")
        await pilot.pause()
        await pilot.pause()
        assert drawn
        assert "✓ done" in text_of(console)


async def test_the_line_of_keys_is_laid_out_anew_only_when_keys_change(console, desk, noticed):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.pause()
        looked = []
        look = console.screen.refresh_bindings
        console.screen.refresh_bindings = lambda: (looked.append(1), look())
        steps = desk.progress.steps
        for state in ("fail", "unsure", "done"):
            desk.post(Progressed(replace(desk.progress, steps=(replace(steps[0], state=state), *steps[1:]))))
            await pilot.pause()
        assert looked == []
        desk.post(PromptRaised(noticed))
        await pilot.pause()
        assert looked
