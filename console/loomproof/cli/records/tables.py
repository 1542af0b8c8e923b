"""Tables of records on a terminal, safe from control characters in what a record holds."""

from rich.table import Table
from rich.text import Text

SIGNS = {"pass": "✓", "fail": "✗", "unsure": "?", "not tested": "·", "not fitted": "-"}
"""The sign before each verdict."""


def new_table(*headings: str) -> Table:
    """Return an empty table with these headings."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        table.add_column(heading)
    return table


def add_row(table: Table, *cells: str) -> None:
    """Add one row of plain text."""
    table.add_row(*(Text(printable(cell)) for cell in cells))


def printable(text: str) -> str:
    """Replace what could steer a terminal: control characters from a job, a box or a person."""
    return "".join(c if c.isprintable() else "�" for c in text)
