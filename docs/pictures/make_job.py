"""Takes the guide's pictures of the job page and of the pin-out page anew, at both sizes.

usage: python docs/pictures/make_job.py   (needs chromium and the Fira Code font)
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from make import HERE, SIZES, png
from textual.pilot import Pilot

from loomproof.job.templates import TEMPLATES, template_text
from loomproof.tui.app import Console
from loomproof.tui.settings import RecentJob, SettingsKeeper
from loomproof.tui.widgets.grid import CellGrid

PINS = """\
Test rig 7;;;;;
Connector;Pin;Function;Colour;Size;Length [mm]
H1;1;Injector cyl. 1;GNWH;0,75;1800
H1;2;Injector cyl. 2;GNRD;0,75;1900
H1;3;Fuel pump relay;BL;0,5;1200
H1;4;Fan relay;BN;0,5;1200
H1;5;Relay K3;YE;0,5;1400
H1;6;Throttle position sensor;WH;0,5;900
H1;7;CAN H;;;
"""


class NoStarter:
    """Opens nothing: no box is needed to make a job."""

    def ports(self) -> Sequence[tuple[str, str]]:
        """Return no ports."""
        return ()


async def settle(pilot: Pilot[int]) -> None:
    """Wait until what was asked is drawn."""
    for _ in range(4):
        await pilot.pause()


async def job(size: tuple[int, int], path: Path) -> str:
    """Return the page with a misspelt load."""
    path.write_text(template_text(TEMPLATES["inline-four"], "Four-cylinder loom", "L-0007"), encoding="utf-8")
    console = Console(starter=NoStarter(), making=True, job_path=path)  # type: ignore[arg-type]
    async with console.run_test(size=size) as pilot:
        await settle(pilot)
        console.screen.query_one("#making-grid", CellGrid).go_to("4", "load")
        await pilot.press("enter", "e", "enter")
        await settle(pilot)
        return console.export_screenshot()


async def front(size: tuple[int, int], folder: Path) -> str:
    """Return the page on which a job and a box are chosen, with two jobs opened before."""
    settings = SettingsKeeper()
    for name, title in (("boat", "Day cruiser, inboard engine loom"), ("fan", "Rig of relays and lamps")):
        path = folder / f"{name}.toml"
        path.touch()
        settings.keep(settings.now.remembering(RecentJob(str(path), title, "COM4")))
    console = Console(starter=NoStarter(), settings=settings)  # type: ignore[arg-type]
    async with console.run_test(size=size) as pilot:
        await settle(pilot)
        return console.export_screenshot()


async def pinout(size: tuple[int, int], folder: Path) -> str:
    """Return the page that reads a table."""
    (folder / "rig-7.csv").write_text(PINS, encoding="utf-8")
    console = Console(starter=NoStarter(), making=True)  # type: ignore[arg-type]
    async with console.run_test(size=size) as pilot:
        await settle(pilot)
        await pilot.press("i")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        return console.export_screenshot()


def main() -> None:
    """Take every picture."""
    os.environ.pop("NO_COLOR", None)
    for width, height in SIZES:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            os.chdir(folder)
            png(asyncio.run(pinout((width, height), folder)), HERE / f"pinout-{width}x{height}.png")
            png(asyncio.run(job((width, height), folder / "loom.toml")), HERE / f"job-{width}x{height}.png")
            png(asyncio.run(front((width, height), folder)), HERE / f"front-{width}x{height}.png")
            os.chdir(HERE)


if __name__ == "__main__":
    main()
