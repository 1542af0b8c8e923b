"""Help: what the page is for and which keys it takes, and what the stop key does not replace."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Markdown

from loomproof.tui.widgets.dialog_stop import DialogStop, MayBeReading
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.words import STOP_IS, STOP_IS_NOT

EVERYWHERE = f"""

## Everywhere

* The number before a page in the top line (or **F2** and on, also while typing) goes to it; **?** or **F1** is help.
* **Ctrl+P** opens the list of everything that can be done now.
* **Ctrl+L** shows the run sheet in letters to be read from across the engine bay, and back.
* **Ctrl+R** clears a stop once you know why it happened. Nothing is armed again by that.
* **Ctrl+Q** leaves; the box is stopped first.
* **Tab** moves between the parts of a page; every button and row also takes a click.

## Stop

**{STOP_IS}**, from any page or question, also while the screen is busy. Ctrl+C does the same.
{STOP_IS_NOT} The box also stops by itself within 0.4 s when the console goes silent.
"""

IN_BROWSER = """

## In a browser

* **Nothing is driven from here.** This console reads, senses, watches resting pins and walks (**7**); what would
  drive a load is refused. Drive it at the console beside the box.
* Touch a button, a row, or a key's name in the line above the last two. Swipe a list to scroll it.
* A page that is left or loses its connection stops the box. What is settled is kept; open the page again, clear the
  stop and carry on.
"""


class HelpScreen(ModalScreen[None]):
    """A page's help over the page."""

    BINDINGS = [Binding("escape,enter,space,question_mark,f1", "close", "Back")]

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        """Lay out the text."""
        with Vertical(classes="asking help"):
            with VerticalScroll():
                yield Markdown(self._whole_text())
            yield KeyButton("Esc", "Back to the page", action="screen.close")
            yield DialogStop()

    def _whole_text(self) -> str:
        reading = isinstance(self.app, MayBeReading) and self.app.reading
        return self._text + (IN_BROWSER if reading else "") + EVERYWHERE

    def action_close(self) -> None:
        """Go back."""
        self.dismiss(None)
