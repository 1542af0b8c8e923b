"""On which line of a TOML text each key was written.

The TOML readers to be had for Python keep no positions. A TOML text is a row of statements (a table header,
or a key with its value), each beginning on a line of its own, so one statement at a time is handed to the
standard library's reader until it is complete; what the reader finds in it is filed under its first line.
"""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

UNREADABLE = (ValueError, RecursionError)
"""What the reader raises: on bad TOML, on numbers of thousands of digits, on brackets nested as deep."""

Path = tuple[str | int, ...]
"""Keys and list indices from the root: `("channels", 3, "cavity")`."""


@dataclass(frozen=True)
class TomlStatement:
    """One statement: its first line (from 1), its text, and what it holds (None: it is never complete)."""

    line: int
    text: str
    holds: dict[str, Any] | None

    @property
    def is_header(self) -> bool:
        """It opens a table."""
        return self.text.lstrip().startswith("[")

    @property
    def header(self) -> tuple[tuple[str, ...], bool]:
        """The keys of the table it opens, and whether that is one of a list of tables."""
        keys: list[str] = []
        value: Any = self.holds
        while isinstance(value, dict) and value:
            key, value = next(iter(value.items()))
            keys.append(key)
        return tuple(keys), isinstance(value, list)


@dataclass
class Positions:
    """Line numbers by path."""

    lines: dict[Path, int] = field(default_factory=dict)

    def line(self, path: Path) -> int | None:
        """Return the line of `path`, or of the nearest thing around it that has one."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path)

    def note(self, path: Path, line: int) -> None:
        """File `path`; the first mention of a path stands."""
        self.lines.setdefault(path, line)


def statements(text: str) -> Iterator[TomlStatement]:
    """Yield the statements of a TOML text in order, sound or not."""
    rows = text.split("\n")
    at = 0
    while at < len(rows):
        if not rows[at].strip() or rows[at].lstrip().startswith("#"):
            at += 1
            continue
        end, holds = _complete(rows, at)
        yield TomlStatement(at + 1, "\n".join(rows[at:end]), holds)
        at = end


def _complete(rows: list[str], at: int) -> tuple[int, dict[str, Any] | None]:
    for end in range(at + 1, len(rows) + 1):
        try:
            return end, tomllib.loads("\n".join(rows[at:end]))
        except tomllib.TOMLDecodeError:
            continue  # it may go on in the next line
        except UNREADABLE:
            break
    return at + 1, None


def find_positions(text: str) -> Positions:
    """Return where the keys of a sound TOML text are."""
    positions = Positions()
    counts: dict[Path, int] = {}
    table: Path = ()
    for statement in statements(text):
        if statement.holds is None:
            continue
        if statement.is_header:
            table = _enter(statement, counts)
            for depth in range(1, len(table) + 1):
                positions.note(table[:depth], statement.line)
        else:
            _note_value(positions, table, statement.holds, statement.line)
            _note_rows(positions, table, statement)
    return positions


def _enter(statement: TomlStatement, counts: dict[Path, int]) -> Path:
    """Return the path of the table that a header opens, counting the tables of lists."""
    keys, listed = statement.header
    path: Path = ()
    for key in keys[:-1]:
        path = (*path, key)
        if path in counts:
            path = (*path, counts[path] - 1)
    path = (*path, *keys[-1:])
    if listed:
        counts[path] = counts.get(path, 0) + 1
        path = (*path, counts[path] - 1)
    return path


def _note_value(positions: Positions, path: Path, value: object, line: int) -> None:
    if isinstance(value, dict):
        for key, inner in value.items():
            _note_value(positions, (*path, key), inner, line)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            _note_value(positions, (*path, index), inner, line)
    if path:
        positions.note(path, line)


def _note_rows(positions: Positions, table: Path, statement: TomlStatement) -> None:
    """Refine a list written over several lines: which of its items are complete after which line."""
    rows = statement.text.split("\n")
    if len(rows) == 1 or statement.holds is None:
        return
    path = table
    value: Any = statement.holds
    while isinstance(value, dict) and len(value) == 1:
        key, value = next(iter(value.items()))
        path = (*path, key)
    if not isinstance(value, list):
        return
    seen = 0
    for number in range(1, len(rows)):
        try:
            head: Any = tomllib.loads("\n".join([*rows[:number], "]"]))
        except UNREADABLE:
            continue
        while isinstance(head, dict):
            head = next(iter(head.values()))
        for index in range(seen, len(head)):
            _move(positions, (*path, index), statement.line + number - 1)
        seen = len(head)
    for index in range(seen, len(value)):
        _move(positions, (*path, index), statement.line + len(rows) - 1)


def _move(positions: Positions, path: Path, line: int) -> None:
    for known in [known for known in positions.lines if known[: len(path)] == path]:
        positions.lines[known] = line
