"""Which column of a pin-out table says what: by its heading and by what stands in it, always with the reason."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.job.pinout.colours import looks_like_colour
from loomproof.job.pinout.loads import names_a_load
from loomproof.job.pinout.sheet import PinoutError, Sheet, SheetRow
from loomproof.job.pinout.values import (
    looks_like_cavity,
    looks_like_channel,
    looks_like_length,
    looks_like_section,
)
from loomproof.job.pinout.words import find, plain, words


class ColumnFact(StrEnum):
    """What a column can say of a channel. The names are also those of `--column`."""

    CAVITY = "cavity"
    CONNECTOR = "connector"
    NAME = "name"
    LOAD = "load"
    LOCATION = "location"
    WIRE = "wire"
    SECTION = "section"
    LENGTH = "length"
    FEED = "feed"
    CHANNEL = "channel"
    FITTED = "fitted"
    HAZARD = "hazard"
    FUEL_PUMP = "fuel_pump"
    GROUP = "group"


NONE = "-"
"""Said of a fact: no column has it."""
EQUAL, INSIDE, COMPOUND = 3.0, 2.0, 1.5
"""Weight of a heading that is a word for the fact, has one in it, or is a compound with one."""
DOUBT = 1.7
"""Taken off where most cells do not look like the fact."""
ENOUGH = 1.2
CONTENT_ENOUGH = 0.7
"""Share of cells that must look like a fact where no heading speaks for it."""
HEADER_DEPTH = 30
LOOKS: Mapping[ColumnFact, Callable[[str], bool]] = {
    ColumnFact.CAVITY: looks_like_cavity,
    ColumnFact.WIRE: looks_like_colour,
    ColumnFact.SECTION: looks_like_section,
    ColumnFact.LENGTH: looks_like_length,
    ColumnFact.CHANNEL: looks_like_channel,
    ColumnFact.LOAD: names_a_load,
}
BY_CONTENT = (ColumnFact.WIRE, ColumnFact.CAVITY, ColumnFact.SECTION, ColumnFact.LOAD)
"""Facts that a column may be taken for by its cells alone."""


@dataclass(frozen=True)
class Choices:
    """What a person has decided about a table; everything else is read from it."""

    columns: Mapping[ColumnFact, str] = field(default_factory=dict)
    """By fact: a heading, a column's letter or number, or `-` for none."""
    header_row: int | None = None
    """The table's row with the headings; 0: there is none."""
    loads: Mapping[str, str] = field(default_factory=dict)
    """Load type by words of the table, for rows that the words alone do not settle."""
    row_loads: Mapping[int, str] = field(default_factory=dict)
    """Load type by row number."""


@dataclass(frozen=True)
class Column:
    """One column: its place from 0, its heading, and its cells below the heading that say anything."""

    index: int
    heading: str
    cells: tuple[str, ...]

    @property
    def label(self) -> str:
        """The column as its writer knows it: letter and heading."""
        return f"{letter(self.index)} `{self.heading}`" if self.heading else letter(self.index)


@dataclass(frozen=True)
class Match:
    """A column taken for a fact, and why. No column: the fact is not in the table."""

    fact: ColumnFact
    column: Column | None
    why: str
    score: float = 0.0


@dataclass(frozen=True)
class Matching:
    """What each column is taken for."""

    header_row: int | None
    columns: tuple[Column, ...]
    matches: tuple[Match, ...]

    def column(self, fact: ColumnFact) -> Column | None:
        """Return the column that says a fact."""
        return next((match.column for match in self.matches if match.fact is fact), None)

    @property
    def unused(self) -> tuple[Column, ...]:
        """Columns that say nothing the job file has a place for."""
        used = {match.column.index for match in self.matches if match.column is not None}
        return tuple(column for column in self.columns if column.index not in used and column.cells)


