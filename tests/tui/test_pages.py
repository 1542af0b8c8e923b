# ruff: noqa: A001, A002 - tables of cases read best one a line
"""The pages with a desk that only remembers: what is done reaches the desk, what it says reaches the screen."""

from dataclasses import replace

import pytest
from textual.widgets import Input, Static

from loomproof.tui.desk import DriveRequest, Reply
from loomproof.tui.messages import PanelChanged, Progressed, PromptRaised
from loomproof.tui.pages import PAGES
from loomproof.tui.screens.asking import AskReason, StatementScreen
from loomproof.tui.screens.bench import BenchPage
from loomproof.tui.screens.help import HelpScreen
from loomproof.tui.screens.sheet import SheetPage
from loomproof.tui.views import ChoiceView, FactView, PromptView
from loomproof.tui.widgets.cursors import CursorWaveform
from loomproof.tui.widgets.keys import StopButton
from loomproof.tui.widgets.rows import RowList
from loomproof.tui.widgets.status import StatusBar

SIZES = [(80, 24), (120, 36)]


def text_of(app) -> str:
    return "\n".join(
        "".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips()
    )


@pytest.mark.parametrize("size", SIZES)
async def test_every_page_opens_by_key_and_shows_the_stop(console, size):
    async with console.run_test(size=size) as pilot:
        for key, name, _ in PAGES:
            await pilot.press(key)
            await pilot.pause()
            assert console.current_mode == name
            assert console.screen.query_one(StatusBar).size.height == 2
            assert "Ctrl+X or F12" in text_of(console)
            assert "supply 13.5 V" in text_of(console)


@pytest.mark.parametrize("size", SIZES)
async def test_every_page_opens_by_mouse(console, size):
    async with console.run_test(size=size) as pilot:
        for index, (_, name, _) in enumerate(PAGES):
            await pilot.click(list(console.screen.query("PageLine Button"))[index])
            await pilot.pause()
            assert console.current_mode == name


@pytest.mark.parametrize("size", SIZES)
async def test_nothing_sticks_out_of_the_screen(console, size):
    async with console.run_test(size=size) as pilot:
        for key, _, _ in PAGES:
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


# --- run sheet -----------------------------------------------------------------------------------------


