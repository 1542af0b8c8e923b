"""A pin-out table in rows: its columns, its outputs, what is to settle. Pure, from a draft to cells."""

from __future__ import annotations

from typing import NamedTuple

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.pinout.columns import Matching
from loomproof.job.pinout.draft import PinoutDraft, PinoutOutput
from loomproof.job.pinout.sheet import Remark, Weight
from loomproof.job.pinout.words import plain
from loomproof.tui.widgets.grid import GridRow
from loomproof.tui.widgets.row_list import Row


def column_rows(matching: Matching) -> list[GridRow]:
    """Return what each column is taken for and why, then the columns that are not used."""
    rows = []
    for match in matching.matches:
        label = "-" if match.column is None else match.column.label.replace("`", "")
        role = "plain" if match.column is not None else "quiet"
        rows.append(GridRow(match.fact.value, (match.fact.value, label, match.why), ("plain", role, "quiet")))
    for column in matching.unused:
        label = column.label.replace("`", "")
        rows.append(
            GridRow(
                f"unused:{column.index}",
                ("not used", label, "e.g. " + ", ".join(column.cells[:4])),
                ("quiet",) * 3,
            )
        )
    return rows


def line_row(line: PinoutOutput) -> Row:
    """Return an output of the table as a row."""
    load = line.load.key or f"? {len(line.load.candidates) or len(CATALOGUE)} types"
    sign = ("✓ ", "good") if line.load.key else ("✗ ", "bad")
    return Row(
        str(line.row),
        (
            sign,
            (f"row {line.row:<4}", "quiet"),
            (f"{line.channel:>2}  ", "plain"),
            (f"{line.connector}-{line.cavity}".ljust(8), "plain"),
            (f"{line.name[:24]:<25}", "plain"),
        ),
        wide=((f"{line.wire or '':<6}", "quiet"),),
        tail=(load, "plain" if line.load.key else "bad"),
    )


class PinoutEntry(NamedTuple):
    """A line of the list of what is to be settled; with the remark that it shows, if it shows one."""

    row: Row
    remark: Remark | None = None


def remark_entries(draft: PinoutDraft) -> list[PinoutEntry]:
    """Return what is to be settled, then what to look at, then the rows left out."""
    entries = []
    remarks = sorted(draft.remarks, key=lambda remark: remark.weight is not Weight.SETTLE)
    for index, remark in enumerate(remarks):
        sign = ("✗ settle  ", "bad") if remark.weight is Weight.SETTLE else ("? look at ", "doubt")
        where = f"row {remark.row}, {remark.column}: " if remark.row is not None else "table: "
        row = Row(f"remark:{index}", (sign, (where, "plain"), (remark.reason, "plain")))
        entries.append(PinoutEntry(row, remark))
    for left in draft.left_out:
        text = f"row {left.row}: {left.reason}: {left.text}"
        entries.append(PinoutEntry(Row(f"left:{left.row}", (("- left out ", "quiet"), (text, "quiet")))))
    return entries


def open_words(line: PinoutOutput) -> str:
    """Return what a row says of its load, without numbers: rows alike are settled together."""
    return " ".join(
        word
        for word in plain(line.load.why if line.load.candidates else line.name).split()
        if not word.isdigit()
    )
