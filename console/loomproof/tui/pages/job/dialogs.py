"""The questions of the job page: which of these, which file, what happens to unsaved changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from pathlib import Path

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from loomproof.tui.widgets.dialog_stop import DialogStop
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import Row, RowList

NEW_ROW = "+"
"""The key of the row that adds what was typed; no option has it."""


@dataclass(frozen=True)
class Option:
    """One entry of a list to choose from: its key, what it means, and its label if that is not the key."""

    key: str
    note: str = ""
    label: str = ""

    @property
    def face(self) -> str:
        """What stands in the list."""
        return self.label or self.key


@dataclass(frozen=True)
class Picked:
    """What was chosen: an option's key or, if `new`, what was typed and is not in the list."""

    key: str
    new: bool = False


class ChooseOne(ModalScreen[Picked | None]):
    """A list to choose from; typing narrows it, and may name something new.

    Args:
        title: what is chosen.
        options: the list.
        new: what stands before a new entry that was typed; empty: only what is in the list can be chosen.
        text: a line under the title.
        now: the key on which the cursor stands at first.
    """

    BINDINGS = [Binding("escape", "leave", "Cancel")]

    def __init__(
        self, title: str, options: Sequence[Option], *, new: str = "", text: str = "", now: str = ""
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
                yield KeyButton("Esc", "Cancel", id="leave")
            yield DialogStop()

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
        found = [o for o in self._options if all(word in f"{o.face} {o.note}".casefold() for word in words)]
        rows = [Row(o.key, ((f"{o.face:<24}", "plain"), (o.note, "quiet"))) for o in found]
        if self._new and typed and typed not in (option.key for option in self._options):
            rows.append(Row(NEW_ROW, (("+ ", "live"), (f"{self._new} {typed}", "plain"))))
        listed = self.query_one(RowList)
        listed.empty_text = "Nothing in the list matches. Type fewer letters."
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
        if key == NEW_ROW:
            self.dismiss(Picked(self.query_one(Input).value.strip(), new=True))
        elif key is not None:
            self.dismiss(Picked(key))

    @on(Button.Pressed, "#leave")
    def action_leave(self) -> None:
        """Choose nothing."""
        self.dismiss(None)


class AskLine(ModalScreen[str | None]):
    """Asks for one line of text, and says what is wrong with it before accepting it."""

    BINDINGS = [Binding("escape", "leave", "Cancel")]

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
                yield KeyButton("Enter", "OK", id="ok")
                yield KeyButton("Esc", "Cancel", id="leave")
            yield DialogStop()

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


class UnsavedAnswer(Enum):
    """What happens to unsaved changes that are about to be left."""

    SAVE = auto()
    LEAVE = auto()
    STAY = auto()


class DraftAnswer(Enum):
    """What happens to a draft that an earlier session left."""

    TAKE = auto()
    DROP = auto()
    LATER = auto()


class AskUnsaved(ModalScreen[UnsavedAnswer]):
    """Unsaved changes are about to be left: save them, leave them (the draft stays), or stay."""

    AUTO_FOCUS = "#stay"

    BINDINGS = [
        Binding("s", "answer('SAVE')", "Save"),
        Binding("l", "answer('LEAVE')", "Leave"),
        Binding("escape,enter", "answer('STAY')", "Stay"),
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
                yield KeyButton("s", "Save", action="screen.answer('SAVE')")
                yield KeyButton("l", "Leave unsaved", action="screen.answer('LEAVE')")
                yield KeyButton("Esc", "Stay", id="stay", action="screen.answer('STAY')")
            yield DialogStop()

    def action_answer(self, answer: str) -> None:
        """Answer."""
        self.dismiss(UnsavedAnswer[answer])


class AskDraft(ModalScreen[DraftAnswer]):
    """An earlier session left a draft: open it, throw it away, or decide later."""

    BINDINGS = [
        Binding("t,enter", "answer('TAKE')", "Open the draft"),
        Binding("x", "answer('DROP')", "Throw it away"),
        Binding("escape", "answer('LATER')", "Later"),
    ]

    def __init__(self, path: Path, written: str, changed: int) -> None:
        super().__init__()
        self._text = (
            f"{path.name} has changes that were never saved, last written {written}: {changed} lines differ from "
            "the file. Open the draft to go on with them; that saves nothing yet."
        )

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        with Vertical(classes="asking"):
            yield Static("An unsaved draft was left behind", classes="asking-title", markup=False)
            yield Static(self._text, classes="asking-text", markup=False)
            with Horizontal(classes="asking-answers"):
                yield KeyButton("t", "Open the draft", action="screen.answer('TAKE')")
                yield KeyButton("x", "Throw it away", action="screen.answer('DROP')")
                yield KeyButton("Esc", "Later", action="screen.answer('LATER')")
            yield DialogStop()

    def action_answer(self, answer: str) -> None:
        """Answer."""
        self.dismiss(DraftAnswer[answer])
