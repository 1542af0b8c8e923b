"""Before there is a desk: the first picture, a job that cannot be read, a key pressed too soon."""

import threading

from loomproof.tui.app import Console
from loomproof.tui.desk.protocol import StartRefusedError
from loomproof.tui.pages.start.first_picture import StartingScreen


async def test_the_first_picture_stands_before_the_desk_is_made_and_gives_way_to_the_run_sheet(desk):
    may_go_on = threading.Event()

    def make():
        may_go_on.wait(10)
        return desk

    console = Console(make)
    async with console.run_test() as pilot:
        assert isinstance(console.screen, StartingScreen)
        await pilot.press(
            "2", "ctrl+x", "question_mark"
        )  # pages, stop and help before there is anything: no harm
        assert isinstance(console.screen, StartingScreen)
        may_go_on.set()
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        assert console.current_mode == "sheet"
        assert console.desk is desk


async def test_a_start_that_is_refused_leaves_with_its_code():
    def make():
        raise StartRefusedError("line 3, channels: nothing here; add one", 2)

    console = Console(make)
    async with console.run_test() as pilot:
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
    assert console.return_code == 2


async def test_the_box_is_connected_to_although_the_welcome_is_closed_before_it_is_drawn(desk, monkeypatch):
    """What waits for a screen's refresh goes with the screen; the desk must begin all the same."""
    began = []
    monkeypatch.setattr(desk, "begin", began.append)
    console = Console(desk, welcome=True)
    monkeypatch.setattr(console, "call_after_refresh", lambda *_: True)  # lost, as with a screen taken away
    async with console.run_test() as pilot:
        await pilot.press("escape")
        await pilot.pause(1.3)
        assert len(began) == 1
