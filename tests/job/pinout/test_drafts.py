"""Whole tables: to a job and back, and what is wrong told by row and column."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import JobError, parse_job
from loomproof.job.pinout.columns import Choices
from loomproof.job.pinout.job_text import pinout_job_text
from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.sheet import Weight
from loomproof.job.pinout.table_file import read_sheet
from loomproof.job.refused_circuits import refused_circuit
from loomproof.job.templates import TEMPLATES, template_text
from loomproof.job.wire import COLOURS
from tests.job.pinout.tables import HEADINGS, SOUND, changed, csv_bytes, table, xlsx_bytes


def text_of(data, name="a.csv", template=None, **choices):
    draft = draft_pinout(read_sheet(data, name), Choices(**choices))
    return draft, pinout_job_text(draft, title="Rig", job_number="R-1", source=name, template=template)


def job_of(data, name="a.csv", template=None, **choices):
    draft, text = text_of(data, name, template, **choices)
    return draft, parse_job(text)


# --- there and back ---------------------------------------------------------------------------------------

KEYS = [key for key, load in CATALOGUE.items() if load.kind is not LoadKind.STEPPER]
names = st.text(st.characters(codec="utf-8", categories=["L", "N", "P"]), min_size=1, max_size=12).filter(
    lambda text: text.strip('"') and not text.startswith("#") and refused_circuit(text) is None
)
wires = (
    st.none()
    | st.sampled_from(COLOURS)
    | st.builds("{}{}".format, st.sampled_from(COLOURS), st.sampled_from(COLOURS)).filter(
        lambda code: (
            code != "GNYE"
        )  # the protective conductor's, written with a slash where it is a striped wire
    )
)
COLUMNS = (
    "Channel", "Cavity", "Name", "Load type", "Location", "Wire colour", "Section mm2", "Length m", "Feed",
    "Fitted", "Hazard", "Fuel pump",
)  # fmt: skip


@st.composite
def channels(draw, number):
    key = draw(st.sampled_from(KEYS))
    base = CATALOGUE[key]
    own = base.hazard is not HazardClass.NONE
    may_pump = base.kind in (LoadKind.RELAY, LoadKind.MOTOR)
    return {
        "channel": number,
        "cavity": f"{draw(st.sampled_from(['H1', 'X.2', 'K_7']))}-{draw(st.integers(1, 9)) + 10 * number}",
        "name": draw(names),
        "load": key,
        "location": f"{draw(names)} {number}",
        "wire": draw(wires),
        "section_mm2": draw(st.sampled_from([0.35, 0.5, 0.75, 1.0, 1.5, 2.5])),
        "length_m": draw(st.integers(1, 6000)) / 100,
        "feed": draw(st.none() | st.sampled_from(["F1", "fuse 7", "Kl. 15"])),
        "fitted": draw(st.booleans()),
        "hazard": HazardClass.NONE if own else draw(st.sampled_from(HazardClass)),
        "fuel_pump": base.fuel_pump or (may_pump and draw(st.booleans())),
    }


@st.composite
def looms(draw):
    numbers = draw(st.lists(st.integers(1, 16), min_size=1, max_size=8, unique=True))
    return [draw(channels(number)) for number in numbers]


def cells(row, comma):
    number = lambda value: f"{value:g}".replace(".", ",") if comma else f"{value:g}"  # noqa: E731
    return (
        row["channel"], row["cavity"], row["name"], row["load"], row["location"], row["wire"] or "",
        number(row["section_mm2"]), number(row["length_m"]), row["feed"] or "", "yes" if row["fitted"] else "no",
        row["hazard"].value, "yes" if row["fuel_pump"] else "no",
    )  # fmt: skip


def facts(job):
    for channel in job.channels:
        location, feed = job.location_of(channel.channel), job.feed_of(channel.channel)
        yield {
            "channel": channel.channel,
            "cavity": channel.cavity,
            "name": channel.name,
            "load": channel.load,
            "location": location.name,
            "wire": channel.wire,
            "section_mm2": channel.section_mm2,
            "length_m": channel.length_m,
            "feed": None if feed is None else feed.name,
            "fitted": channel.fitted,
            "hazard": HazardClass.NONE if channel.override is None else channel.override.hazard,
            "fuel_pump": channel.fuel_pump,
        }


@settings(max_examples=40, deadline=None)
@given(looms(), st.sampled_from([",", ";", "\t"]), st.booleans(), st.permutations(range(len(COLUMNS))))
def test_a_loom_written_as_a_table_comes_back_as_it_was(loom, delimiter, comma, order):
    rows = [COLUMNS, *(cells(row, comma) for row in loom)]
    shuffled = [[row[index] for index in order] for row in rows]
    draft, job = job_of(csv_bytes(shuffled, delimiter))
    assert not draft.to_settle
    assert list(facts(job)) == loom


@settings(max_examples=10, deadline=None)
@given(looms())
def test_a_loom_written_as_a_workbook_comes_back_as_it_was(loom):
    rows = [COLUMNS, *(cells(row, comma=False) for row in loom)]
    draft, job = job_of(xlsx_bytes(rows), "a.xlsx")
    assert not draft.to_settle
    assert list(facts(job)) == loom


# --- what is wrong, and where ------------------------------------------------------------------------------


def test_the_sound_row_is_sound():
    draft, job = job_of(table(SOUND))
    assert draft.remarks == ()
    assert job.channel(1).load == "injector_high"


@pytest.mark.parametrize(
    ("cell", "value", "reason", "remedy"),
    [
        ("cavity", "left", "`left` is not a cavity", "such as H1-14"),
        ("cavity", "", "the row names no cavity", "write its cavity"),
        ("cavity", "0", "`0` is not a cavity", "such as H1-14"),
        ("load", "injector", "`injector` may be any of 2 types", "injector_high, injector_low"),
        ("load", "gizmo", "`injector` may be any of 2 types", "say which it is"),
        ("colour", "BL", "`BL`: `bl` can mean BU or BK", "IEC 60757"),
        ("colour", "mauve-ish", "`mauve-ish` is not a wire colour", "IEC 60757"),
        ("section", "18", "18 mm2 is no section", "if it is a gauge, write 18 AWG"),
        ("section", "thin", "`thin` is not a section", "write mm2"),
        ("length", "1800", "1800 m is no length", "if it is in mm, write the unit"),
        ("length", "-1", "-1 m is no length", "over 0"),
        ("length", "x", "`x` is not a length", "write metres"),
    ],
)
def test_a_bad_cell_is_told_by_row_and_column_with_what_to_do(cell, value, reason, remedy):
    data = table(
        SOUND,
        changed(cavity="2", name="Injector 2", location="cylinder 2", **{}),
        changed(**{"cavity": "3", "location": "cylinder 3", cell: value}),
    )
    draft, _ = text_of(data)
    column = {"colour": "wire"}.get(cell, cell)
    (told,) = [remark for remark in draft.remarks if remark.weight is Weight.SETTLE]
    assert (told.row, told.column) == (4, column)
    assert reason in told.reason
    assert remedy in told.remedy
    assert 4 in {line.row for line in draft.lines} | {left.row for left in draft.left_out}


def test_an_unsettled_load_keeps_the_job_unsound_until_a_person_settles_it():
    data = table(changed(load="injector"))
    draft, text = text_of(data)
    assert 'load = "?"' in text
    assert (
        "# SETTLE, load: `injector` may be any of 2 types; say which it is: injector_high, injector_low"
        in text
    )
    with pytest.raises(JobError) as told:
        parse_job(text)
    assert [problem.reason for problem in told.value.problems] == ["there is no load `?`"]
    assert job_of(data, loads={"injector": "injector_low"})[1].channel(1).load == "injector_low"
    assert job_of(data, row_loads={draft.lines[0].row: "injector_low"})[1].channel(1).load == "injector_low"


def test_a_guess_is_told_in_the_file_and_a_stated_load_is_not():
    draft, text = text_of(csv_bytes([("Pin", "Function"), ("1", "Fan relay"), ("2", "fan_relay")]))
    assert [(remark.row, remark.weight) for remark in draft.remarks] == [(2, Weight.LOOK)]
    assert "# look, load: read as fan_relay: `fan` and `relay` can only be fan relay" in text


def test_a_relay_of_unknown_purpose_gets_the_strictest_reading_and_keeps_what_the_table_states():
    rows = [
        ("Pin", "Function", "Load", "Hazard"),
        ("1", "K3", "relay_diode", ""),
        ("2", "K4", "relay_diode", "none"),
    ]
    _, job = job_of(csv_bytes(rows))
    assert job.load_type(1).hazard is HazardClass.MOTION
    assert job.load_type(2).hazard is HazardClass.NONE


def test_a_load_types_own_hazard_is_never_taken_away_by_a_table():
    rows = [("Pin", "Function", "Load", "Hazard"), ("1", "Fan", "fan_relay", "none")]
    draft, job = job_of(csv_bytes(rows))
    assert job.load_type(1).hazard is HazardClass.MOTION
    assert "hazard is never taken away" in draft.remarks[0].remedy


def test_rows_that_are_no_outputs_are_listed_and_written_down():
    rows = [
        ("Rig 7", ""),
        ("Pin", "Function"),
        ("1", "fan_relay"),
        ("2", "Sensor ground"),
        ("", ""),
        ("3", ""),
        ("Pin", "Function"),
    ]
    draft, text = text_of(csv_bytes(rows))
    assert [(left.row, left.reason) for left in draft.left_out] == [
        (1, "above the headings"),
        (4, "an input or sensor, not an output (`sensor ground`)"),
        (6, "not used (nothing but a cavity)"),
        (7, "the headings again"),
    ]
    for left in draft.left_out:
        assert f"# row {left.row} left out, {left.reason}: {left.text}" in text


def test_a_row_that_names_a_connector_holds_for_the_rows_below():
    rows = [
        ("Pin", "Function"),
        ("Connector A", ""),
        ("1", "fan_relay"),
        ("Connector B", ""),
        ("1", "starter_relay"),
    ]
    _, job = job_of(csv_bytes(rows))
    assert [channel.cavity for channel in job.channels] == ["A-1", "B-1"]


def test_more_outputs_than_the_box_has_are_told_and_kept_as_comments():
    rows = [("Pin", "Function"), *((n, "fan_relay") for n in range(1, 18))]
    draft, text = text_of(csv_bytes(rows))
    assert len(draft.lines) == 16
    (told,) = draft.to_settle
    assert (told.row, told.column, told.remedy) == (18, "channel", "split the job over two boxes")
    assert "# row 18 left out, the box has 16 outputs and all are taken: H1-17 fan_relay" in text


def test_the_engine_of_a_template_gives_cylinders_and_companions():
    rows = [
        ("Pin", "Function", "Load"),
        ("1", "Injector cyl. 3", "injector_high"),
        ("2", "Coil 1/4", "coil_bare"),
        ("3", "Injector 2", "injector_high"),
    ]
    _, text = text_of(csv_bytes(rows), template=TEMPLATES["inline-four-wasted"])
    locations = tomllib.loads(text)["locations"]
    assert [(place.get("cylinder"), place.get("cylinders")) for place in locations] == [
        (3, None),
        (None, [1, 4]),
        (2, None),
    ]
    assert "# from the number in `2`: look whether it counts cylinders" in text
    assert parse_job(text).engine.cylinders == 4


@pytest.mark.parametrize("name", TEMPLATES)
def test_every_template_is_a_sound_job_and_takes_a_table(name):
    assert parse_job(template_text(TEMPLATES[name], "A loom", "L-1")).identity.title == "A loom"
    assert job_of(table(SOUND), template=TEMPLATES[name])[1].setting is TEMPLATES[name].setting


def test_german_drawing():
    rows = [
        ("Kabelbaum Prüfstand", "", "", "", "", ""),
        ("Stecker", "Pin", "Funktion", "Farbe", "Querschnitt [mm²]", "Länge (mm)"),
        ("H1", "1", "Einspritzventil Zyl. 1 hochohmig", "gn/ws", "0,75", "1800"),
        ("H1", "2", "Kraftstoffpumpenrelais", "sw", "0,5", "1200"),
    ]
    draft, job = job_of(csv_bytes(rows, ";", "cp1252"), template=TEMPLATES["inline-four"])
    assert [(c.load, c.wire, c.section_mm2, c.length_m) for c in job.channels] == [
        ("injector_high", "GNWH", 0.75, 1.8),
        ("fuel_pump_relay", "BK", 0.5, 1.2),
    ]
    assert job.channel(2).fuel_pump
    assert not draft.to_settle


def test_comments_never_break_the_file():
    nasty = 'x"""\u2028\x0b # [[channels]] \\'
    draft, text = text_of(
        csv_bytes([HEADINGS, changed(name=nasty, location=nasty, colour=nasty), (nasty, nasty, "CAN")])
    )
    assert len(tomllib.loads(text)["channels"]) == len(draft.lines) == 1
