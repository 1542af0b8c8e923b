"""Takes the pictures of the guide anew: the real demo, driven by keys, at both sizes.

usage: python docs/pictures/make.py [walk]   (needs chromium and the Fira Code font)
"""

from __future__ import annotations

import asyncio
import itertools
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from textual.pilot import Pilot
from textual.widgets import Checkbox, Input

from loomproof.box.connect import connect
from loomproof.cli.console.practice import DEMO_BOX, DEMO_FAULTS, DemoHands, demo_job, sim_url
from loomproof.job.file.loading import load_job
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.prompts import Operator
from loomproof.procedure.session import Session
from loomproof.records.store import RecordStore
from loomproof.tui.app import Console
from loomproof.tui.desk.session_desk import SessionDesk
from loomproof_sim.named_boxes import forget

HERE = Path(__file__).parent
SIZES = ((80, 24), (120, 36))


class TooBusyError(Exception):
    """The machine could not keep the box alive in real time."""


def png(svg: str, target: Path) -> None:
    """Render with Chromium (other renderers misdraw braille), in few colours to keep the file small."""
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert box is not None
    width, height = (int(float(side)) + 1 for side in box.groups())
    plain = re.sub(r"@font-face\s*{[^}]*}", "", svg)  # no fetching of remote fonts
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        page.write_text(f'<body style="margin:0">{plain}</body>', encoding="utf-8")
        command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
        command += [f"--window-size={width},{height}", f"--screenshot={target}", page.as_uri()]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
    Image.open(target).convert("RGB").quantize(96).save(target, optimize=True)


class Tour:
    """One run of the demo, with a picture wherever one is wanted.

    The link itself counts as alive here: writing a picture keeps the event loop busy, and nothing is driven.
    """

    FAULTS: tuple[str, ...] = DEMO_FAULTS

    def __init__(self, size: tuple[int, int], store: RecordStore) -> None:
        forget(DEMO_BOX)
        path = demo_job()
        job = load_job(path)
        url = sim_url(path, 5, self.FAULTS)

        def session(box: BoxPort, operator: Operator) -> Session:
            return Session(job, box, operator, store.recorder(), job_text=path.read_text("utf-8"), url=url)

        self.desk = SessionDesk(
            job, lambda: connect(url, auto_call_in=True), session, who="N. N.", record_where="records.sqlite"
        )
        self.console = Console(self.desk, hands=DemoHands(), who="N. N.")
        self.size = size
        self.taken: dict[str, str] = {}

    def picture(self, name: str) -> None:
        """Keep a picture of the screen as it is."""
        # Rendered when the run is over: a loop that waits for Chromium would lose its heartbeat.
        self.taken[f"{name}-{self.size[0]}x{self.size[1]}.png"] = self.console.export_screenshot()

    async def until(self, pilot: Pilot[int], ready: Callable[[], bool]) -> None:
        """Wait until something holds."""
        for _ in range(900):
            await pilot.pause(0.1)
            if ready():
                await pilot.pause(0.3)
                return
            if self.console.panel.stop_reason == "console fell silent":
                raise TooBusyError
        raise SystemExit(f"waited in vain; prompt: {self.console.prompt}, panel: {self.console.panel}")

    async def until_asked(self, pilot: Pilot[int], word: str) -> None:
        """Wait for a question with this word in its title."""
        await self.until(pilot, lambda: self.console.prompt is not None and word in self.console.prompt.title)

    async def pull_and_seat(self, pilot: Pilot[int], channel: int) -> None:
        """Play the hands in a pull check."""
        hands = self.console.hands
        assert hands is not None
        await self.until_asked(pilot, "Pull")
        if channel == 1:
            await pilot.press("ctrl+l")
            await pilot.pause(0.4)
            self.picture("large")
            await pilot.press("ctrl+l")
            await self.with_hands(pilot)
        hands.pull(channel)
        await self.until_asked(pilot, "Seat")
        hands.seat(channel)
        await self.until(
            pilot, lambda: self.console.prompt is None or "Seat" not in self.console.prompt.title
        )

    async def with_hands(self, pilot: Pilot[int]) -> None:
        """Show the hands page."""
        await pilot.press("6")
        await pilot.pause(0.4)
        self.picture("hands")
        await pilot.press("1")

    async def run(self) -> None:
        """Work a part of the run sheet and visit every page."""
        console = self.console
        async with console.run_test(size=self.size, notifications=False) as pilot:
            await self.until(pilot, lambda: bool(console.progress.steps) and console.panel.state == "idle")
            self.picture("start")
            for step in console.progress.steps[:1]:
                self.desk.run_step(step.id)
            await self.until_asked(pilot, "Look")
            await pilot.press("g")
            await self.until(pilot, lambda: not console.progress.running)
            for channel in (1, 2):
                self.desk.run_step(f"pull-{channel}")
                await self.pull_and_seat(pilot, channel)
                await self.until(pilot, lambda: not console.progress.running)
            for channel in (6, 7, 8):
                await self.drive(pilot, channel)
            await self.drive(pilot, 1, with_pictures=True)
            await self.pages(pilot)
            await self.stop(pilot)

    async def drive(self, pilot: Pilot[int], channel: int, *, with_pictures: bool = False) -> None:
        """Run a drive step."""
        console = self.console
        self.desk.run_step(f"drive-{channel}")
        noticed = False
        while not noticed:
            await self.until(pilot, lambda: console.prompt is not None)
            prompt = console.prompt
            if prompt is None:
                continue
            if prompt.facts:
                if with_pictures:
                    self.picture("statement")
                await self.state(pilot)
            elif any(choice.value == "drive" for choice in prompt.choices):
                if with_pictures:
                    self.picture("ready")
                await pilot.press("g")
            else:
                noticed = True
        if with_pictures:
            self.picture("noticed")
            if self.size[0] < 110:
                await pilot.press("v", "v")
                self.picture("trace")
                await pilot.press("v")
                self.picture("engine")
                await pilot.press("v")
        await pilot.press("h")
        await self.until(pilot, lambda: not console.progress.running)

    async def state(self, pilot: Pilot[int]) -> None:
        """Confirm every fact of the statement that is asked for."""
        prompt = self.console.prompt
        assert prompt is not None
        for index in range(len(prompt.facts)):
            line = self.console.screen.query_one(f"#fact-{index}")
            if isinstance(line, Checkbox):
                line.value = True
            elif isinstance(line, Input):
                line.value = "yes"
        if prompt.typed_word:
            self.console.screen.query_one("#word", Input).value = prompt.typed_word
        self.console.screen.query_one("#who", Input).focus()
        await pilot.press("enter")
        await self.until(pilot, lambda: self.console.prompt is not prompt)

    async def pages(self, pilot: Pilot[int]) -> None:
        """Visit the pages."""
        self.console.bench_channel = 1
        for key, name in (("2", "loom"), ("3", "bench"), ("4", "findings"), ("5", "record")):
            await pilot.press(key)
            await pilot.pause(0.6)
            self.picture(name)
        if self.size[0] < 110:
            for keys, name in ((("2", "v"), "loom-header"), (("3", "c", "right", "c"), "bench-cursors")):
                await pilot.press(*keys)
                await pilot.pause(0.6)
                self.picture(name)

    async def stop(self, pilot: Pilot[int]) -> None:
        """Press the stop key."""
        await pilot.press("3", "ctrl+x")
        await self.until(pilot, lambda: self.console.panel.stopped)
        self.picture("stopped")


