"""The catalogue against the ranges the trade and the standards give."""

import math

import pytest
from scipy.optimize import brentq

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.checks.load_values import dwell_cap_ms, sense_cap_us
from loomproof.job.load_type import LoadType
from loomproof.job.quantity import Quantity
from loomproof.job.wire import COLOURS

RESISTANCE_OHM = {
    "injector_high": (12, 16),
    "injector_low": (2, 3),
    "relay_plain": (75, 120),
    "valve_cam_oil": (6, 10),
    "valve_purge": (18, 26),
    "valve_idle": (4, 12),
    "motor_throttle": (1.2, 1.8),
    "stepper_idle": (27, 53),
}
"""What is found on sound parts at 20 degC: common practice, no source."""


@pytest.mark.parametrize("key", RESISTANCE_OHM)
def test_resistances_cover_what_the_trade_finds(key: str) -> None:
    low, high = RESISTANCE_OHM[key]
    stated = CATALOGUE[key].resistance_ohm
    assert stated is not None
    assert low <= stated.value <= high
    assert stated.low <= low * 1.005
    assert stated.high >= high * 0.995  # a symmetric tolerance in whole percent


def test_bare_coils() -> None:
    """Primary 0.3 to 1.0 ohm, 2 to 8 mH, 6 to 10 A: common practice, no source."""
    coil = CATALOGUE["coil_bare"]
    for value, low, high in (
        (coil.resistance_ohm, 0.3, 1.0),
        (coil.inductance_mh, 2, 8),
        (coil.saturation_a, 6, 10),
    ):
        assert value is not None
        assert low <= value.low
        assert value.high <= high


def test_injectors_open_in_one_to_two_milliseconds() -> None:
    """Common practice, no source."""
    for key in ("injector_high", "injector_low"):
        opening = CATALOGUE[key].opening_ms
        assert opening is not None
        assert 1 <= opening.value <= 2


def test_a_low_resistance_injector_reaches_the_peak_and_hold_of_its_drivers_data_sheet() -> None:
    """LM1949 data sheet: 3.85 A peak, 0.94 A hold, the armature breaks away at 1.3 A."""
    load = CATALOGUE["injector_low"]
    assert load.peak_hold is not None
    assert load.resistance_ohm is not None
    assert load.inductance_mh is not None
    assert load.pull_in_a is not None
    final_a = 13.5 / load.resistance_ohm.value
    tau_ms = load.inductance_mh.value / load.resistance_ohm.value
    peak_a = final_a * -math.expm1(-load.peak_hold.peak_ms / tau_ms)
    assert peak_a == pytest.approx(3.85, rel=0.05)
    assert final_a * load.peak_hold.chop_duty == pytest.approx(0.94, rel=0.2)
    assert load.pull_in_a.value == 1.3


def test_relays_pull_in_by_7_2_volt() -> None:
    """A 12 V relay closes by 7.2 V and stays closed above 1.2 V: common practice, no source."""
    for load in CATALOGUE.values():
        if load.kind == "relay":
            assert load.pull_in_a is not None
            assert load.resistance_ohm is not None
            assert 1.2 < load.pull_in_a.value * load.resistance_ohm.value < 7.2


def test_lamps_by_regulation() -> None:
    """UN Regulation 37 (from memory): the 21 W type takes 26.5 W at 13.5 V; others their nominal power.

    Tungsten cold to hot about 1:10, inrush 8 to 16 times (common practice, no source).
    """
    for key, watt in (("lamp_21w", 26.5), ("lamp_5w", 5.0), ("lamp_1w2", 1.2)):
        lamp = CATALOGUE[key]
        assert lamp.steady_current_a is not None
        assert lamp.inrush_ratio is not None
        assert lamp.steady_current_a.value * 13.5 == pytest.approx(watt, rel=0.02)
        assert 8 <= lamp.inrush_ratio.value <= 16


def a_coil(resistance_ohm: float, inductance_mh: float, target_a: float) -> LoadType:
    def exact(value: float) -> Quantity:
        return Quantity(value=value, tolerance_percent=0, source="textbook")

    return CATALOGUE["coil_bare"].model_copy(
        update={
            "resistance_ohm": exact(resistance_ohm),
            "inductance_mh": exact(inductance_mh),
            "saturation_a": exact(target_a),
        }
    )


def test_dwell_cap_follows_the_rise_of_current() -> None:
    """t = -(L/R) ln(1 - I R / V): 0.5 ohm, 3.5 mH to 7.5 A takes 2.182 ms at 14 V; scipy's root at 16 V."""

    def short_of_target_a(at_ms: float) -> float:
        return 16 / 0.5 * -math.expm1(-at_ms * 0.5 / 3.5) - 7.5

    at_ms = brentq(short_of_target_a, 0.1, 10)
    cap_ms = dwell_cap_ms(a_coil(0.5, 3.5, 7.5))
    assert cap_ms == pytest.approx(0.65 * at_ms, rel=1e-9)
    assert at_ms < 2.182  # a higher supply is sooner there


def test_sense_cap_follows_the_stored_energy() -> None:
    """E = L I^2 / 2 with I = V t / L: 0.1 mJ at 16 V in 1 mH, half of the smallest primary, whatever the job says."""
    cap_us = sense_cap_us(a_coil(0.5, 3.5, 7.5))
    assert cap_us is not None
    current_a = 16 * cap_us * 1e-6 / 1e-3
    assert 1e-3 * current_a**2 / 2 == pytest.approx(0.1e-3, rel=1e-9)


def test_wire_colour_codes() -> None:
    """IEC 60757."""
    assert set(COLOURS) == {
        "BK",
        "BN",
        "RD",
        "OG",
        "YE",
        "GN",
        "BU",
        "VT",
        "GY",
        "WH",
        "PK",
        "TQ",
        "GD",
        "SR",
    }
