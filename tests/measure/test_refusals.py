"""What a trace cannot say is refused with the reason, and never filled with a number."""

import numpy as np
import pytest

from loomproof.facts.signature import HasMoved
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure, measure_one

STEPPER, INJECTOR = CATALOGUE["stepper_idle"], CATALOGUE["injector_high"]


@pytest.fixture
def winding(maker):
    return maker.circuit(load_ohm=40.0, rest_h=30e-3)


def words(signature):
    return " | ".join(signature.refusals)


def test_a_tripped_pulse_measures_nothing(maker, winding):
    got = measure_one(maker.trace(winding, on_s=5e-3, span_s=7e-3, tripped=True), STEPPER)
    assert got.resistance_ohm is None
    assert got.inductance_h is None
    assert got.tripped
    assert "over-current" in words(got)


def test_too_few_samples(maker, winding):
    got = measure_one(maker.trace(winding, on_s=5e-3, span_s=7e-3, period_s=0.8e-3), STEPPER)
    assert got.resistance_ohm is None
    assert "too few samples: 7" in words(got)


def test_beyond_both_ranges(maker):
    got = measure_one(
        maker.trace(maker.circuit(load_ohm=0.3, rest_h=0.3e-3), on_s=5e-3, span_s=7e-3),
        CATALOGUE["coil_bare"],
    )
    assert got.clipped
    assert got.resistance_ohm is None
    assert "beyond the end of both current ranges" in words(got)


def test_samples_too_coarse_for_the_time_constant_give_resistance_only(maker, winding):
    got = measure_one(maker.trace(winding, on_s=8e-3, span_s=10e-3, period_s=0.35e-3), STEPPER)
    assert got.inductance_h is None
    assert "aliased: samples every 350 us" in words(got)
    assert abs(got.resistance_ohm.value - 40.15) < 3 * got.resistance_ohm.u
    fine = measure_one(maker.trace(winding, on_s=8e-3, span_s=10e-3, period_s=0.1e-3), STEPPER)
    assert fine.inductance_h is not None
    assert "aliased" not in words(fine)


def test_a_drain_sample_on_the_edge_itself_spoils_nothing(maker, winding):
    """The switch-off falls on the very instant of a drain sample: 4 + 26 k + 12 us."""
    for late_us in (-1.5, -0.5, 0.0, 0.5, 1.5):
        on_s = (16 + 26 * 190 + late_us) * 1e-6
        got = measure_one(maker.trace(winding, on_s=on_s, span_s=7e-3), STEPPER)
        assert abs(got.driver_ohm.value - 0.1) < 4 * got.driver_ohm.u
        assert abs(got.resistance_ohm.value - 40.15) < 3 * got.resistance_ohm.u


@pytest.mark.parametrize("truncated", [False, True])
def test_a_rise_cut_off_says_what_it_needs(maker, winding, truncated):
    on_s, span_s = (0.9e-3, 2e-3) if not truncated else (20e-3, 0.9e-3)
    got = measure_one(maker.trace(winding, on_s=on_s, span_s=span_s, truncated=truncated), STEPPER)
    assert ("the trace was cut off" if truncated else "the pulse ends") in words(got)
    assert "2 time constants" in words(got)
    if got.resistance_ohm is not None:
        assert got.resistance_ohm.relative < 0.05
        assert abs(got.resistance_ohm.value - 40.15) < 3.5 * got.resistance_ohm.u


def test_no_current_is_said_not_measured(maker):
    open_circuit = (np.zeros(300), np.full(300, 13.5), np.full(300, 0.0))
    got = measure_one(
        maker.trace(maker.circuit(), on_s=5e-3, span_s=300 * 26e-6 + 1e-9, clean=open_circuit), INJECTOR
    )
    assert got.resistance_ohm is None
    assert got.moved is HasMoved.CANNOT_TELL
    assert "no current flows" in words(got)


def test_an_unsettled_moving_load_gets_no_resistance(maker):
    got = measure_one(maker.trace(maker.circuit(), on_s=1.5e-3, span_s=3e-3), INJECTOR)
    assert got.resistance_ohm is None
    assert "has not settled" in words(got)
    assert got.moved is HasMoved.CANNOT_TELL


def test_nothing_to_measure_and_mixed_channels():
    with pytest.raises(ValueError, match="no traces"):
        measure([], INJECTOR)


def test_traces_of_two_channels(maker, winding):
    clean = maker.shape(winding, 4e-3, 5e-3)
    pair = [maker.trace(winding, on_s=4e-3, span_s=5e-3, clean=clean, channel=k) for k in (2, 5)]
    with pytest.raises(ValueError, match=r"different channels: \[2, 5\]"):
        measure(pair, STEPPER)
