"""The page on which a job and a box are chosen: what is listed, what is opened, what is told when it is not."""

import pytest
from textual.widgets import Input, Static

from loomproof.tui.app import Console
from loomproof.tui.desk.protocol import StartRefusedError
from loomproof.tui.pages.start.page import StartPage
from loomproof.tui.settings import RecentJob, Settings, SettingsKeeper
from loomproof.tui.widgets.row_list import RowList


class Starter:
    """Remembers what it was asked to open."""

    def __init__(self, desk, hands):
        self.desk, self.hands, self.asked = desk, hands, []
        self.refuse = None

    def ports(self):
        return (("/dev/ttyX7", "a serial adapter"),)

    def open(self, job, box):
        self.asked.append((job, box))
        return self._make, None

    def practice(self):
        self.asked.append("practice")
        return self._make, self.hands

    def _make(self):
        if self.refuse is not None:
            raise StartRefusedError(self.refuse)
        return self.desk


@pytest.fixture
def starter(desk, hands):
    return Starter(desk, hands)


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "bench.toml"
    path.write_text("title = 'x'\n")
    return path


def remembered(job, box="/dev/ttyUSB9"):
    keeper = SettingsKeeper()
    keeper.keep(Settings().remembering(RecentJob(str(job), "Bench loom", box)))
    return keeper


def rows(console):
    return [row.key for row in console.screen.query_one(RowList).rows]


async def settle(pilot):
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


async def test_the_recent_job_opens_on_its_last_box(starter, job, desk):
    console = Console(starter=starter, settings=remembered(job))
    async with console.run_test() as pilot:
        assert isinstance(console.screen, StartPage)
        assert rows(console) == ["job:0", "practice", "make", "other"]
        await pilot.press("enter")
        await settle(pilot)
        assert rows(console) == ["box:/dev/ttyUSB9", "box:/dev/ttyX7", "box:sim://", "other"]
        await pilot.press("enter")
        await settle(pilot)
        assert starter.asked == [(str(job), "/dev/ttyUSB9")]
        assert console.current_mode == "sheet"


async def test_practice_needs_no_file_and_brings_hands_and_the_first_guidance(starter, hands):
    console = Console(starter=starter)
    async with console.run_test() as pilot:
        await pilot.press("enter")
        await settle(pilot)
        assert starter.asked == ["practice"]
        assert console.hands is hands
        assert console.screen.is_modal  # the welcome


async def test_a_typed_path_that_is_not_there_is_told_and_can_be_mended(starter, job):
    console = Console(starter=starter)
    async with console.run_test() as pilot:
        await pilot.press("end", "enter")
        console.screen.query_one(Input).value = str(job.with_name("nope.toml"))
        await pilot.press("enter")
        assert "There is no file" in str(console.screen.query_one("#start-problem", Static).content)
        console.screen.query_one(Input).value = str(job)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("end", "enter")
        console.screen.query_one(Input).value = "socket://127.0.0.1:9"
        await pilot.press("enter")
        await settle(pilot)
        assert starter.asked == [(str(job), "socket://127.0.0.1:9")]


async def test_a_refused_job_comes_back_to_the_page_with_the_reason(starter, job):
    starter.refuse = "line 3, channels: none; add one"
    console = Console(starter=starter, settings=remembered(job))
    async with console.run_test() as pilot:
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(console.screen, StartPage)
        assert "line 3, channels" in str(console.screen.query_one("#start-problem", Static).content)
        await pilot.press("escape")  # back among the jobs
        assert rows(console)[0] == "job:0"


async def test_a_recent_job_whose_file_is_gone_says_so(starter, job):
    console = Console(starter=starter, settings=remembered(job.with_name("gone.toml")))
    async with console.run_test() as pilot:
        assert console.screen.query_one(RowList).rows[0].tail == ("file is gone", "bad")
        await pilot.press("enter")
        assert starter.asked == []
        assert "There is no file" in str(console.screen.query_one("#start-problem", Static).content)


@pytest.mark.parametrize("size", [(80, 24), (120, 36)], ids=lambda s: f"{s[0]}x{s[1]}")
def test_pictures(snap_compare, starter, tmp_path, size):
    keeper = SettingsKeeper()
    for name in ("van", "boat"):
        keeper.keep(keeper.now.remembering(RecentJob(f"/nowhere/{name}.toml", f"Loom of the {name}", "COM4")))
    assert snap_compare(Console(starter=starter, settings=keeper), terminal_size=size)
