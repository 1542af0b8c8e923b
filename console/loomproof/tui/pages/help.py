"""Help: what the page is for and which keys it takes, and what the stop key does not replace."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Markdown

from loomproof.tui.widgets.keys import KeyButton, StopLine
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
* Touch a button, a row, or a key's name in the line above the last two. Wipe a list to move it.
* A page that is left or loses its connection stops the box. What is settled is kept; open the page again, clear the
  stop and carry on.
"""

WELCOME = """\
# A first run

You have a simulated box, a simulated loom and one or two faults sealed into it. Nothing here can hurt anyone.

1. Press **g** to run the step at hand, or **o** to run on until a question comes.
2. When a pull check asks for a connector, go to the hands with **6**, pull it with **p**, seat it with **s**,
   come back with **1**.
3. Look at **4** for what was found, and at **5** for what was written down.

The two lines at the bottom never go away: what the box is doing, and how to stop it.
"""

WELCOME_BROWSER = """\
# A first walk

You have a simulated box, a simulated loom and one or two faults sealed into it. Nothing here can hurt anyone.

1. Touch **7 Walk** in the top line, then **Walk, guided**.
2. The large letters name a connector. **p Hand**, in the line above the last two, is your hand: it pulls it, and
   seats it the next time.
3. At the end look at **Places** and **Mend**, at **4** for what was found, and at **5** for what was written down.

The two lines at the bottom never go away: what the box is doing, and how to stop it.
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
            yield StopLine()

    def _whole_text(self) -> str:
        if not getattr(self.app, "reading", False):
            return self._text + EVERYWHERE
        text = WELCOME_BROWSER if self._text == WELCOME else self._text
        return text + IN_BROWSER + EVERYWHERE

    def action_close(self) -> None:
        """Go back."""
        self.dismiss(None)
