"""The job in rows: channels, one channel's form, the head, the problems. Pure, from a document to cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loomproof.job.file.document import JobDocument
from loomproof.job.problem import Problem
from loomproof.tui.pages.job.fields import CHANNEL_FIELDS, GRID_COLUMNS, HEAD_FIELDS
from loomproof.tui.widgets.grid import GridRow
from loomproof.tui.widgets.row_list import Row

Wrong = Mapping[tuple[str, int, str], Problem]
"""Problems by table, index and key."""


def cell_text(value: object) -> str:
    """Return a value as it is typed."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return ", ".join(cell_text(inner) for inner in value)
    return str(value)


def value_at(row: Mapping[str, Any], key: str) -> object:
    """Return a key's value; `train.count` goes into a table."""
    value: object = row
    for part in key.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    return value


def wrong_cells(document: JobDocument) -> dict[tuple[str, int, str], Problem]:
    """Return the problems that belong to one cell."""
    found: dict[tuple[str, int, str], Problem] = {}
    for problem in document.problems:
        place = document.place_of(problem)
        if place is not None:
            found.setdefault(place, problem)
    return found


def _is_wrong(wrong: Wrong, index: int, key: str) -> bool:
    return ("channels", index, key) in wrong or ("channels", index, key.split(".", maxsplit=1)[0]) in wrong


def channel_rows(document: JobDocument, wrong: Wrong) -> list[GridRow]:
    """Return a row for each channel; a cell with a problem is marked by a cross as well as by its colour."""
    rows = []
    for index, row in enumerate(document.rows("channels") or ()):
        bad_row = any(table == "channels" and at == index for table, at, _ in wrong)
        cells, roles = [], []
        for column in GRID_COLUMNS:
            text = cell_text(value_at(row, column.key))
            bad = _is_wrong(wrong, index, column.key)
            if column.key == "channel":
                text = f"{'✗' if bad_row else '✓'} {text}"
                roles.append("bad" if bad_row else "good")
            else:
                text = f"✗{text}" if bad else text
                roles.append("bad" if bad else "plain")
            cells.append(text)
        rows.append(GridRow(str(index), tuple(cells), tuple(roles)))
    return rows


def form_rows(document: JobDocument, index: int, wrong: Wrong) -> list[GridRow]:
    """Return one channel's fields."""
    channels = document.rows("channels") or []
    if not 0 <= index < len(channels):
        return []
    rows = []
    for field in CHANNEL_FIELDS:
        bad = _is_wrong(wrong, index, field.key)
        text = cell_text(value_at(channels[index], field.key))
        cells = (field.label, f"✗{text}" if bad else text, field.meaning)
        rows.append(GridRow(field.key, cells, ("quiet", "bad" if bad else "plain", "quiet")))
    return rows


def head_rows(document: JobDocument) -> list[GridRow]:
    """Return the job's head: identity, setting, engine."""
    raw = document.raw()
    if raw is None:
        return []
    rows = []
    for field in HEAD_FIELDS:
        table = raw.get(field.table) if field.table else raw
        if not isinstance(table, Mapping):
            if field.table == "engine":
                continue
            table = {}
        cells = (field.label, cell_text(table.get(field.key)), field.meaning)
        rows.append(GridRow(field.key, cells, ("quiet", "plain", "quiet")))
    return rows


def problem_rows(problems: Sequence[Problem]) -> list[Row]:
    """Return a row for each problem."""
    return [
        Row(
            str(index),
            (
                ("✗ ", "bad"),
                (f"{'line ' + str(problem.line) if problem.line else 'file'}, {problem.key}: ", "plain"),
                (problem.reason, "plain"),
            ),
        )
        for index, problem in enumerate(problems)
    ]
