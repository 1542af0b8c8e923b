"""Restraint and high-voltage circuits are no channels, in every language that pin-outs are read in, by every way in.

What the words mean: the trade's usual terms in eight languages, from memory; no source.
"""

import pytest

from loomproof.job.file.document import JobDocument
from loomproof.job.file.loading import JobError, parse_job, refused_problems
from loomproof.job.pinout.job_text import pinout_job_text
from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.table_file import read_sheet
from loomproof.job.refused_circuits import Danger, refused_circuit
from tests.job.pinout.tables import changed, table

RESTRAINT = (
    "Airbag", "driver air bag stage 2", "SRS igniter passenger", "SRSigniter2", "srs_squib", "Belt pretensioner",
    "curtain airbag", "squib 3", "seat belt tensioner", "seat belt left", "igniter passenger", "pyro fuse",
    "pyrotechnic battery cut-off", "fire extinguisher", "Fahrerairbag", "Gurtstraffer links", "Gurtschlossstraffer",
    "Rückhaltesystem", "Rueckhaltesystem", "Zündpille", "Gasgenerator", "coussin gonflable passager",
    "prétensionneur de ceinture", "système de retenue", "allumeur volant", "bolsa de aire conductor",
    "pretensor cinturón", "sistema de retención", "detonador", "cuscino gonfiabile", "pretensionatore cintura",
    "sistema di ritenuta", "luchtkussen bestuurder", "gordelspanner rechts", "veiligheidsgordel",
    "poduszka powietrzna kierowcy", "poduszki powietrznej", "kurtyna powietrzna", "napinacz pasa",
    "napinacz pirotechniczny", "krockkudde förare", "krockgardin", "bältessträckare vänster", "pyroteknisk",
)  # fmt: skip
HIGH_VOLTAGE = (
    "HV interlock", "HVIL 1", "HV contactor", "high voltage battery", "traction motor", "traction battery relay",
    "pre-charge relay", "400 V bus", "inverter enable", "negative contactor", "Hochvoltheizer", "Hochspannung",
    "Traktionsbatterie", "Pilotlinie", "Wechselrichter", "batterie de traction", "moteur de traction", "haute tension",
    "onduleur", "batería de tracción", "alta tensión", "precarga", "batteria di trazione", "alta tensione",
    "hoogspanning", "tractiebatterij", "bateria trakcyjna", "wysokie napięcie", "falownik", "högvolt", "högspänning",
    "växelriktare", "traktionsbatteri",
)  # fmt: skip
ORDINARY = (
    "Airbox valve", "Airbox", "air flow", "Heater", "seat heater relay", "Zuendspannung Spule 1", "Zündspannung",
    "Zündkreis 2", "Igniter 1", "coil igniter passenger bank", "ignition coil 3", "Spule Zylinder 2",
    "Traction control lamp", "traction control motor", "HVAC blower", "brake precharge pump", "Vorladepumpe",
    "cigarette lighter, driver's side", "Zigarettenanzünder Fahrer", "Seat belt warning lamp", "clutch interlock relay",
    "starter interlock", "Injector driver battery relay", "12 V feed", "24 V relay", "48 V valve", "V8 injector 3",
    "pyrometer", "Sitzheizung", "main relay", "bougie de préchauffage", "voyant ceinture de sécurité", "bomba de aire",
    "pompa acqua", "strażnik", "bränslepump", "luchtklep", "valvola aria", "valvula de aire", "boost valve",
    "cam phasing", "idle stepper", "fan relay",
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "danger"),
    [(name, Danger.RESTRAINT) for name in RESTRAINT] + [(name, Danger.HIGH_VOLTAGE) for name in HIGH_VOLTAGE],
)
def test_it_is_refused_in_any_spelling(name, danger):
    for spelt in (name, name.upper(), name.replace(" ", "_"), f"H1 {name.replace(' ', '-')} (left)"):
        found = refused_circuit(spelt)
        assert found is not None, spelt
        assert found.danger is danger


@pytest.mark.parametrize("name", ORDINARY)
def test_an_ordinary_word_is_not(name):
    assert refused_circuit(name) is None


@pytest.mark.parametrize(
    "name", ["HV coil 1", "high voltage 2", "Hochspannung Zylinder 3", "haute tension 1", "300 V coil"]
)
def test_the_high_voltage_of_an_ignition_coil_is_no_reason(name):
    assert refused_circuit(name, sparks=True) is None
    assert refused_circuit(name) is not None


@pytest.mark.parametrize("name", ["HV interlock", "SRS igniter", "traction battery contactor"])
def test_calling_it_a_coil_frees_nothing_else(name):
    assert refused_circuit(name, sparks=True) is not None


# --- the ways in ---------------------------------------------------------------------------------------------