async def test_go_runs_the_step_under_the_cursor(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("home", "down", "g")
        assert desk.asked == [("run_step", "boost")]


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


@pytest.fixture
def noticed() -> PromptView:
    choices = (ChoiceView("h", "heard it", "heard"), ChoiceView("n", "noticed nothing", "nothing"))
    return PromptView("7", "Injector, cylinder 3", "Did you hear it click?", choices, channel=3)


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


# --- statements ----------------------------------------------------------------------------------------


@pytest.fixture
def isolation() -> PromptView:
    facts = tuple(FactView(key, f"fact {key} holds") for key in ("pump", "rail", "air"))
    choices = (ChoiceView("i", "I state this", "state"), ChoiceView("l", "leave", "leave"))
    return PromptView(
        "8", "The fuel supply is isolated", "Look first.", choices, facts=facts, typed_word="isolated"
    )


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


# --- stop ----------------------------------------------------------------------------------------------


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


# --- bench ---------------------------------------------------------------------------------------------


async def test_the_bench_drives_what_was_typed(console, desk):
    desk.blocked = False
    async with console.run_test() as pilot:
        await pilot.press("3")
        for index, text in enumerate(("4", "20", "2,5")):
            console.screen.query_one(f"#set-{index}", Input).value = text
        console.screen.query_one("#set-2", Input).focus()
        await pilot.press("enter")
        await pilot.pause()
        values = (("count", 4.0), ("frequency_hz", 20.0), ("width_ms", 2.5))
        assert desk.asked == [("drive", DriveRequest(1, "train", values))]
        assert "driven: train" in text_of(console)


async def test_a_field_takes_numbers_and_leaves_letters_to_the_page(console, desk):
    desk.blocked = False
    async with console.run_test() as pilot:
        await pilot.press("3")
        field = console.screen.query_one("#set-0", Input)
        field.focus()
        await pilot.press("end", "5", "q", "d")
        await pilot.pause()
        assert field.value == "105"
        assert desk.asked[0][0] == "drive"


async def test_what_was_typed_is_remembered_for_each_channel(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("3")
        console.screen.query_one("#set-0", Input).value = "7"
        await pilot.pause()
        await pilot.press("down")
        await pilot.pause()
        assert console.screen.query_one("#set-0", Input).value == "10"
        await pilot.press("up")
        await pilot.pause()
        assert console.screen.query_one("#set-0", Input).value == "7"


async def test_what_stands_in_the_fields_is_driven_though_the_defaults_have_changed(
    console, desk, monkeypatch
):
    desk.blocked = False
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        bench = desk.bench
        monkeypatch.setattr(
            desk, "bench", lambda channel, way, texts: bench(channel, way, {"count": "3"} | texts)
        )
        await pilot.press("d")
        await pilot.pause()
        assert dict(desk.asked[0][1].values)["count"] == 10.0


async def test_each_way_to_drive_has_its_own_settings(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("3", "end", "w")
        await pilot.pause()
        assert "▸stepper" in text_of(console)
        assert "Steps" in text_of(console)
        assert "[r] forwards" in text_of(console)
        await pilot.press("r", "d")
        await pilot.pause()
        values = (("steps", 32.0), ("rate_hz", 50.0), ("direction", -1.0))
        assert desk.asked == [("drive", DriveRequest(11, "stepper", values))]
        await pilot.press("w")
        await pilot.pause()
        assert "▸train" in text_of(console)


async def test_a_way_that_cannot_be_is_marked(console):
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        assert "✗hold" in text_of(console)


async def test_limits_gauges_and_cautions_stand_on_the_page(console):
    async with console.run_test() as pilot:
        await pilot.press("3", "tab")
        await pilot.pause()
        text = text_of(console)
        assert "0.1 to 50 Hz" in text
        assert "▕████▒▒▒·····▏ over half: 18 K now, 36 after, 60 allowed" in text
        assert "Limit of pulses: the load type's own limit." in text
        console.bench_channel = 6
        await pilot.pause()
        await pilot.pause()
        assert "▲! WARNING" in text_of(console)


async def test_cursors_come_move_and_go(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("3", "c")
        await pilot.pause()
        wave = console.screen.query_one(CursorWaveform)
        first = wave.cursors
        assert first == pytest.approx((0.5e-3, 4.5e-3))
        assert "44.1 ± 0.3 mJ taken" in text_of(console)
        await pilot.press("right", "right", "c", "shift+left")
        assert wave.cursors[0] > first[0]
        assert wave.cursors[1] < first[1]
        await pilot.press("home")
        await pilot.pause()
        assert wave.cursors[1] == 0.0
        assert "0.000 ms  0.92" in text_of(console)
        await pilot.press("x")
        await pilot.pause()
        assert wave.cursors is None
        assert "mJ taken" not in text_of(console)


async def test_the_mouse_puts_a_cursor(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("3")
        await pilot.pause()
        await pilot.click(CursorWaveform, offset=(40, 4))
        await pilot.pause()
        assert console.screen.query_one(CursorWaveform).cursors is not None


async def test_how_many_traces_are_laid_over_one_another_is_chosen(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("3")
        await pilot.pause()
        assert desk.drawn == (1, 1, 4)
        await pilot.press("y")
        assert desk.drawn == (1, 3, 4)
        await pilot.press("y", "y", "s")
        assert desk.drawn == (1, 0, 0)


async def test_a_tripped_channel_says_what_to_do(console, desk):
    desk.box_blocks = (("The channel tripped on over-current.", "Find and mend the short; then press u."),)
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        assert "Blocked: The channel tripped" in text_of(console)
        await pilot.press("u")
        assert desk.asked == [("unblock", 1)]


async def test_nothing_is_driven_while_something_runs(console, desk):
    desk.blocked = False
    async with console.run_test() as pilot:
        await pilot.press("3")
        desk.post(Progressed(replace(desk.progress, running=True)))
        await pilot.pause()
        await pilot.press("d")
        await pilot.pause()
        assert desk.asked == []
        assert "Something is running" in text_of(console)


async def test_keys_faster_than_the_screen_end_on_the_last_channel(console):
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        rows = console.screen.query_one("#bench-channels", RowList)
        for _ in range(6):
            rows.action_cursor(1)  # six moves before one message is handled
        await pilot.pause()
        await pilot.pause()
        assert rows.key == "7"
        assert console.bench_channel == 7


async def test_over_the_limit_is_told_and_not_driven(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        console.screen.query_one("#set-2", Input).value = "8"
        await pilot.pause()
        assert "✗ at most 5 ms" in text_of(console)
        assert "✗ Pulse width: at most 5 ms: the load type's own limit." in text_of(console)
        await pilot.press("d")
        await pilot.pause()
        assert desk.asked == []
        assert "Not driven" in text_of(console)


async def test_what_blocks_a_channel_and_how_to_unblock_it_is_told(console, desk):
    async with console.run_test() as pilot:
        await pilot.press("3")
        await pilot.pause()
        assert "Blocked: Nobody has stated" in text_of(console)
        assert "To unblock:" in text_of(console)
        await pilot.press("u")
        assert desk.asked == [("unblock", 1)]


async def test_a_channel_goes_from_the_loom_to_the_bench(console):
    async with console.run_test() as pilot:
        await pilot.press("2", "home", "down", "down", "b")
        await pilot.pause()
        assert isinstance(console.screen, BenchPage)
        assert console.bench_channel == 3
        assert "Channel 3: Injector 3" in text_of(console)


async def test_the_loom_page_marks_the_chosen_channel_in_its_header(console):
    async with console.run_test(size=(120, 36)) as pilot:
        await pilot.press("2", "home", "down")
        await pilot.pause()
        assert "┃H1-2┃ channel 2, Injector 2" in text_of(console)
        assert "seen from the WIRE SIDE" in text_of(console)
        await pilot.press("m")
        await pilot.pause()
        assert "seen from the MATING SIDE (mirrored)" in text_of(console)
        await pilot.press("m", "h")
        await pilot.pause()
        assert "H2 Body header  (2 of 2)" in text_of(console)


async def test_a_small_screen_shows_the_header_behind_a_tab(console):
    async with console.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", "home", "v")
        await pilot.pause()
        assert "▸Header" in text_of(console)
        assert "┃H1-1┃" in text_of(console)


# --- hands, palette, help ------------------------------------------------------------------------------


async def test_hands_pull_seat_flex_and_switch(console, hands):
    async with console.run_test() as pilot:
        await pilot.press("6", "home", "down", "p", "s", "f", "b", "x", "x")
        assert hands.did == [
            ("pull", 2), ("seat", 2), ("flex", 2), ("supply", False), ("stop_input", True), ("stop_input", False),
        ]  # fmt: skip


async def test_without_hands_there_is_no_such_page(desk):
    from loomproof.tui.shell import Console

    console = Console(desk)
    async with console.run_test() as pilot:
        assert len(console.screen.query("PageLine Button")) == len(PAGES)  # help takes the place of hands
        await pilot.press("6")
        assert console.current_mode == "sheet"


async def palette_names(console) -> list[str]:
    from loomproof.tui.palette import entries

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


@pytest.mark.parametrize(("key", "name"), [(key, name) for key, name, _ in PAGES])
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
    from loomproof.tui.screens.sheet import working_text

    assert working_text(busy_s, for_s).startswith(words)
    assert "stop key" in working_text(busy_s, for_s)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 s"), (7.4, "7 s"), (52, "50 s"), (430, "7 min"), (4300, "1 h 10 min")]
)
def test_a_span_of_time_in_words(seconds, words):
    from loomproof.tui.words import about

    assert about(seconds) == words


async def test_large_text_stays_on_says_what_is_asked_and_is_remembered(console, desk):
    from loomproof.tui.widgets.bigtext import BigText

    async with console.run_test() as pilot:
        big = console.screen.query_one("#step-afar", BigText)
        assert not big.display
        await pilot.press("ctrl+l")
        desk.post(
            PromptRaised(
                PromptView("9", "Pull the connector: cylinder 3", "Now.", (ChoiceView("p", "off", "pulled"),))
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
