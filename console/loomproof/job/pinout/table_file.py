"""From the bytes of a CSV file or a workbook to a `Sheet`.

CSV: what `csv.Sniffer` finds is checked against every plain dialect, because text with commas in it misleads it.
Encodings: what a byte order mark says, else UTF-8, else Windows-1252.
"""

import csv
import io
import re
from collections import Counter
from pathlib import PurePath

from loomproof.job.pinout.sheet import MOST_ROWS, PinoutError, Remark, Sheet, SheetRow, Weight
from loomproof.job.pinout.workbook import read_workbook

DELIMITERS = ";\t|,"
DELIMITER_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright bars"}
MOST_BYTES = 20_000_000
WORKBOOK_ENDINGS = (".xlsx", ".xlsm")
ZIP_MARK = b"PK\x03\x04"
OLD_WORKBOOK_MARK = b"\xd0\xcf\x11\xe0"


def read_sheet(data: bytes, file_name: str, sheet: str | None = None) -> Sheet:
    """Return the table in a file's bytes.

    Args:
        data: The file.
        file_name: Its name; the ending helps to distinguish a workbook from text.
        sheet: Name of the workbook's sheet; None: the first that holds anything.

    Raises:
        PinoutError: It is no table that can be read.
    """
    if len(data) > MOST_BYTES:
        raise PinoutError(
            f"{len(data) / 1e6:.0f} MB is more than a pin-out can be", "save the one table on its own"
        )
    if data.startswith(OLD_WORKBOOK_MARK):
        raise PinoutError("it is an old binary workbook (.xls)", "save it as .xlsx or .csv")
    if data.startswith(ZIP_MARK) or PurePath(file_name).suffix.casefold() in WORKBOOK_ENDINGS:
        return read_workbook(data, sheet)
    if sheet is not None:
        raise PinoutError(f"a text table has no sheet `{sheet}`", "leave --sheet out, or give a workbook")
    return read_text(data)


def read_text(data: bytes) -> Sheet:
    """Return the table in a CSV file's bytes.

    Raises:
        PinoutError: It is not text, or holds nothing.
    """
    text, encoding = _decode(data)
    remarks = []
    if encoding == "Windows-1252":
        remarks.append(
            Remark(
                Weight.LOOK,
                None,
                "",
                "the file is not UTF-8 and was read as Windows-1252",
                "look at letters with accents; save it as UTF-8 if they are wrong",
            )
        )
    text, stated = _stated_delimiter(text)
    dialect, delimiter = _dialect(text, stated)
    rows = _rows(text, dialect, 1 if stated else 0)
    if not any(not row.blank for row in rows):
        raise PinoutError("the table is empty", "save the pin-out with one row for each cavity")
    how = f"{DELIMITER_WORDS.get(delimiter, repr(delimiter))}, {encoding}"
    return Sheet(rows, how, remarks=tuple(remarks))


def _decode(data: bytes) -> tuple[str, str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError as error:
            raise PinoutError("it begins like UTF-16 text but is not", "save it as CSV in UTF-8") from error
    if b"\x00" in data:
        at = data.index(b"\x00")
        raise PinoutError(f"byte {at} is zero: this is not text", "save the table as .csv or .xlsx")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise PinoutError(
            f"byte {error.start} in line {line} is neither UTF-8 nor Windows-1252", "save it as UTF-8"
        ) from error


def _stated_delimiter(text: str) -> tuple[str, str | None]:
    """Return the text without a first line `sep=;` as some spreadsheets write it, and what it said."""
    stated = re.match(r'"?sep=(.)"?\r?\n', text)
    return (text[stated.end() :], stated[1]) if stated else (text, None)


def _plain_dialect(mark: str) -> type[csv.Dialect]:
    class Plain(csv.excel):
        delimiter = mark

    return Plain


def _dialect(text: str, stated: str | None) -> tuple[type[csv.Dialect], str]:
    if stated is not None:
        return _plain_dialect(stated), stated
    sample = text[:20_000]
    choices = [_plain_dialect(mark) for mark in DELIMITERS]
    try:
        sniffed = csv.Sniffer().sniff(sample, DELIMITERS)
        sniffed.doublequote = True
        choices.insert(-1, sniffed)
    except csv.Error:
        pass
    best = max(choices, key=lambda dialect: _evenness(sample, dialect))
    return best, best.delimiter


def _evenness(sample: str, dialect: type[csv.Dialect]) -> tuple[float, int]:
    """Return how well a dialect cuts a sample: the share of rows that have the commonest width, and that width.

    Of equals the first wins. Commas come last: a table cut as well by another mark has them as decimal signs.
    """
    try:
        rows = [row for row in csv.reader(io.StringIO(sample, newline=""), dialect) if any(row)]
    except csv.Error:
        return 0.0, 0
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        return 0.0, 0
    width, count = max(widths.items(), key=lambda entry: (entry[1], entry[0]))
    return round(count / len(rows), 2), width


def _rows(text: str, dialect: type[csv.Dialect], before: int) -> tuple[SheetRow, ...]:
    _check_quotes(text, dialect, before)
    reader = csv.reader(io.StringIO(text, newline=""), dialect)
    rows: list[SheetRow] = []
    start = before + 1
    try:
        for cells in reader:
            rows.append(SheetRow(start, tuple(" ".join(cell.split()) for cell in cells)))
            start = before + reader.line_num + 1
            if len(rows) > MOST_ROWS:
                raise PinoutError(f"there are more than {MOST_ROWS} rows", "save the one table on its own")
    except csv.Error as error:
        raise PinoutError(f"line {start} cannot be read as CSV ({error})", "mend that line") from error
    return tuple(rows)


def _check_quotes(text: str, dialect: type[csv.Dialect], before: int) -> None:
    """Refuse a quoted cell that never ends: the reader would swallow the rest of the file in silence."""
    quote = dialect.quotechar or '"'
    begin = 0
    opened: int | None = None
    for number, line in enumerate(text.splitlines(keepends=True), start=before + 1):
        begin += line.count(quote)
        if begin % 2 and opened is None:
            opened = number
        elif not begin % 2:
            opened = None
    if opened is not None:
        raise PinoutError(
            f"line {opened} opens a quoted cell that never ends", "close the quote, or take it out"
        )
