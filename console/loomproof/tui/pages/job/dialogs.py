"""The questions that making a job asks: which of these, which file, what of the unsaved changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from loomproof.tui.widgets.keys import KeyButton, StopLine
from loomproof.tui.widgets.row_list import Row, RowList

NEW = "+"
"""Before a choice that is not in the list: what was typed, to be added."""


class ChooseOne(ModalScreen[str | None]):
    """A list to choose from; typing narrows it, and may name something new."""

    BINDINGS = [Binding("escape", "leave", "Leave as it is")]

    def __init__(
        self, title: str, options: Sequence[tuple[str, str]], *, new: str = "", text: str = "", now: str = ""
    ) -> None:
        super().__init__()
        self._title = title
        self._options = list(options)
        self._new = new
        self._text = text
        self._now = now

    def compose(self) -> ComposeResult:
        """Lay out the line to type in and the list."""
        with Vertical(classes="asking choosing"):
            yield Static(self._title, classes="asking-title", markup=False)
            if self._text:
                yield Static(self._text, classes="asking-text", markup=False)
            yield Input(placeholder="type to narrow the list", compact=True)
            yield RowList()
            with Horizontal(classes="asking-answers"):
                yield KeyButton("Enter", "Choose", id="ok")
                yield KeyButton("Esc", "Leave as it is", id="leave")
            yield StopLine()

    def on_mount(self) -> None:
        """Show everything."""
        self._show("")
        self.query_one(RowList).go_to(self._now)
        self.query_one(Input).focus()

    @on(Input.Changed)
    def _narrow(self, event: Input.Changed) -> None:
        self._show(event.value)

    def _show(self, typed: str) -> None:
        typed = typed.strip()
        words = typed.casefold().split()
        found = [o for o in self._options if all(word in f"{o[0]} {o[1]}".casefold() for word in words)]
        rows = [Row(key, ((f"{key:<24}", "plain"), (note, "quiet"))) for key, note in found]
        if self._new and typed and typed not in (key for key, _ in self._options):
            rows.append(Row(NEW + typed, (("+ ", "live"), (f"{self._new} {typed}", "plain"))))
        listed = self.query_one(RowList)
        listed.empty_text = "Nothing in the list fits. Type less of it."
        listed.show(rows)
        if listed.key is None:
            listed.cursor = 0

    def on_key(self, event: events.Key) -> None:
        """Up and down move in the list while the line keeps the focus."""
        steps = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10}
        if event.key in steps:
            event.stop()
            event.prevent_default()
            self.query_one(RowList).cursor += steps[event.key]

    @on(Input.Submitted)
    @on(RowList.Chosen)
    @on(Button.Pressed, "#ok")
    def _done(self) -> None:
        key = self.query_one(RowList).key
        if key is not None:
            self.dismiss(key)

    @on(Button.Pressed, "#leave")
    def action_leave(self) -> None:
        """Choose nothing."""
        self.dismiss(None)


class AskLine(ModalScreen[str | None]):
    """Asks for one line of text; what is wrong with it is told before it is taken."""

    BINDINGS = [Binding("escape", "leave", "Leave as it is")]

    def __init__(self, title: str, ask: str, value: str, check: Callable[[str], str]) -> None:
        super().__init__()
        self._words = (title, ask)
        self._value = value
        self._check = check

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        with Vertical(classes="asking"):
            yield Static(self._words[0], classes="asking-title", markup=False)
            yield Static(self._words[1], classes="asking-text", markup=False)
            yield Input(self._value)
            yield Static("", id="asking-problem", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("Enter", "Take it", id="ok")
                yield KeyButton("Esc", "Leave as it is", id="leave")
            yield StopLine()

    def on_mount(self) -> None:
        """Write at the end."""
        self.query_one(Input).focus()
        self.query_one(Input).action_end()

    @on(Input.Submitted)
    @on(Button.Pressed, "#ok")
    def _done(self) -> None:
        text = self.query_one(Input).value.strip()
        problem = self._check(text)
        if problem:
            self.query_one("#asking-problem", Static).update(problem)
        else:
            self.dismiss(text)

    @on(Button.Pressed, "#leave")
    def action_leave(self) -> None:
        """Change nothing."""
        self.dismiss(None)


class AskUnsaved(ModalScreen[str | None]):
    """Unsaved changes are about to be left: save them, leave them (the draft stays), or stay."""

    AUTO_FOCUS = "#stay"

    BINDINGS = [
        Binding("s", "answer('save')", "Save"),
        Binding("l", "answer('leave')", "Leave"),
        Binding("escape,enter", "answer('')", "Stay"),
    ]

    def __init__(self, path: Path, draft: Path) -> None:
        super().__init__()
        self._path = path
        self._draft = draft

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        text = (
            f"{self._path} is not saved. If you leave, what you wrote stays in {self._draft.name} beside it and "
            "is offered when you edit the job again."
        )
        with Vertical(classes="asking"):
            yield Static("There are unsaved changes", classes="asking-title", markup=False)
            yield Static(text, classes="asking-text", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("s", "Save", id="save")
                yield KeyButton("l", "Leave unsaved", id="go")
                yield KeyButton("Esc", "Stay", id="stay")
            yield StopLine()

    @on(Button.Pressed)
    def _pressed(self, event: Button.Pressed) -> None:
        answers = {"save": "save", "go": "leave", "stay": ""}
        if event.button.id in answers:
            self.action_answer(answers[event.button.id])

    def action_answer(self, answer: str) -> None:
        """Answer."""
        self.dismiss(answer or None)


class AskLeftover(ModalScreen[str | None]):
    """An earlier session left a draft: take it up, throw it away, or decide later."""

    BINDINGS = [
        Binding("t,enter", "answer('take')", "Take it up"),
        Binding("x", "answer('drop')", "Throw it away"),
        Binding("escape", "answer('')", "Later"),
    ]

    def __init__(self, path: Path, written: str, changed: int) -> None:
        super().__init__()
        self._text = (
            f"{path.name} has changes that were never saved, last written {written}: {changed} lines differ from "
            "the file. Take them up to go on with them; nothing is saved by that."
        )

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        with Vertical(classes="asking"):
            yield Static("An unsaved draft was left behind", classes="asking-title", markup=False)
            yield Static(self._text, classes="asking-text", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("t", "Take it up", id="take")
                yield KeyButton("x", "Throw it away", id="drop")
                yield KeyButton("Esc", "Later", id="later")
            yield StopLine()

    @on(Button.Pressed)
    def _pressed(self, event: Button.Pressed) -> None:
        answers = {"take": "take", "drop": "drop", "later": ""}
        if event.button.id in answers:
            self.action_answer(answers[event.button.id])

    def action_answer(self, answer: str) -> None:
        """Answer."""
        self.dismiss(answer or None)
