"""What columns are taken for, with the reason, and how a person changes it."""

import pytest

from loomproof.job.pinout.columns import Choices, ColumnFact, letter, match_columns
from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.sheet import PinoutError
from loomproof.job.pinout.table_file import read_sheet
from tests.job.pinout.tables import HEADINGS, SOUND, csv_bytes, table


def matched(rows, **choices):
    matching = match_columns(read_sheet(csv_bytes(rows, ";"), "a.csv"), Choices(**choices))
    return {m.fact.value: m.column.heading or m.column.index for m in matching.matches if m.column}, matching


# Words of the trade in each language: common practice, no source.
@pytest.mark.parametrize(
    ("headings", "wanted"),
    [
        (("Conn", "Pin", "Function", "Wire colour", "Wire size", "Length [m]", "Fuse"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Stecker", "Kammer", "Bezeichnung", "Leitungsfarbe", "Leitungsquerschnitt", "Länge", "Sicherung"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Connecteur", "Broche", "Fonction", "Couleur", "Section", "Longueur", "Fusible"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Conector", "Cavidad", "Función", "Color", "Sección", "Longitud", "Fusible"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Connettore", "Cavità", "Funzione", "Colore", "Sezione", "Lunghezza", "Fusibile"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Stekker", "Aansluiting", "Functie", "Draadkleur", "Doorsnede", "Lengte", "Zekering"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
        (("Złącze", "Styk", "Funkcja", "Kolor", "Przekrój", "Długość", "Bezpiecznik"),
         ("connector", "cavity", "name", "wire", "section", "length", "feed")),
    ],
)  # fmt: skip
def test_headings_of_several_languages(headings, wanted):
    found, matching = matched([headings, ("H1", "1", "relay", "GN/WH", "0,75", "1,8", "F1")])
    assert found == dict(zip(wanted, headings, strict=True))
    assert matching.header_row == 1
    assert all(match.why for match in matching.matches)


def test_headings_need_not_be_the_first_row():
    found, matching = matched([("Loom of the rig", "", ""), ("", "", ""), ("rev", "3", ""), HEADINGS, SOUND])
    assert matching.header_row == 4
    assert found["cavity"] == "Cavity"


def test_without_headings_cells_speak_for_themselves_and_say_so():
    rows = [(f"H1-{n}", "injector high resistance", "GN/WH", "0,75") for n in range(1, 6)]
    found, matching = matched(rows)
    assert found == {"cavity": 0, "load": 1, "wire": 2, "section": 3}
    assert matching.header_row is None
    why = next(match.why for match in matching.matches if match.fact is ColumnFact.WIRE)
    assert why == "no heading says so, but 5 of 5 cells look like it"


def test_a_heading_that_its_cells_contradict_gives_way():
    found, _ = matched(
        [("Pin", "Wire no", "Shade"), ("1", "1007", "GN"), ("2", "1008", "RD/BK"), ("3", "1009", "BU")]
    )
    assert found["wire"] == "Shade"


@pytest.mark.parametrize("said", ["Kontaktnummer", "kontaktnummer ", "C", "3"])
def test_a_person_names_a_column_by_heading_letter_or_number(said):
    rows = [("Pin", "Function", "Kontaktnummer"), ("9", "relay", "1"), ("8", "fan", "2")]
    found, _ = matched(rows, columns={ColumnFact.CAVITY: said})
    assert found["cavity"] == "Kontaktnummer"


def test_a_person_says_that_there_is_no_such_column():
    found, matching = matched([HEADINGS, SOUND], columns={ColumnFact.WIRE: "-"})
    assert "wire" not in found
    assert next(m.why for m in matching.matches if m.fact is ColumnFact.WIRE) == "you said there is none"


@pytest.mark.parametrize(
    ("choices", "reason"),
    [
        (
            {"columns": {ColumnFact.CAVITY: "Kammer"}},
            "there is no column `Kammer`; the columns are A `Connector`, B `Cavity`",
        ),
        ({"header_row": 9}, "there is no row 9; name the row with the headings, or 0"),
    ],
)
def test_a_choice_that_the_table_has_not_is_told(choices, reason):
    with pytest.raises(PinoutError) as told:
        match_columns(read_sheet(table(SOUND), "a.csv"), Choices(**choices))
    assert reason in str(told.value)


def test_two_columns_of_one_heading_are_named_by_letter():
    with pytest.raises(PinoutError, match="several columns are headed `Pin`; name it by its letter: A, B"):
        matched([("Pin", "Pin"), ("1", "2")], columns={ColumnFact.CAVITY: "Pin"})


def test_no_cavities_no_draft():
    with pytest.raises(PinoutError, match="no column looks like the cavities of a connector; say which"):
        draft_pinout(read_sheet(csv_bytes([("What", "Colour"), ("relay", "GN")]), "a.csv"))


def test_unused_columns_are_listed():
    _, matching = matched([("Pin", "Function", "Drawn by"), ("1", "relay", "somebody"), ("2", "fan", "else")])
    assert [column.heading for column in matching.unused] == ["Drawn by"]


def test_letters_run_on_after_z():
    # As spreadsheets count: common practice, no source.
    assert [letter(index) for index in (0, 25, 26, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]
