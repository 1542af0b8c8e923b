"""Buttons that show the key that presses them."""

from __future__ import annotations

from rich.text import Text
from textual.widgets import Button


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
