"""Bytes to rows: dialects, encodings, workbooks, and what cannot be a table."""

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.sheet import PinoutError, Weight
from loomproof.job.pinout.table_file import DELIMITERS, read_sheet
from tests.job.pinout.tables import HEADINGS, SOUND, csv_bytes, xlsx_bytes

ROWS = [HEADINGS, SOUND, ("H1", "2", "Zündspule, große", "coil_bare", "cylinder 1", "RD", "0,75", "1,8")]


def cells(sheet):
    return [row.cells for row in sheet.rows]


@pytest.mark.parametrize("delimiter", DELIMITERS)
@pytest.mark.parametrize(
    ("encoding", "named"),
    [("utf-8", "UTF-8"), ("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252"), ("utf-16", "UTF-16")],
)
def test_every_delimiter_and_encoding_gives_the_same_cells(delimiter, encoding, named):
    sheet = read_sheet(csv_bytes(ROWS, delimiter, encoding), "pins.csv")
    assert cells(sheet) == [tuple(row) for row in ROWS]
    assert named in sheet.how
    assert [remark.weight for remark in sheet.remarks] == ([Weight.LOOK] if encoding == "cp1252" else [])


def test_commas_in_text_do_not_pass_for_the_delimiter():
    rows = [("Pin", "Function"), *((str(n), f"valve, left, no, {n}") for n in range(1, 9))]
    sheet = read_sheet(csv_bytes(rows, ";"), "pins.csv")
    assert cells(sheet) == [tuple(row) for row in rows]


def test_a_first_line_that_names_the_delimiter_is_believed_and_counted():
    sheet = read_sheet(b"sep=;\r\n" + csv_bytes(ROWS, ";"), "pins.csv")
    assert cells(sheet) == [tuple(row) for row in ROWS]
    assert sheet.rows[0].number == 2


def test_rows_are_numbered_by_the_line_they_begin_on():
    sheet = read_sheet(b'Pin,Name\n1,"over\ntwo lines"\n2,valve\n', "pins.csv")
    assert [(row.number, row.cells) for row in sheet.rows] == [
        (1, ("Pin", "Name")),
        (2, ("1", "over two lines")),
        (4, ("2", "valve")),
    ]


@pytest.mark.parametrize(
    ("data", "name", "reason", "remedy"),
    [
        (b"", "a.csv", "the table is empty", "one row for each cavity"),
        (b"\n\n , \n", "a.csv", "the table is empty", "one row for each cavity"),
        (b"Pin,Name\n1,\x00\n", "a.csv", "byte 11 is zero", "save the table as"),
        (b"Pin,N\xe4me\n1,\x81\x8d\n", "a.csv", "in line 2 is neither UTF-8 nor Windows-1252", "as UTF-8"),
        (
            b'Pin,Name\n1,"valve\n2,fan\n',
            "a.csv",
            "line 2 opens a quoted cell that never ends",
            "close the quote",
        ),
        (b"\xd0\xcf\x11\xe0rest", "a.xls", "old binary workbook", "save it as .xlsx"),
        (b"PK\x03\x04rest", "a.xlsx", "not a workbook that can be read", "without a password"),
        (b"Pin,Name\n", "a.xlsx", "not a workbook that can be read", "save it anew"),
        (b"\xff\xfePi\xd8", "a.csv", "begins like UTF-16", "in UTF-8"),
    ],
)
def test_what_is_no_table_is_told(data, name, reason, remedy):
    with pytest.raises(PinoutError) as told:
        read_sheet(data, name)
    assert reason in told.value.reason
    assert remedy in told.value.remedy


def test_a_text_table_has_no_sheets():
    with pytest.raises(PinoutError, match="no sheet `Pins`"):
        read_sheet(csv_bytes(ROWS), "a.csv", "Pins")


def test_a_workbook_gives_numbers_as_they_are_written():
    rows = [HEADINGS, ("H1", 1, "Injector 1", "injector_high", "cylinder 1", "GN/WH", 0.75, 1.8), ("H1", 2.0)]
    sheet = read_sheet(xlsx_bytes(rows), "pins.xlsx")
    assert sheet.rows[1].cells == SOUND
    assert sheet.rows[2].cells[:2] == ("H1", "2")
    assert sheet.how == 'sheet "Pins"'


def test_the_first_sheet_that_holds_anything_or_the_named_one_is_read():
    def add(sheet):
        other = sheet.parent.create_sheet("More")
        other.append(["Pin", "Name"])
        sheet.parent.create_sheet("Cover", 0)

    data = xlsx_bytes([HEADINGS, SOUND], change=add)
    assert read_sheet(data, "a.xlsx").name == "Pins"
    assert read_sheet(data, "a.xlsx", "more").name == "More"
    with pytest.raises(PinoutError, match="there is no sheet `Pin`; the sheets are Cover, Pins, More"):
        read_sheet(data, "a.xlsx", "Pin")
    with pytest.raises(PinoutError, match="sheet `Cover` is empty; name another with --sheet: Pins, More"):
        read_sheet(data, "a.xlsx", "Cover")


def test_cells_merged_downward_hold_for_each_row_and_a_merged_title_for_none_but_its_own():
    rows = [
        ("Loom of the test rig",),
        HEADINGS,
        SOUND,
        ("", "2", "Injector 2", "injector_high", "cylinder 2"),
    ]

    def merge(sheet):
        sheet.merge_cells("A1:H1")
        sheet.merge_cells("A3:A4")

    sheet = read_sheet(xlsx_bytes(rows, change=merge), "a.xlsx")
    assert sheet.rows[0].cells == ("Loom of the test rig", *[""] * 7)
    assert sheet.rows[3].cells[:2] == ("H1", "2")
    draft = draft_pinout(sheet)
    assert [(line.connector, line.cavity) for line in draft.lines] == [("H1", 1), ("H1", 2)]


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (datetime.datetime(2026, 1, 14), "the cell holds the date 2026-01-14"),
        (datetime.time(1, 2), "a time of day"),
        ("=1+1", "the cell holds the formula =1+1 and no result"),
        ("#N/A", "the cell shows the spreadsheet's error #N/A"),
    ],
)
def test_what_a_spreadsheet_made_of_a_cell_is_told_with_row_and_column(value, reason):
    sheet = read_sheet(xlsx_bytes([HEADINGS, ("H1", value, "Injector 1", "injector_high")]), "a.xlsx")
    (remark,) = sheet.remarks
    assert (remark.row, remark.column, remark.weight) == (2, "column B", Weight.SETTLE)
    assert reason in remark.reason


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200), st.sampled_from(["a.csv", "a.xlsx", "a"]))
def test_any_bytes_are_read_or_refused(data, name):
    try:
        told = draft_pinout(read_sheet(data, name)).remarks
    except PinoutError as error:
        told = (error,)
    assert all(remark.reason and remark.remedy for remark in told)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.lists(
            st.sampled_from(["Pin", "1", "H1-1", "injector", "GN", "", "x", "0,5", "Relais"]), max_size=5
        ),
        max_size=8,
    )
)
def test_no_row_is_ever_dropped(rows):
    try:
        draft = draft_pinout(read_sheet(csv_bytes(rows, ";"), "a.csv"))
    except PinoutError:
        return
    told = {line.row for line in draft.lines} | {left.row for left in draft.left_out}
    heading = {draft.matching.header_row}
    assert {row.number for row in draft.sheet.rows if not row.blank} - heading == told - heading
