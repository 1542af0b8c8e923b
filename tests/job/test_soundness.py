"""A load type that makes no sense is told, rule by rule; the paths are relative to it."""

from typing import Any

import pytest

from loomproof.job.catalogue import CATALOGUE, LoadType
from loomproof.job.checks.load_values import largest_current_a, load_flaws, train_flaws
from loomproof.job.load_type import PeakHold, Train
from loomproof.job.quantity import Quantity


def told(key: str, **changes: Any) -> list[tuple[str, str]]:
    load: LoadType = CATALOGUE[key].model_copy(update=changes)
    return [(".".join(map(str, flaw.path)), flaw.reason) for flaw in load_flaws(load)]


def with_limits(key: str, **changes: Any) -> list[tuple[str, str]]:
    return told(key, limits=CATALOGUE[key].limits.model_copy(update=changes))


def ohm(value: float) -> Quantity:
    return Quantity(value=value, tolerance_percent=5, source="a test")


@pytest.mark.parametrize(
    ("key", "moves"), [("relay_plain", False), ("injector_high", False), ("lamp_5w", True)]
)
def test_armatures_belong_to_injectors_relays_and_valves(key: str, moves: bool) -> None:
    kind = CATALOGUE[key].kind
    word = "has no" if moves else "has"
    assert told(key, moves=moves) == [("moves", f"a load of kind {kind} {word} an armature")]


@pytest.mark.parametrize(
    ("key", "hazard", "always"),
    [("injector_high", "none", "fuel"), ("coil_bare", "heat", "spark"), ("coil_igniter", "none", "spark")],
)
def test_fuel_and_spark_cannot_be_talked_away(key: str, hazard: str, always: str) -> None:
    load = LoadType.model_validate(CATALOGUE[key].model_dump() | {"hazard": hazard})
    reasons = [(flaw.path, flaw.reason) for flaw in load_flaws(load)]
    assert reasons == [(("hazard",), f"a load of kind {load.kind} is always a {always} hazard, not {hazard}")]


def test_a_motor_moves() -> None:
    load = LoadType.model_validate(CATALOGUE["motor_fan"].model_dump() | {"hazard": "none"})
    assert [flaw.reason for flaw in load_flaws(load)] == ["a motor moves something"]


def test_only_relays_and_motors_run_pumps() -> None:
    assert told("valve_purge", fuel_pump=True) == [
        ("fuel_pump", "a load of kind valve does not run a fuel pump")
    ]
    assert told("relay_plain", fuel_pump=True) == []


def test_peak_and_hold_is_for_injectors() -> None:
    peak_hold = PeakHold(peak_ms=1, chop_period_us=150, chop_duty=0.2)
    assert told("valve_purge", peak_hold=peak_hold)[0][0] == "peak_hold"
    assert told("injector_high", peak_hold=peak_hold) == []


def test_a_suppression_resistor_has_a_value_and_nothing_else_has() -> None:
    assert told("relay_resistor", suppression_ohm=None) == [
        ("suppression_ohm", "the suppression is a resistor of no stated value")
    ]
    assert told("relay_diode", suppression_ohm=ohm(680)) == [
        ("suppression_ohm", "it means nothing where the suppression is diode")
    ]


@pytest.mark.parametrize("key", ["injector_high", "coil_bare", "coil_igniter", "tacho_input"])
def test_what_may_never_be_held(key: str) -> None:
    assert [path for path, _ in with_limits(key, max_hold_ms=1)] == ["limits.max_hold_ms"]


@pytest.mark.parametrize(
    ("key", "just_us"),
    # By hand: injector 0.5 * 0.2625 A * 10.5 mH / 16 V; coil sqrt(2 * 0.1 mJ * 1 mH) / 16 V.
    [("injector_high", 86), ("coil_bare", 27), ("coil_igniter", 27)],
)
def test_a_sense_pulse_may_be_just_so_long(key: str, just_us: int) -> None:
    assert with_limits(key, max_sense_us=just_us) == []
    assert [path for path, _ in with_limits(key, max_sense_us=just_us + 1)] == ["limits.max_sense_us"]


def test_a_coil_too_resistive_to_saturate_may_stay_on_as_long_as_the_box_lets_it() -> None:
    high_ohm = {"resistance_ohm": ohm(4), "saturation_a": ohm(8)}
    limits = CATALOGUE["coil_bare"].limits.model_copy(update={"max_on_time_ms": 100})
    assert told("coil_bare", **high_ohm, limits=limits) == []


def test_a_wrong_value_is_not_told_again_as_a_wrong_limit() -> None:
    assert told("injector_high", inductance_mh=None) == [
        ("inductance_mh", "a load of kind injector needs it and it is missing")
    ]


def test_the_largest_current_counts_the_suppression_resistor() -> None:
    plain, resistor = (largest_current_a(CATALOGUE[key]) for key in ("relay_plain", "relay_resistor"))
    assert resistor - plain == pytest.approx(16 / (680 * 0.9))


@pytest.mark.parametrize(
    ("train", "paths"),
    [
        (Train(count=200, frequency_hz=50, on_time_ms=1), []),
        (Train(count=201, frequency_hz=50, on_time_ms=1), ["count"]),
        (Train(count=1, frequency_hz=50.1, on_time_ms=0.5), ["frequency_hz"]),
        (Train(count=1, frequency_hz=40, on_time_ms=1.01), ["on_time_ms"]),
    ],
)
def test_a_train_at_and_just_over_its_limits(train: Train, paths: list[str]) -> None:
    limits = CATALOGUE["coil_bare"].limits
    assert [flaw.path[1] for flaw in train_flaws(train, limits)] == paths


def test_overlapping_pulses_are_too_long() -> None:
    (flaw,) = train_flaws(Train(count=1, frequency_hz=10, on_time_ms=100), CATALOGUE["relay_plain"].limits)
    assert flaw.remedy == "write at most 90, or lower frequency_hz"
