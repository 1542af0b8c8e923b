"""The text of the job in an editor: what is typed counts once it has rested for a moment."""

from __future__ import annotations

from textual import on
from textual.message import Message
from textual.timer import Timer
from textual.widgets import TextArea

TYPING_S = 0.3
"""What is typed in the text is checked when typing has rested this long."""


class JobText(TextArea):
    """The whole job as text."""

    class Rested(Message):
        """Typing has rested: the text may have changed."""

    _filling = False
    """Set while the page itself fills the text."""
    _typing: Timer | None = None

    def fill(self, text: str) -> None:
        """Show another text, with the cursor where it was."""
        if self.text != text:
            self._filling = True
            where = self.cursor_location
            self.load_text(text)
            self.move_cursor(where)

    def take(self) -> str:
        """Return what stands there now, without waiting for the typing to rest."""
        if self._typing is not None:
            self._typing.stop()
            self._typing = None
        return self.text

    @on(TextArea.Changed)
    def _changed(self) -> None:
        if self._filling:
            self._filling = False
            return
        if self._typing is not None:
            self._typing.stop()
        self._typing = self.set_timer(TYPING_S, self._rested)

    def _rested(self) -> None:
        self.post_message(self.Rested())
