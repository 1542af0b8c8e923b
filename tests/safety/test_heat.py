"""Heat that adds up over drives, and leaves again."""

import math
from dataclasses import replace

import pytest

from loomproof.facts.approved_drive import Thermal
from loomproof.facts.kinds import LoadKind
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.safety import physics
from loomproof.safety.heat import HeatLedger
from loomproof.safety.load_model import LoadModel

VALVE = LoadModel(LoadKind.VALVE, 14.0, resistance_ohm=6.8, thermal=Thermal(40.0, 8.0, 80.0))


def test_cooling_and_warming_are_the_textbook_exponential():
    """C dT/dt = P - T/R: after one time constant 1/e of a rise is left; P R is approached (heat transfer textbook)."""
    tau = 40.0 * 8.0
    assert physics.cooled_k(50.0, 8.0, 40.0, tau) == pytest.approx(50.0 / math.e)
    assert physics.cooled_k(50.0, 8.0, 40.0, 0.0) == 50.0
    whole = physics.time_to_rise_s(20.0, 8.0, 40.0, 80.0)
    part = physics.time_to_rise_s(20.0, 8.0, 40.0, 30.0)
    assert physics.time_to_rise_s(20.0, 8.0, 40.0, 80.0, 30.0) == pytest.approx(whole - part)
    assert physics.time_to_rise_s(20.0, 8.0, 40.0, 80.0, 80.0) == 0.0
    assert physics.time_to_rise_s(0.0, 8.0, 40.0, 80.0, 10.0) == math.inf


def test_drives_add_up_and_cool_between():
    ledger = HeatLedger().with_drive(3, VALVE, 400.0, begins_s=0.0, duration_s=10.0)
    assert ledger.rise_k(3, VALVE, 10.0) == pytest.approx(10.0)  # 400 J into 40 J/K
    assert ledger.rise_k(3, VALVE, 10.0 + 320.0) == pytest.approx(10.0 / math.e)
    twice = ledger.with_drive(3, VALVE, 400.0, begins_s=10.0, duration_s=0.0)
    assert twice.rise_k(3, VALVE, 10.0) == pytest.approx(20.0)
    assert twice.rise_k(4, VALVE, 10.0) == 0.0
    assert ledger.rise_k(3, VALVE, 10.0) == pytest.approx(10.0), "a ledger never changes"


def test_a_clock_that_goes_backwards_cools_nothing():
    ledger = HeatLedger().with_drive(3, VALVE, 400.0, begins_s=100.0, duration_s=0.0)
    assert ledger.rise_k(3, VALVE, 0.0) == pytest.approx(10.0)


def test_a_load_without_a_thermal_model_keeps_no_heat_and_none_is_taken_away():
    lamp = LoadModel(LoadKind.LAMP, 14.0, resistance_ohm=0.7)
    assert LOAD_TRAITS[LoadKind.LAMP].thermal is None
    assert HeatLedger().with_drive(1, lamp, 500.0, 0.0, 1.0).rise_k(1, lamp, 1.0) == 0.0
    with pytest.raises(ValueError, match="takes no heat away"):
        HeatLedger().with_drive(1, VALVE, -1.0, 0.0, 1.0)


def test_a_warm_load_may_take_less():

    cold = VALVE.pulses_to_rise(0.1, 0.2)
    warm = replace(VALVE, warm_k=60.0).pulses_to_rise(0.1, 0.2)
    assert 0.0 < warm < cold
    assert replace(VALVE, warm_k=80.0).pulses_to_rise(0.1, 0.2) == 0.0
    assert replace(VALVE, warm_k=90.0).heat_left_j == 0.0


def test_no_heat_is_a_drive_too_and_takes_none_away():
    ledger = HeatLedger().with_drive(3, VALVE, 400.0, begins_s=0.0, duration_s=0.0)
    again = ledger.with_drive(3, VALVE, 0.0, begins_s=0.0, duration_s=320.0)
    assert again.rise_k(3, VALVE, 320.0) == pytest.approx(10.0 / math.e)


def test_heat_left_is_what_is_missing_to_the_rise():
    """40 J/K * 80 K; half of it warm."""
    assert VALVE.heat_left_j == pytest.approx(3200.0)
    assert replace(VALVE, warm_k=40.0).heat_left_j == pytest.approx(1600.0)
    assert replace(VALVE, warm_k=79.5).heat_left_j == pytest.approx(20.0)
    assert replace(VALVE, warm_k=80.0).heat_left_j == 0.0


def test_the_smallest_heat_counts():
    ledger = HeatLedger().with_drive(3, VALVE, 0.5, begins_s=0.0, duration_s=0.0)
    assert ledger.rise_k(3, VALVE, 0.0) == pytest.approx(0.0125)  # 0.5 J into 40 J/K
