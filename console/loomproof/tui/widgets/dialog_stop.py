"""The stop of dialogs, help and the start page. That of the other pages is the last row of `widgets/status.py`."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Button, Static

from loomproof.tui.words import STOP_FACE, STOP_FACE_BROWSER, STOP_IS_NOT_SHORT


@runtime_checkable
class MayBeReading(Protocol):
    """An application that says whether it stands in a browser."""

    reading: bool


class StopButton(Button):
    """The stop, for the mouse. The key itself acts before any widget sees it."""

    def __init__(self) -> None:
        super().__init__(STOP_FACE, action="app.stop", compact=True)
        self.can_focus = False

    def on_mount(self) -> None:
        """Say how it is pressed in a browser."""
        if isinstance(self.app, MayBeReading) and self.app.reading:
            self.label = STOP_FACE_BROWSER


class DialogStop(Horizontal):
    """A stop button with what it is not beside it; every modal carries one."""

    def compose(self) -> ComposeResult:
        """Lay out the button and the text."""
        yield StopButton()
        yield Static(STOP_IS_NOT_SHORT, classes="stop-note")