def letter(index: int) -> str:
    """Return a column's letter as spreadsheets write it, from 0."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def match_columns(sheet: Sheet, choices: Choices) -> Matching:
    """Return what each column of a table is taken for.

    Raises:
        PinoutError: A choice names a column or row that the table has not.
    """
    header = _header(sheet, choices.header_row)
    columns = _columns(sheet, header)
    stated = {fact: _named(columns, text) for fact, text in choices.columns.items()}
    taken = {column.index for column in stated.values() if column is not None}
    found = {
        fact: Match(fact, column, "you said so" if column else "you said there is none", 9.0)
        for fact, column in stated.items()
    }
    scored = sorted(
        (
            match
            for fact in ColumnFact
            for column in columns
            if fact not in stated and column.index not in taken
            for match in [_score(fact, column)]
            if match is not None
        ),
        key=lambda match: -match.score,
    )
    for match in scored:
        if match.column is None or match.fact in found or match.column.index in taken:
            continue
        taken.add(match.column.index)
        found[match.fact] = match
    return Matching(
        None if header is None else header.number,
        columns,
        tuple(found.get(fact, Match(fact, None, "no column looks like it")) for fact in ColumnFact),
    )


def _header(sheet: Sheet, stated: int | None) -> SheetRow | None:
    if stated == 0:
        return None
    if stated is not None:
        for row in sheet.rows:
            if row.number == stated:
                return row
        raise PinoutError(
            f"there is no row {stated}", "name the row with the headings, or 0 if there is none"
        )
    best, most = None, 0.0
    for row in [row for row in sheet.rows if not row.blank][:HEADER_DEPTH]:
        weight = _heading_weight(row)
        if weight > most:
            best, most = row, weight
    return best if most >= EQUAL else None


def _heading_weight(row: SheetRow) -> float:
    """Return how much a row looks like headings: each fact counts once, by its best cell."""
    best: dict[ColumnFact, float] = {}
    cells = [cell for cell in row.cells if cell]
    if len(cells) < 2 or any(looks_like_section(cell) for cell in cells):
        return 0.0
    for cell in cells:
        for fact in ColumnFact:
            weight, _ = _heading_score(fact, cell)
            best[fact] = max(best.get(fact, 0.0), weight if weight >= INSIDE else 0.0)
    return sum(best.values())


def _columns(sheet: Sheet, header: SheetRow | None) -> tuple[Column, ...]:
    start = 0 if header is None else sheet.rows.index(header) + 1
    below = sheet.rows[start:]
    return tuple(
        Column(
            index,
            "" if header is None else header.cell(index),
            tuple(row.cell(index) for row in below if row.cell(index)),
        )
        for index in range(sheet.width)
    )


def _named(columns: tuple[Column, ...], text: str) -> Column | None:
    if text.strip() == NONE:
        return None
    wanted = plain(text)
    tests: tuple[Callable[[Column], bool], ...] = (
        lambda column: column.heading == text,
        lambda column: bool(wanted) and plain(column.heading) == wanted,
        lambda column: letter(column.index) == text.strip().upper(),
        lambda column: str(column.index + 1) == text.strip(),
    )
    for test in tests:
        found = [column for column in columns if test(column)]
        if len(found) == 1:
            return found[0]
        if found:
            letters = ", ".join(letter(column.index) for column in found)
            raise PinoutError(f"several columns are headed `{text}`", f"name it by its letter: {letters}")
    listed = ", ".join(column.label for column in columns if column.cells or column.heading)
    raise PinoutError(f"there is no column `{text}`", f"the columns are {listed}")


def _heading_score(fact: ColumnFact, heading: str) -> tuple[float, str]:
    text = plain(heading)
    listed: list[str] = words()["columns"][fact.value]
    found = find(text, listed) if text else None
    if found is None:
        return 0.0, ""
    if text == found.phrase or plain(re.split(r"[(\[]", heading, maxsplit=1)[0]) == found.phrase:
        return EQUAL, f"`{heading}` is a word for it"
    if found.whole:
        return INSIDE + 0.2 * found.size, f"`{heading}` has the word `{found.phrase}`"
    return COMPOUND, f"`{heading}` is made with `{found.phrase}`"


def _score(fact: ColumnFact, column: Column) -> Match | None:
    score, why = _heading_score(fact, column.heading)
    looks = LOOKS.get(fact)
    if not column.cells:
        return None
    if looks is not None:
        fit = sum(looks(cell) for cell in column.cells)
        share = fit / len(column.cells)
        counted = f"{fit} of {len(column.cells)} cells look like it"
        if not score:
            if (
                fact not in BY_CONTENT
                or share < CONTENT_ENOUGH
                or (fact is ColumnFact.CAVITY and _repeats(column))
            ):
                return None
            return Match(fact, column, f"no heading says so, but {counted}", share)
        score += share if share >= 0.5 else -DOUBT
        why = f"{why}; {counted}"
        if fact is ColumnFact.CHANNEL and share < 0.5:
            return None
    return Match(fact, column, why, score) if score >= ENOUGH else None


def _repeats(column: Column) -> bool:
    return len(set(column.cells)) < 0.9 * len(column.cells)
