"""Single cells: numbers, cavities, colours, sections, lengths, loads and hazards."""

import pytest

from loomproof.facts.kinds import HazardClass
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.pinout.colours import read_colour
from loomproof.job.pinout.loads import not_an_output, read_hazard, read_load
from loomproof.job.pinout.values import (
    number,
    read_cavity,
    read_channel,
    read_length,
    read_section,
    read_yes_no,
)
from loomproof.job.pinout.words import words


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("0.75", (0.75, "")), ("0,75", (0.75, "")), ("1 800 mm", (1800, "mm")), ("1.234,5", (1234.5, "")),
        ("1,234.5", (1234.5, "")), ("2'000", (2000, "")), ("0,5mm²", (0.5, "mm²")), ("1.234.567", None),
        ("abc", None), ("", None), ("1,2,3", None), ("-3", (-3, "")),
    ],
)  # fmt: skip
def test_numbers(text, wanted):
    assert number(text) == wanted


@pytest.mark.parametrize(
    ("text", "connector", "wanted"),
    [
        ("14", "", ("H1", 14)), ("007", "", ("H1", 7)), ("H2-14", "", ("H2", 14)), ("X.2-7", "", ("X.2", 7)),
        ("A14", "", ("A", 14)), ("H1/3", "", ("H1", 3)), ("H1.3", "", ("H1", 3)), ("Pin 5", "H3", ("H3", 5)),
        ("H3-5", "H3", ("H3", 5)), ("A5", "H3", ("H3.A", 5)), ("14,0", "", ("H1", 14)), ("0", "", None),
        ("left one", "", None), ("", "", None),
    ],
)  # fmt: skip
def test_cavities(text, connector, wanted):
    assert read_cavity(text, connector).value == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("GN/WH", "GNWH"), ("gn-wh", "GNWH"), ("GNWH", "GNWH"), ("green with white stripe", "GNWH"),
        ("grün/weiß", "GNWH"), ("vert", "GN"), ("GNYE", "GNYE"), ("BLK", "BK"), ("R/Y", "RDYE"), ("rojo y negro", "RDBK"),
        ("Gelb", "YE"),
        ("BL", None), ("GR", None), ("xx", None), ("GN/WH/RD", None), ("0.75", None),
    ],
)  # fmt: skip
def test_colours(text, wanted):
    # Codes: IEC 60757. Words and abbreviations: common practice, no source.
    assert read_colour(text).code == wanted


def test_a_colour_that_can_mean_two_is_told_both():
    assert read_colour("BL").reason == "`BL`: `bl` can mean BU or BK"


@pytest.mark.parametrize(
    ("text", "wanted"), [("sw", "BK"), ("br/ge", "BNYE"), ("blgr", "BUGY"), ("vi", "VT")]
)
def test_german_codes_in_a_german_column(text, wanted):
    # DIN 72551, from memory.
    assert read_colour(text, german=True).code == wanted


@pytest.mark.parametrize(
    ("text", "heading", "wanted"),
    [("0,75", "", 0.75), ("0.5 mm²", "", 0.5), ("18 AWG", "", 0.823), ("AWG18", "", 0.823), ("18", "AWG", 0.823),
     ("18", "Section", None), ("0", "", None), ("thick", "", None), ("0.75 m", "", None)],
)  # fmt: skip
def test_sections(text, heading, wanted):
    assert read_section(text, heading).value == wanted


def test_a_whole_number_that_may_be_a_gauge_is_told_so():
    assert read_section("18").remedy == "write 0.13 to 16 mm2; if it is a gauge, write 18 AWG"


@pytest.mark.parametrize(
    ("text", "heading", "wanted"),
    [("1,8", "Length", 1.8), ("1800", "Length (mm)", 1.8), ("180 cm", "", 1.8), ("6 ft", "", 1.8288),
     ("1800", "Length", None), ("1.850", "Länge [mm]", None), ("0", "", None), ("long", "", None)],
)  # fmt: skip
def test_lengths(text, heading, wanted):
    # 1 ft = 0.3048 m: international yard and pound agreement, 1959.
    assert read_length(text, heading).value == wanted


def test_a_thousands_mark_in_millimetres_is_not_taken_for_a_decimal_point():
    assert read_length("1.850", "mm").reason == "`1.850` mm may be 1.85 or 1850 mm"


@pytest.mark.parametrize(
    ("text", "wanted"), [("3", 3), ("CH 3", 3), ("out03", 3), ("17", None), ("0", None), ("A", None)]
)
def test_channels(text, wanted):
    assert read_channel(text).value == wanted


@pytest.mark.parametrize(("text", "wanted"), [("Ja", True), ("x", True), ("nein", False), ("perhaps", None)])
def test_yes_and_no(text, wanted):
    assert read_yes_no(text).value is wanted


