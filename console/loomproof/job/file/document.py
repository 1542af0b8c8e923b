"""A job file while it is being written: its text, what is wrong with it, and every state it was in before."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import count
from typing import Any

from loomproof.job.file.loading import JobError, parse_job
from loomproof.job.file.positions import UNREADABLE, Path, find_positions
from loomproof.job.file.text_edits import EditError, add_table, remove_table, set_value
from loomproof.job.model import OUTPUTS, Job
from loomproof.job.problem import Problem

MOST_STATES = 500
WHOLE = ("channel", "partner", "count", "cylinders")
NUMBERS = ("section_mm2", "length_m", "frequency_hz", "on_time_ms", "ambient_c")
LISTS = ("firing_order",)
FLAGS = ("fitted", "fuel_pump")
YES = ("true", "yes", "y", "1")
NO = ("false", "no", "n", "0")


@dataclass(frozen=True)
class TextState:
    """One state of the text and what was done to come to it."""

    text: str
    done: str


def typed_value(key: str, text: str) -> object | None:
    """Return what a typed text means for a key; None for an empty one.

    What is not a number stays text: the check then reports it, and nothing typed is lost.
    """
    text = text.strip()
    if not text:
        return None
    if key in FLAGS:
        word = text.casefold()
        return True if word in YES else False if word in NO else text
    if key in LISTS:
        return [
            typed_value("channel", part)
            for part in text.strip("[]").replace(",", " ").replace("-", " ").split()
        ]
    if key in WHOLE or key in NUMBERS:
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            return text
        if key in WHOLE and number.is_integer():
            return int(number)
        return number
    return text


@lru_cache(maxsize=2)
def _lines(text: str) -> Mapping[Path, int]:
    """Return the line of each key; every problem of a text asks for them."""
    return find_positions(text).lines


class JobDocument:
    """The text of a job file with its history.

    Args:
        text: The text to begin with.
    """

    def __init__(self, text: str) -> None:
        self._states = [TextState(text, "opened")]
        self._at = 0
        self._checked: tuple[str, Job | None, tuple[Problem, ...]] | None = None

    # --- what it says ----------------------------------------------------------------------------------

    @property
    def text(self) -> str:
        """The text as it is now."""
        return self._states[self._at].text

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Everything that is wrong with it, in the order of the file; empty: it is a sound job."""
        return self._check()[1]

    @property
    def job(self) -> Job | None:
        """The job, if it is sound."""
        return self._check()[0]

    def _check(self) -> tuple[Job | None, tuple[Problem, ...]]:
        if self._checked is None or self._checked[0] != self.text:
            try:
                self._checked = (self.text, parse_job(self.text), ())
            except JobError as error:
                self._checked = (self.text, None, error.problems)
        return self._checked[1], self._checked[2]

    def raw(self) -> dict[str, Any] | None:
        """Return what the text holds, sound or not; None while it is not TOML."""
        try:
            return tomllib.loads(self.text)
        except UNREADABLE:
            return None

    def rows(self, table: str) -> list[Mapping[str, Any]] | None:
        """Return the tables of one kind as they are written; None while the text is not TOML."""
        raw = self.raw()
        if raw is None:
            return None
        found = raw.get(table, [])
        return [row if isinstance(row, dict) else {} for row in found] if isinstance(found, list) else []

    def place_of(self, problem: Problem) -> tuple[str, int, str] | None:
        """Return (table, index, key) of a problem in a list of tables; None where it stands elsewhere."""
        if problem.line is None or self.raw() is None:
            return None
        lines = _lines(self.text)
        key = problem.key.rpartition(": ")[2]
        deepest: tuple[Any, ...] = ()
        for path, line in lines.items():
            if line <= problem.line and len(path) >= 2 and isinstance(path[1], int):
                same = line == problem.line and ".".join(map(str, path[2:])) == key
                if same:
                    return str(path[0]), path[1], key
                if line >= lines.get(deepest, 0):
                    deepest = path
        if not deepest or lines[deepest] > problem.line or ": " not in problem.key:
            return None
        return str(deepest[0]), int(deepest[1]), key

    # --- changing it -----------------------------------------------------------------------------------

    def change(self, text: str, done: str, *, join: bool = False) -> bool:
        """Take a new text; False if it is the one there is.

        Args:
            text: The whole new text.
            done: What was done, for undo.
            join: Typing goes on: replace the state that typing with the same words made before.
        """
        if text == self.text:
            return False
        del self._states[self._at + 1 :]
        if join and self._at and self._states[self._at].done == done:
            self._states[self._at] = TextState(text, done)
            return True
        self._states.append(TextState(text, done))
        del self._states[:-MOST_STATES]
        self._at = len(self._states) - 1
        return True

    def set(self, table: str, index: int, key: str, value: object | None) -> bool:
        """Change one value.

        Args:
            table: `channels`, `identity`, ...; empty for the keys at the top.
            index: which of the tables, from 0.
            key: the key; a point in it leads into a table: `train.count`.
            value: what it becomes; None removes it.

        Returns:
            Whether the text is another one now.

        Raises:
            EditError: It can only be changed in the text.
        """
        return self._try(
            lambda: set_value(self.text, table, index, tuple(key.split(".")), value), f"{key} changed"
        )

    def add_channel(self) -> bool:
        """Add a channel on the next free output and cavity, its load still open; False: no output is free.

        Raises:
            EditError: It can only be added in the text.
        """
        rows = self.rows("channels") or ()
        used = [row.get("channel") for row in rows]
        free = [number for number in range(1, OUTPUTS + 1) if number not in used]
        if not free:
            return False
        header = next((row.get("id", "H1") for row in self.rows("connectors") or ()), "H1")
        taken = [row.get("cavity") for row in rows]
        cavity = next(name for name in (f"{header}-{number}" for number in count(1)) if name not in taken)
        content = {"channel": free[0], "name": f"circuit {free[0]}", "cavity": cavity, "load": "?"}
        return self.add("channels", content)

    def add(self, table: str, content: Mapping[str, object]) -> bool:
        """Add a table at the end of its kind."""
        return self._try(lambda: add_table(self.text, table, content), f"{table.removesuffix('s')} added")

    def remove(self, table: str, index: int) -> bool:
        """Take a table out.

        Raises:
            EditError: It can only be changed in the text.
        """
        return self._try(lambda: remove_table(self.text, table, index), f"{table.removesuffix('s')} removed")

    def _try(self, edit: Callable[[], str], done: str) -> bool:
        if self.raw() is None:
            raise EditError("the text is not TOML: mend it there first")
        text = edit()
        try:
            tomllib.loads(text)
        except UNREADABLE as error:
            raise EditError(f"that change would break the text ({error}): make it there") from error
        return self.change(text, done)

    # --- and back --------------------------------------------------------------------------------------

    @property
    def can_undo(self) -> bool:
        """Whether there is a state before this one."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a state was undone."""
        return self._at < len(self._states) - 1

    def undo(self) -> str | None:
        """Go back one state; return what was undone."""
        if not self.can_undo:
            return None
        self._at -= 1
        return self._states[self._at + 1].done

    def redo(self) -> str | None:
        """Go forward again; return what was done again."""
        if not self.can_redo:
            return None
        self._at += 1
        return self._states[self._at].done