JOB = """\
schema_version = 1
setting = "vehicle"

[identity]
title = "small loom"
job_number = "J-1"

[[connectors]]
id = "H1"
name = "header"
cavities = 4

[[feeds]]
id = "F1"
name = "relay output"

[[locations]]
id = "left"
name = "left side"
place = "below"

[[loads]]
key = "own"
name = "own relay"
kind = "relay"
resistance_ohm = { value = 90, tolerance_percent = 20, source = "measured on ten parts" }
inductance_mh = { value = 250, tolerance_percent = 30, source = "measured on ten parts" }
moves = true
pull_in_a = { value = 0.065, tolerance_percent = 25, source = "measured on ten parts" }
opening_ms = { value = 6, tolerance_percent = 50, source = "measured on ten parts" }
limits = { max_on_time_ms = 100, max_hold_ms = 1000, max_duty = 0.9, max_frequency_hz = 10, \
  max_count = 100, max_current_a = 0.5, max_sense_us = 100 }
train = { count = 4, frequency_hz = 2, on_time_ms = 80 }
notice = "a click"

[[channels]]
channel = 1
name = "horn relay"
cavity = "H1-1"
load = "own"
location = "left"
feed = "F1"
"""


def test_the_job_is_sound_as_it_stands():
    assert refused_problems(parse_job(JOB)) == ()


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ('"small loom"', "identity.title"), ('"header"', "connector H1: name"), ('"relay output"', "feed F1: name"),
        ('"left side"', "location left: name"), ('"below"', "location left: place"), ('"own relay"', "load own: name"),
        ('"a click"', "load own: notice"), ('"horn relay"', "channel 1: name"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["Airbag", "HV-Interlock"])
def test_a_written_job_is_refused_wherever_the_name_stands(said, key, name):
    text = JOB.replace(said, f'"{name}"', 1)
    with pytest.raises(JobError) as refused:
        parse_job(text)
    (problem,) = refused.value.problems
    assert problem.key == key
    assert problem.line == text[: text.index(f'"{name}"')].count("\n") + 1
    assert "circuit" in problem.reason
    assert "take it out of the job" in problem.remedy


def test_an_edited_job_is_refused():
    document = JobDocument(JOB)
    assert document.problems == ()
    document = JobDocument(JOB.replace("horn relay", "Gurtstraffer"))
    assert [problem.key for problem in document.problems] == ["channel 1: name"]


def test_a_job_put_together_in_code_is_refused():
    job = parse_job(JOB)
    channel = job.channels[0].model_copy(update={"name": "krockkudde"})
    (problem,) = refused_problems(job.model_copy(update={"channels": (channel,)}))
    assert problem.key == "channel 1: name"


@pytest.mark.parametrize("name", ["SRS igniter passenger", "Gurtstraffer", "HV interlock"])
@pytest.mark.parametrize("load", ["coil_igniter", "relay_plain", ""])
def test_an_imported_row_is_left_out_with_the_reason(name, load):
    draft = draft_pinout(read_sheet(table(changed(), changed(cavity="2", name=name, load=load)), "pins.csv"))
    assert [line.name for line in draft.lines] == ["Injector 1"]
    (left,) = draft.left_out
    assert "never a channel of this box" in left.reason
    remark = next(remark for remark in draft.remarks if remark.row == left.row)
    assert "circuit" in remark.reason
    assert "take it out of the job" in remark.remedy
    text = pinout_job_text(draft, title="loom", job_number="1", source="pins.csv")
    assert [channel.name for channel in parse_job(text).channels] == ["Injector 1"]


def test_what_a_connector_heading_says_holds_for_the_rows_below():
    rows = [["Cavity", "Name", "Load"], ["Connector airbag", "", ""], ["1", "output 1", "relay_plain"]]
    draft = draft_pinout(read_sheet("\n".join(",".join(row) for row in rows).encode(), "pins.csv"))
    assert draft.lines == ()
    assert any("never a channel of this box" in left.reason for left in draft.left_out)


def test_ignition_coils_come_in_under_the_name_of_their_high_voltage():
    draft = draft_pinout(read_sheet(table(changed(name="HV coil 1", load="coil_igniter")), "pins.csv"))
    assert [line.name for line in draft.lines] == ["HV coil 1"]


# --- fuel pumps ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["Bränslepumprelä", "Kraftstoffpumpenrelais", "relais pompe à carburant", "relé bomba de gasolina",
     "relè pompa benzina", "relais brandstofpomp", "przekaźnik pompy paliwa", "fuel pump relay"]
)  # fmt: skip
def test_a_relay_that_is_named_after_the_fuel_pump_says_whether_it_runs_it(name):
    text = JOB.replace("horn relay", name)
    with pytest.raises(JobError) as refused:
        parse_job(text)
    (problem,) = refused.value.problems
    assert problem.key == "channel 1: fuel_pump"
    assert "fuel_pump = true" in problem.remedy
    for said in ("true", "false"):
        parse_job(text + f"fuel_pump = {said}\n")


@pytest.mark.parametrize("name", ["water pump relay", "Ölpumpe", "fuel level lamp relay", "Waschwasserpumpe"])
def test_another_pump_need_not(name):
    parse_job(JOB.replace("horn relay", name))


def test_a_voltage_stands_in_one_cell():
    assert refused_circuit("H1-61", "V", "relay") is None
    assert refused_circuit("H1-6", "400 V supply").danger is Danger.HIGH_VOLTAGE
    assert refused_circuit("H1-6", "airbag", "left").danger is Danger.RESTRAINT
