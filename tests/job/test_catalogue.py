"""Every catalogue entry is sound by physics that is written out here again, not taken from the code."""

import math
import tomllib
from importlib.resources import files

import pytest

import loomproof_wire
from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.catalogue import CATALOGUE, LoadType
from loomproof.job.checks.load_values import load_flaws
from loomproof.job.load_type import DriveLimits, PeakHold, Train
from loomproof.job.quantity import Quantity

entries = pytest.mark.parametrize("load", CATALOGUE.values(), ids=CATALOGUE.keys())
LOGIC = (LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT)


def test_every_kind_of_load_is_there() -> None:
    assert {load.kind for load in CATALOGUE.values()} == set(LoadKind)
    assert len(CATALOGUE) >= 20


def test_no_key_is_written_twice() -> None:
    text = files("loomproof.job").joinpath("catalogue.toml").read_text(encoding="utf-8")
    assert len(tomllib.loads(text)["loads"]) == len(CATALOGUE)


@entries
def test_the_checks_find_nothing(load: LoadType) -> None:
    assert list(load_flaws(load)) == []


@entries
def test_every_value_names_its_source(load: LoadType) -> None:
    stated = [value for value in vars(load).values() if isinstance(value, Quantity)]
    assert stated
    assert all(len(value.source) > 10 for value in stated)


@entries
def test_a_sense_pulse_neither_sparks_nor_moves(load: LoadType) -> None:
    """At 16 V into the lowest L: energy under 0.1 mJ, current under half of the lowest pull-in."""
    on_s = load.limits.max_sense_us * 1e-6
    if load.inductance_mh is None:
        # With the coil out of sight behind its igniter, take half of the lowest primary of the trade, 2 mH.
        lowest_h = 1e-3 if load.kind is LoadKind.IGNITER_COIL else math.inf
    else:
        lowest_h = load.inductance_mh.value * (1 - load.inductance_mh.tolerance_percent / 100) * 1e-3
    current_a = 16 * on_s / lowest_h
    if math.isfinite(lowest_h):
        assert lowest_h * current_a**2 / 2 <= 0.1e-3
    if load.pull_in_a is not None:
        assert current_a <= 0.5 * load.pull_in_a.value * (1 - load.pull_in_a.tolerance_percent / 100)


@entries
def test_a_motor_hardly_stirs_in_a_sense_pulse(load: LoadType) -> None:
    """The energy drawn stays under 1 mJ, a thousandth of what lifts 100 g by 1 m."""
    if load.kind is LoadKind.MOTOR:
        assert load.inductance_mh is not None
        on_s = load.limits.max_sense_us * 1e-6
        assert 16 * (16 * on_s / (load.inductance_mh.low * 1e-3)) * on_s / 2 < 1e-3


@entries
def test_a_sound_load_never_trips(load: LoadType) -> None:
    """The trip lies above V/R at 16 V, or is the box's own 20 A."""
    assert load.resistance_ohm is not None
    if load.kind is LoadKind.COIL:
        assert load.inductance_mh is not None
        linear_a = 16 * load.limits.max_on_time_ms / load.inductance_mh.low
        assert linear_a <= load.limits.max_current_a
    else:
        volt = 5 if load.kind in LOGIC else 16
        largest = volt / load.resistance_ohm.low
        assert load.limits.max_current_a >= min(largest, 20)


@entries
def test_the_default_train_keeps_the_limits(load: LoadType) -> None:
    train, limits = load.train, load.limits
    assert train.count <= limits.max_count
    assert train.frequency_hz <= limits.max_frequency_hz
    assert train.on_time_ms <= limits.max_on_time_ms
    assert train.on_time_ms * train.frequency_hz / 1000 <= limits.max_duty
    assert train.period_us > train.on_time_us


@entries
def test_hazards_follow_what_the_load_does(load: LoadType) -> None:
    expected = {
        LoadKind.INJECTOR: {HazardClass.FUEL},
        LoadKind.COIL: {HazardClass.SPARK},
        LoadKind.IGNITER_COIL: {HazardClass.SPARK},
        LoadKind.MOTOR: {HazardClass.MOTION},
    }
    assert load.hazard in expected.get(load.kind, set(HazardClass))
    for word, hazard in (
        ("starter", HazardClass.CRANK),
        ("fan", HazardClass.MOTION),
        ("pump", HazardClass.MOTION),
    ):
        if word in load.name:
            assert load.hazard is hazard
    if "fuel pump" in load.name:
        assert load.fuel_pump


@entries
def test_an_armature_lands_within_a_default_pulse_and_no_coil_is_held(load: LoadType) -> None:
    if load.moves:
        assert load.opening_ms is not None
        assert load.train.on_time_ms > load.opening_ms.high
    if load.hazard in (HazardClass.FUEL, HazardClass.SPARK) and load.kind is not LoadKind.MOTOR:
        assert load.limits.max_hold_ms == 0


def test_lamps_agree_with_themselves() -> None:
    """Cold resistance, hot current and inrush ratio are three ways to say two things: 13.5 V = R I k."""
    for key in ("lamp_21w", "lamp_5w", "lamp_1w2"):
        lamp = CATALOGUE[key]
        assert lamp.resistance_ohm is not None
        assert lamp.steady_current_a is not None
        assert lamp.inrush_ratio is not None
        product = lamp.resistance_ohm.value * lamp.steady_current_a.value * lamp.inrush_ratio.value
        assert product == pytest.approx(13.5, rel=0.05)


def test_limits_stay_within_what_the_wire_can_say() -> None:
    """The bounds of a job's limits are the box's ceilings, so that a job can never ask for more."""

    wire = tomllib.loads(files(loomproof_wire).joinpath("wire.toml").read_text(encoding="utf-8"))["ceilings"]

    bounds = DriveLimits.model_json_schema()["properties"]
    assert bounds["max_on_time_ms"]["maximum"] * 1000 == wire["max_on_time_us"]
    assert bounds["max_hold_ms"]["maximum"] == wire["max_hold_ms"]
    assert bounds["max_duty"]["maximum"] * 1000 == wire["max_duty_permille"]
    assert bounds["max_frequency_hz"]["maximum"] == 1e6 / wire["min_period_us"]
    assert bounds["max_count"]["maximum"] == wire["max_count"]
    assert bounds["max_current_a"]["maximum"] * 1000 == wire["max_current_ma"]
    assert bounds["max_sense_us"]["maximum"] == wire["max_sense_us"]
    assert (
        PeakHold.model_json_schema()["properties"]["chop_period_us"]["minimum"] == wire["min_chop_period_us"]
    )
    assert Train.model_json_schema()["properties"]["on_time_ms"]["minimum"] * 1000 == wire["min_on_time_us"]
