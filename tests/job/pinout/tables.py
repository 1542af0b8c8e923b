"""Tables in memory, as a shop's spreadsheet would save them."""

import csv
import io
from collections.abc import Sequence

from openpyxl import Workbook

HEADINGS = ("Connector", "Cavity", "Name", "Load", "Location", "Colour", "Section", "Length")
SOUND = ("H1", "1", "Injector 1", "injector_high", "cylinder 1", "GN/WH", "0.75", "1.8")


def csv_bytes(
    rows: Sequence[Sequence[object]], delimiter: str = ",", encoding: str = "utf-8", **more: object
) -> bytes:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, **more).writerows(rows)
    return text.getvalue().encode(encoding)


def xlsx_bytes(rows: Sequence[Sequence[object]], title: str = "Pins", change=lambda sheet: None) -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    change(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def table(*rows: Sequence[object]) -> bytes:
    return csv_bytes([HEADINGS, *rows])


def changed(**cells: object) -> list[object]:
    """The sound row with some cells written otherwise, by small heading."""
    row: list[object] = list(SOUND)
    for name, value in cells.items():
        row[[heading.casefold() for heading in HEADINGS].index(name)] = value
    return row
