"""The pages by key and name, and what makes them. Light to import: the first picture needs it."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

from textual.screen import Screen

PAGES: tuple[tuple[str, str, str], ...] = (
    ("1", "sheet", "Run sheet"),
    ("2", "loom", "Loom"),
    ("3", "bench", "Bench"),
    ("4", "findings", "Findings"),
    ("5", "record", "Record"),
    ("6", "hands", "Hands"),
    ("7", "walk", "Walk"),
    ("8", "wiggle", "Wiggle"),
    ("0", "making", "Job"),
)
START = "start"
"""The mode in which a job and a box are chosen."""
SHORT_LABELS = {"sheet": "Sheet"}
"""Where the screen is too narrow for all labels."""
STARTING = "starting"
"""The mode that stands before there is a desk."""


def page_maker(folder: str, name: str) -> Callable[[], Screen[Any]]:
    """Return what makes a page of `tui.pages`, importing it only when the page is first gone to."""

    def make() -> Screen[Any]:
        page: Screen[Any] = getattr(import_module(f"loomproof.tui.pages.{folder}.page"), name)()
        return page

    return make


def offered(*, hands: bool, reading: bool) -> list[tuple[str, str, str]]:
    """Return the pages that can be gone to: hands are the demo's, and a browser writes no files."""
    hidden = {*(() if hands else ("hands",)), *(("making",) if reading else ())}
    return [page for page in PAGES if page[1] not in hidden]
