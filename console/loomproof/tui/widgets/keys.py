"""Buttons that show the key that presses them, and the stop button every page and modal carries."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Button, Static

from loomproof.tui.words import STOP_FACE, STOP_FACE_BROWSER, STOP_IS_NOT_SHORT


class KeyButton(Button):
    """A one-line button: ` h  Heard it `. The key is part of its face, so it reads without colour."""

    def __init__(
        self,
        key: str,
        label: str,
        *,
        id: str | None = None,  # noqa: A002 - Textual's name
        action: str | None = None,
        classes: str | None = None,
    ) -> None:
        self.key_text = key
        super().__init__(self._face(label), id=id, action=action, classes=classes, compact=True)

    def _face(self, label: str) -> Text:
        return Text.assemble(("[", "dim"), (self.key_text, "bold"), ("] ", "dim"), label)

    def say(self, label: str) -> None:
        """Change what stands beside the key."""
        self.label = self._face(label)


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


class StopLine(Horizontal):
    """A stop button with what it is not beside it; every modal carries one."""

    def compose(self) -> ComposeResult:
        """Lay out the button and the text."""
        yield StopButton()
        yield Static(STOP_IS_NOT_SHORT, classes="stop-note")
