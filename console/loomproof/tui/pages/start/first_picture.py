"""The first picture: shown at once, while the job, the record store and the box's client are still loading.

It is drawn with one plain widget and its own few lines of style, because every widget's style sheet and every
import before it holds the first picture up.
"""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.screen import Screen
from textual.widgets import Static

from loomproof.tui.words import STOP_FACE, STOP_IS_NOT

STARTING_TEXT = "Reading the job and getting ready to open the box. Nothing is driven."


class StartingScreen(Screen[None]):
    """Stands until the desk is made."""

    DEFAULT_CSS = """
    StartingScreen { align: center middle; }
    StartingScreen Static { width: 76; max-width: 100%; height: auto; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out the name, what is being done, the stop and what it is not."""
        yield Static(
            Text.assemble(
                ("Loomproof", "bold"),
                f"\n\n{STARTING_TEXT}\n\n",
                (f" {STOP_FACE} ", "bold reverse"),
                f"\n{STOP_IS_NOT}",
            )
        )
