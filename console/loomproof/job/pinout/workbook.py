"""Workbooks (.xlsx) through openpyxl: first or named sheet, merged cells, numbers, dates and formulas as text."""

import io
import zipfile
from datetime import date, datetime, time
from typing import Any

from loomproof.job.pinout.sheet import MOST_ROWS, PinoutError, Remark, Sheet, SheetRow, Weight

MOST_COLUMNS = 200
MOST_UNPACKED = 300_000_000
"""A workbook is a zip file: one that unpacks to more than this is not a pin-out."""

ERRORS = ("#N/A", "#REF!", "#DIV/0!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!")


def read_workbook(data: bytes, wanted: str | None) -> Sheet:
    """Return a sheet of a workbook: the named one, else the first that holds anything.

    Raises:
        PinoutError: It is no workbook, has no such sheet, or holds nothing.
    """
    values, formulas = _open(data, data_only=True), _open(data, data_only=False)
    names = tuple(sheet.title for sheet in values.worksheets)
    name = _choose(values, wanted, names)
    page, written = values[name], formulas[name]
    if page.max_row > MOST_ROWS or page.max_column > MOST_COLUMNS:
        raise PinoutError(
            f"sheet `{name}` has {page.max_row} rows and {page.max_column} columns",
            f"save the one table on its own: {MOST_ROWS} rows and {MOST_COLUMNS} columns at most",
        )
    downward = _merged_downward(page)
    rows, remarks = [], []
    for row in page.iter_rows():
        cells = []
        for cell in row:
            value = downward.get((cell.row, cell.column), cell.value)
            text, wrong = _text(value, written.cell(cell.row, cell.column).value)
            cells.append(text)
            if wrong is not None:
                remarks.append(Remark(Weight.SETTLE, cell.row, f"column {cell.column_letter}", *wrong))
        rows.append(SheetRow(row[0].row, tuple(cells)))
    if all(row.blank for row in rows):
        raise PinoutError(f"sheet `{name}` is empty", _others(names, name))
    return Sheet(tuple(rows), f'sheet "{name}"', name, names, tuple(remarks))


def _open(data: bytes, *, data_only: bool) -> Any:  # noqa: ANN401 - openpyxl's workbook is loosely typed
    from openpyxl import load_workbook  # noqa: PLC0415 - only for a workbook

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(entry.file_size for entry in packed.infolist()) > MOST_UNPACKED:
                raise PinoutError("the workbook unpacks to a monstrous size", "save the table as .csv")
        return load_workbook(io.BytesIO(data), data_only=data_only)
    except PinoutError:
        raise
    except Exception as error:  # the library raises whatever its parsers raise
        raise PinoutError(
            f"it is not a workbook that can be read ({type(error).__name__})",
            "save it anew as .xlsx without a password, or as .csv",
        ) from error


def _choose(values: Any, wanted: str | None, names: tuple[str, ...]) -> str:  # noqa: ANN401
    if wanted is not None:
        for name in names:
            if name.casefold() == wanted.casefold():
                return name
        raise PinoutError(f"there is no sheet `{wanted}`", "the sheets are " + ", ".join(names))
    for sheet in values.worksheets:
        if any(cell is not None for row in sheet.iter_rows(values_only=True) for cell in row):
            return str(sheet.title)
    raise PinoutError("the workbook is empty", "save the pin-out with one row for each cavity")


def _others(names: tuple[str, ...], name: str) -> str:
    rest = [other for other in names if other != name]
    return "name another with --sheet: " + ", ".join(rest) if rest else "write the table into it"


def _merged_downward(page: Any) -> dict[tuple[int, int], object]:  # noqa: ANN401
    """Return what merged cells say in each of their rows.

    Only downward: a title merged across the sheet is not the content of every column.
    """
    found: dict[tuple[int, int], object] = {}
    for merged in page.merged_cells.ranges:
        value = page.cell(merged.min_row, merged.min_col).value
        for row in range(merged.min_row, merged.max_row + 1):
            found[row, merged.min_col] = value
    return found


def _text(value: object, written: object) -> tuple[str, tuple[str, str] | None]:
    """Return a cell as text, and what is wrong with it."""
    if value is None and isinstance(written, str) and written.startswith("="):
        reason = f"the cell holds the formula {written[:40]} and no result"
        return "", (reason, "open the file in a spreadsheet, save it, or write the value")
    if isinstance(value, datetime | date | time):
        reason = (
            f"the cell holds the date {value:%Y-%m-%d}" if not isinstance(value, time) else "a time of day"
        )
        return "", (
            f"{reason}: the spreadsheet took a text for one",
            "set the column's format to text and write it again",
        )
    if isinstance(value, bool):
        return ("yes" if value else "no"), None
    if isinstance(value, float):
        return f"{value:.10g}", None
    text = "" if value is None else " ".join(str(value).split())
    if text in ERRORS:
        return "", (f"the cell shows the spreadsheet's error {text}", "mend the formula or write the value")
    return text, None
