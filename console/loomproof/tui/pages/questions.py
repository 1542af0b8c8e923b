"""Modal questions. Each one shows its own stop; the stop key works in all of them."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Checkbox, Input, Static

from loomproof.tui.desk.protocol import Reply
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.widgets.cautions import Cautions
from loomproof.tui.widgets.dialog_stop import DialogStop
from loomproof.tui.widgets.keys import KeyButton


class AskReason(ModalScreen[str | None]):
    """Asks for a reason in the operator's own words; the record keeps it."""

    BINDINGS = [Binding("escape", "leave", "Leave as it is")]

    def __init__(
        self,
        title: str,
        ask: str = "Why? The record keeps what you write.",
        *,
        example: str = "load not fitted yet",
        missing: str = "a skip without a reason proves nothing",
    ) -> None:
        super().__init__()
        self._example = example
        self._missing = missing
        self._title = title
        self._ask = ask

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        with Vertical(classes="asking"):
            yield Static(self._title, classes="asking-title", markup=False)
            yield Static(self._ask, classes="asking-text", markup=False)
            yield Input(placeholder=f"for example: {self._example}", id="reason", max_length=200)
            yield Static("", id="asking-problem", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("Enter", "Write it down", id="ok")
                yield KeyButton("Esc", "Leave as it is", id="leave")
            yield DialogStop()

    @on(Input.Submitted)
    @on(Button.Pressed, "#ok")
    def _done(self) -> None:
        reason = self.query_one(Input).value.strip()
        if reason:
            self.dismiss(reason)
        else:
            self.query_one("#asking-problem", Static).update(f"Write a few words first: {self._missing}.")

    @on(Button.Pressed, "#leave")
    def action_leave(self) -> None:
        """Change nothing."""
        self.dismiss(None)


CONFIRM = "yes"
BLANK = "_" * 10
"""What stands in a field before anything is typed: the wanted word there would look like an answer given."""


def matches(typed: str, wanted: str) -> bool:
    """Return whether a word was typed in full, in any case."""
    return typed.strip().casefold() == wanted.casefold()


class TickBox(Checkbox, inherit_bindings=False):
    """A box with a visible tick; the library's own shows it by colour alone."""

    BINDINGS = [Binding("space", "toggle_button", "Tick")]

    def render(self) -> Content:
        """Draw the box."""
        style = self.get_visual_style("toggle--button")
        return Content.styled("[✓]" if self.value else "[ ]", style)


class StatementScreen(ModalScreen[Reply | None]):
    """A statement that frees a hazard class: every fact confirmed on its own, a word typed, and a name."""

    BINDINGS = [Binding("escape", "leave", "Do not state it"), Binding("enter", "state", "State it")]

    def __init__(self, prompt: PromptView, who: str = "") -> None:
        super().__init__()
        self.prompt = prompt
        self._who = who

    def compose(self) -> ComposeResult:
        """Lay out cautions, a line per fact, the word and the name; answers and stop stay in view."""
        word = self.prompt.typed_word
        with Vertical(classes="asking statement"):
            with VerticalScroll(can_focus=False):
                yield Static(f"Statement: {self.prompt.title}", classes="asking-title", markup=False)
                yield Static(self.prompt.text, classes="asking-text", markup=False)
                yield Cautions(self.prompt.cautions)
                how = (
                    f"Look at each one, then type {CONFIRM} beside it."
                    if word
                    else "Look at each one, then tick it: space ticks, Tab goes on."
                )
                yield Static(how, classes="asking-text", markup=False)
                for index, fact in enumerate(self.prompt.facts):
                    yield from self._fact_line(index, fact.text, typed=bool(word))
                with Horizontal(classes="fact-line"):
                    yield Input(self._who, placeholder=BLANK, id="who", compact=True, max_length=60)
                    yield Static("who states this", classes="fact", markup=False)
                if word:
                    with Horizontal(classes="fact-line"):
                        yield Input(placeholder=BLANK, id="word", compact=True, max_length=20)
                        yield Static(
                            f"type the word {word} to make the statement", classes="fact", markup=False
                        )
            yield Static(self.prompt.problem, id="asking-problem", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("Enter", "I state this", id="ok")
                yield KeyButton("Esc", "I do not", id="leave")
            yield DialogStop()

    def _fact_line(self, index: int, text: str, *, typed: bool) -> ComposeResult:
        with Horizontal(classes="fact-line"):
            if typed:
                yield Input(placeholder=BLANK, id=f"fact-{index}", compact=True, max_length=8)
            else:
                yield TickBox("", id=f"fact-{index}", compact=True)
            yield Static(f"{index + 1}. {text}", classes="fact", markup=False)

    @on(Input.Submitted)
    def _entered(self) -> None:
        """Enter states when everything is there, and goes to the first thing that is not."""
        self.action_state()

    def first_missing(self) -> tuple[str, str] | None:
        """Return the id of the first thing not done and what to do about it, or None."""
        for index, fact in enumerate(self.prompt.facts):
            if not self._confirmed(index):
                what = f"type {CONFIRM}" if self.prompt.typed_word else "tick it with space"
                return (
                    f"fact-{index}",
                    f"Fact {index + 1} is not confirmed: check whether {fact.text}, then {what}.",
                )
        if not self.query_one("#who", Input).value.strip():
            return "who", "Write your name: a statement needs a person."
        word = self.prompt.typed_word
        if word and not matches(self.query_one("#word", Input).value, word):
            return "word", f"Type the word {word} to make the statement."
        return None

    def _confirmed(self, index: int) -> bool:
        line = self.query_one(f"#fact-{index}")
        return (
            line.value
            if isinstance(line, TickBox)
            else isinstance(line, Input) and matches(line.value, CONFIRM)
        )

    @on(Button.Pressed, "#ok")
    def action_state(self) -> None:
        """State it, or say what is missing and go there."""
        missing = self.first_missing()
        if missing is not None:
            self.query_one("#asking-problem", Static).update(missing[1])
            self.query_one(f"#{missing[0]}").focus()
            return
        facts = tuple(fact.key for fact in self.prompt.facts)
        typed = self.query_one("#word", Input).value.strip() if self.prompt.typed_word else ""
        self.dismiss(
            Reply(self.prompt.choices[0].value, facts, typed, self.query_one("#who", Input).value.strip())
        )

    @on(Button.Pressed, "#leave")
    def action_leave(self) -> None:
        """Do not state it."""
        self.dismiss(None)


class AskYesNo(ModalScreen[bool]):
    """A question with a safe answer, which Enter and Escape both give."""

    BINDINGS = [Binding("y", "answer(True)", "Yes"), Binding("n,escape,enter", "answer(False)", "No")]

    def __init__(self, title: str, text: str, *, yes: str, no: str) -> None:
        super().__init__()
        self._words = (title, text, yes, no)

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        title, text, yes, no = self._words
        with Vertical(classes="asking"):
            yield Static(title, classes="asking-title", markup=False)
            yield Static(text, classes="asking-text", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("n", no, id="no")
                yield KeyButton("y", yes, id="yes")
            yield DialogStop()

    @on(Button.Pressed, "#yes,#no")
    def _pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "yes")

    def action_answer(self, yes: bool) -> None:
        """Answer by key."""
        self.dismiss(yes)
