"""The one table of pages: key, name, label, and what makes each. Light to import: the first picture needs it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from textual.screen import Screen

from loomproof.tui.pages.start.first_picture import StartingScreen


@dataclass(frozen=True)
class PageRow:
    """One page.

    Attributes:
        key: the digit that goes to it.
        name: what settings, keymaps and actions call it.
        label: what stands in the page line.
        folder: its folder in `tui.pages`, which holds `page.py` and `page.tcss`.
        screen: its class in `page.py`.
        short_label: the label where the screen is too narrow for all of them; empty: the label itself.
    """

    key: str
    name: str
    label: str
    folder: str
    screen: str
    short_label: str = ""


SHEET, HANDS, JOB = "sheet", "hands", "making"
PAGES = (
    PageRow("1", SHEET, "Run sheet", "run_sheet", "SheetPage", "Sheet"),
    PageRow("2", "loom", "Loom", "loom", "LoomPage"),
    PageRow("3", "bench", "Bench", "bench", "BenchPage"),
    PageRow("4", "findings", "Findings", "findings", "FindingsPage"),
    PageRow("5", "record", "Record", "record", "RecordPage"),
    PageRow("6", HANDS, "Hands", "hands", "HandsPage"),
    PageRow("7", "walk", "Walk", "walk", "WalkPage"),
    PageRow("8", "wiggle", "Wiggle", "wiggle", "WigglePage"),
    PageRow("0", JOB, "Job", "job", "JobPage"),
)
START = "start"
"""The mode in which a job and a box are chosen."""
STARTING = "starting"
"""The mode that stands before there is a desk."""


def _maker(folder: str, screen: str) -> Callable[[], Screen[Any]]:
    """Return what makes a page, importing it only when the page is first gone to."""

    def make() -> Screen[Any]:
        page: Screen[Any] = getattr(import_module(f"loomproof.tui.pages.{folder}.page"), screen)()
        return page

    return make


def modes() -> dict[str, Callable[[], Screen[Any]]]:
    """Return every mode of the application with what makes its screen."""
    pages = {row.name: _maker(row.folder, row.screen) for row in PAGES}
    return {START: _maker("start", "StartPage"), STARTING: StartingScreen, **pages}


def help_screen(text: str) -> Screen[None]:
    """Return a help text as a screen, importing what draws it only when it is first shown."""
    from loomproof.tui.pages.help import HelpScreen  # noqa: PLC0415 - not before the first picture

    return HelpScreen(text)


def offered(*, hands: bool, reading: bool) -> list[PageRow]:
    """Return the pages that can be gone to: hands are the demo's, and a browser writes no files."""
    hidden = {*(() if hands else (HANDS,)), *((JOB,) if reading else ())}
    return [row for row in PAGES if row.name not in hidden]