class WalkTour(Tour):
    """A whole walk, then a wiggle test over a bad contact."""

    FAULTS = (*DEMO_FAULTS, "intermittent:3")

    async def run(self) -> None:
        """Walk by the console's own page, with the demo's hands."""
        console, hands = self.console, self.console.hands
        assert hands is not None
        async with console.run_test(size=self.size, notifications=False) as pilot:
            await self.until(pilot, lambda: bool(console.progress.steps) and console.panel.state == "idle")
            await pilot.press("7", "g")
            await self.until(pilot, lambda: console.walk.stage == "pull")
            self.picture("walk-asked")
            mismatch_taken = False
            while console.walk.stage != "done":
                asked = console.walk.asked
                if asked is not None:
                    hands.pull(asked)
                    await self.until(pilot, lambda: console.walk.stage == "seat")
                    if not mismatch_taken:
                        mismatch_taken = True
                        self.picture("walk-mismatch")
                    hands.seat(asked)
                await self.until(pilot, lambda: console.walk.stage in ("pull", "done"))
            self.picture("walk-ended")
            await pilot.press("8")
            self.desk.start_wiggle((3, 11), held=False)
            await self.until(pilot, lambda: console.flex.watching == 3)
            await pilot.press("h")
            hands.wiggle(3)
            await self.until(pilot, lambda: len(console.flex.rows) > 3)
            self.picture("wiggle")
            self.desk.end_wiggle()


def main() -> None:
    """Take all pictures, or those of the walk and the wiggle page alone."""
    os.environ.pop("NO_COLOR", None)
    tours = (WalkTour,) if sys.argv[1:] == ["walk"] else (Tour, WalkTour)
    for tour, size in itertools.product(tours, SIZES):
        for attempt in range(5):
            try:
                take(tour, size)
                break
            except TooBusyError:
                if attempt == 4:
                    raise


def take(kind: type[Tour], size: tuple[int, int]) -> None:
    """Take the pictures of one tour at one size."""
    with tempfile.TemporaryDirectory() as folder:
        store = RecordStore(Path(folder) / "records.sqlite")
        tour = kind(size, store)
        try:
            asyncio.run(tour.run())
        finally:
            tour.desk.stop_now()
            tour.desk.close()
            store.close()
        for name, svg in tour.taken.items():
            png(svg, HERE / name)


if __name__ == "__main__":
    main()
