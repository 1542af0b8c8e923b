"""The bench's and the loom's pages with a desk that only remembers."""

from dataclasses import replace

import pytest
from textual.widgets import Input

from loomproof.tui.desk.protocol import TypedDrive
from loomproof.tui.messages import Progressed
from loomproof.tui.pages.bench.page import BenchPage
from loomproof.tui.widgets.cursors import CursorWaveform
from loomproof.tui.widgets.row_list import RowList
from tests.tui.looking import text_of


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
        assert desk.asked == [("drive", TypedDrive(1, "train", values))]
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
        assert desk.asked == [("drive", TypedDrive(11, "stepper", values))]
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
        assert "0.1 to 50" in text
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
        assert "✗ On-time: at most 5 ms: the load type's own limit." in text_of(console)
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
