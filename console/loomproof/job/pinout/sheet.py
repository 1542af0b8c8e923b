"""A pin-out table as it stands in its file: rows of text, each with the row number its writer sees."""

from dataclasses import dataclass, field
from enum import StrEnum

MOST_ROWS = 5000
"""A table with more of them is not the pin-out of one loom."""


@dataclass(frozen=True)
class SheetRow:
    """One row: its number in the file (from 1) and its cells as text, blanks trimmed."""

    number: int
    cells: tuple[str, ...]

    @property
    def blank(self) -> bool:
        """Whether nothing stands in it."""
        return not any(self.cells)

    def cell(self, index: int | None) -> str:
        """Return a cell's text; empty where there is no such cell."""
        return self.cells[index] if index is not None and index < len(self.cells) else ""


class Weight(StrEnum):
    """What a remark asks for."""

    SETTLE = "settle"
    """The job is not sound until someone decides."""
    LOOK = "look at"
    """It was read, but by a guess that someone should look at."""


@dataclass(frozen=True)
class Remark:
    """Something in the table that a person must settle or look at."""

    weight: Weight
    row: int | None
    """The table's own row number; None: the table as a whole."""
    column: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        where = ", ".join(
            part for part in (f"row {self.row}" if self.row is not None else "", self.column) if part
        )
        return f"{where or 'table'}: {self.reason}; {self.remedy}"


@dataclass(frozen=True)
class Sheet:
    """A table: its rows, and how they were read."""

    rows: tuple[SheetRow, ...]
    how: str
    """The form in words: `semicolons, Windows-1252` or `sheet "Pins"`."""
    name: str = ""
    sheets: tuple[str, ...] = ()
    """Names of all sheets of a workbook."""
    remarks: tuple[Remark, ...] = field(default=())

    @property
    def width(self) -> int:
        """Number of columns of the widest row."""
        return max((len(row.cells) for row in self.rows), default=0)


class PinoutError(Exception):
    """A pin-out table cannot be read at all. Says why and how to mend it."""

    def __init__(self, reason: str, remedy: str) -> None:
        self.reason = reason
        self.remedy = remedy
        super().__init__(f"{reason}; {remedy}")