@pytest.mark.parametrize(
    ("load", "name", "key", "candidates"),
    [
        ("injector_high", "Valve of a sort", "injector_high", ()),
        ("injector, high resistance", "", "injector_high", ()),
        ("Injector", "Injector 1 high impedance", "injector_high", ("injector_high",)),
        ("Injector", "Injector 1", None, ("injector_high", "injector_low")),
        ("", "Zündspule 2", None, ("coil_bare", "coil_igniter")),
        ("", "Fuel pump relay", "fuel_pump_relay", ("fuel_pump_relay",)),
        ("Relais", "Lüfter", "fan_relay", ("fan_relay",)),
        ("relay with diode", "Horn", "relay_diode", ()),
        ("", "Starter", "starter_relay", ("starter_relay",)),
        ("", "Idle", None, ("valve_idle", "stepper_idle")),
        ("", "Magnetventil", None, ("valve_purge", "valve_boost", "valve_cam_oil", "valve_idle")),
        ("", "21 W bulb", "lamp_21w", ("lamp_21w",)),
        ("", "winch", None, ()),
        ("", "", None, ()),
    ],
)  # fmt: skip
def test_loads_by_words(load, name, key, candidates):
    reading = read_load(load, name, {})
    assert (reading.key, reading.candidates) == (key, candidates)
    assert reading.why


def test_words_that_contradict_each_other_are_told_even_where_one_of_them_would_do():
    reading = read_load("21 W bulb", "Injector 1", {})
    assert reading.key is None
    assert "point to different loads" in reading.why


def test_what_a_person_settles_fills_only_what_the_table_leaves_open():
    settled = {"relay": "relay_diode", "injector": "injector_low"}
    assert read_load("", "Relay K3", settled).key == "relay_diode"
    assert read_load("", "Fan relay", settled).key == "fan_relay"
    assert read_load("", "Injector 1, high resistance", settled).key == "injector_high"
    assert read_load("", "Relay K3", {"relay": "lamp_5w"}).key is None


def test_every_type_that_the_words_point_to_is_in_the_catalogue():
    named = {key for entry in words()["loads"] for key in entry["types"]}
    assert named == set(CATALOGUE)


@pytest.mark.parametrize(
    ("name", "reason"),
    [("Throttle position sensor", "an input or sensor"), ("Masse", "a ground"), ("CAN-H", "a data line"),
     ("+12V", "a supply"), ("n/c", "not used"), ("Frei", "not used")],
)  # fmt: skip
def test_rows_that_are_no_outputs(name, reason):
    assert reason in (not_an_output("", name) or "")


@pytest.mark.parametrize(
    "name",
    [
        "Injector ground",
        "Relay supply",
        "Injector 1",
        "Candle heater",
        "Scanner",
        "Lambda sensor heater",
        "Map light relay",
    ],
)
def test_rows_that_may_be_outputs_stay(name):
    assert not_an_output("", name) is None


@pytest.mark.parametrize(
    ("key", "text", "hazard", "pump"),
    [
        ("relay_diode", "Relay K3", HazardClass.MOTION, False),
        ("relay_diode", "Horn relay", HazardClass.NONE, False),
        ("relay_diode", "Glow plug relay", HazardClass.HEAT, False),
        ("relay_diode", "Starter and fan", HazardClass.CRANK, False),
        ("relay_diode", "Fuel pump and fan", HazardClass.FUEL, True),
        ("relay_diode", "Pump 2", HazardClass.MOTION, True),
        ("relay_diode", "Coolant pump", HazardClass.MOTION, False),
        ("relay_diode", "Wasserpumpe", HazardClass.MOTION, False),
        ("fuel_pump_relay", "Pump", HazardClass.NONE, True),
        ("motor_fan", "Fan", HazardClass.NONE, False),
        ("lamp_5w", "Glow plug lamp", HazardClass.NONE, False),
        ("valve_purge", "Fuel tank valve", HazardClass.FUEL, False),
    ],
)  # fmt: skip
def test_the_strictest_hazard_that_the_words_allow(key, text, hazard, pump):
    reading = read_hazard(key, text)
    assert (reading.hazard, reading.fuel_pump) == (hazard, pump)


@pytest.mark.parametrize(
    "text",
    [
        "fuel pump relay", "Fuelpump", "Kraftstoffpumpenrelais", "Benzinpumpe", "relais pompe à carburant", "pompe à essence",
        "relé bomba de combustible", "bomba gasolina", "relè pompa carburante", "pompa benzina", "relais brandstofpomp",
        "benzinepomp", "przekaźnik pompy paliwa", "pompa paliwa", "Bränslepumprelä", "bensinpump",
        "fuel pump, oil pressure switched",
    ],
)  # fmt: skip
def test_the_fuel_pump_is_known_in_every_language_and_in_compounds(text):
    reading = read_hazard("relay_plain", text)
    assert reading.fuel_pump
    assert reading.hazard is HazardClass.FUEL


@pytest.mark.parametrize(
    "text",
    ["water pump", "Wasserpumpe", "Scheibenwaschpumpe", "Ölpumpe", "pompe à eau", "bomba de agua", "pompa acqua", "waterpomp",
     "pompa wody", "vattenpump", "kylvattenpump", "oljepump"],
)  # fmt: skip
def test_another_pump_is_none(text):
    reading = read_hazard("relay_plain", text)
    assert not reading.fuel_pump
    assert reading.hazard is HazardClass.MOTION


@pytest.mark.parametrize("name", ["clt", "CLT sensor", "ect", "ECT sensor"])
def test_a_coolant_temperature_sensor_is_no_output(name):
    assert not_an_output("", name) is not None
