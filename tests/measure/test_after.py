"""The clamp, the decay and what lies across the load."""

import math

import pytest

from loomproof.facts.signature import OffShape
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure_one

INJECTOR, STEPPER = CATALOGUE["injector_high"], CATALOGUE["stepper_idle"]


@pytest.mark.parametrize("clamp_v", [30.0, 48.0, 56.0])
def test_clamp_voltage_and_decay_time(maker, clamp_v):
    """Decay to zero against a constant voltage: t = L/R ln(1 + I R/V) (any circuits text)."""
    c = maker.circuit(load_ohm=14.0, wire_ohm=0.0, source_ohm=0.0, clamp_v=clamp_v)
    for seed in range(10):
        got = measure_one(maker.trace(c, on_s=6e-3, span_s=9e-3, seed=seed), STEPPER)
        assert got.off_shape is OffShape.CLAMP
        assert abs(got.clamp_v.value - clamp_v) < 3 * got.clamp_v.u
        assert got.clamp_v.u < 0.01 * clamp_v
        start_a = 13.5 / 14.1 * -math.expm1(-6e-3 * 14.1 / 14e-3)
        expected_s = 14e-3 / 14.0 * math.log1p(start_a * 14.0 / (clamp_v - 13.5))
        assert abs(got.decay_s.value - expected_s) < 3 * got.decay_s.u
        assert got.decay_s.u < 16e-6


def test_a_diode_is_seen_and_no_clamp_claimed(maker):
    got = measure_one(
        maker.trace(maker.circuit(load_ohm=40.0, rest_h=30e-3, diode=True), on_s=5e-3, span_s=10e-3), STEPPER
    )
    assert got.off_shape is OffShape.DIODE
    assert got.clamp_v is None
    # L/R ln(1 + I R / V): the diode's 0.7 V alone drives the current down
    assert got.decay_s.value == pytest.approx(30e-3 / 40 * math.log1p(13.45 / 0.7), rel=0.1)


@pytest.mark.parametrize("ohm", [330.0, 680.0])
def test_a_resistor_is_seen_and_measured_where_the_clamp_stays_out(maker, ohm):
    # I R stays under the 48 V clamp: 13.5 + 0.04 * 680 = 40.7 V
    c = maker.circuit(load_ohm=330.0, rest_h=1.0, suppression_ohm=ohm)
    for seed in range(5):
        got = measure_one(
            maker.trace(c, on_s=15e-3, span_s=25e-3, period_s=42e-6, seed=seed), CATALOGUE["relay_resistor"]
        )
        assert got.off_shape is OffShape.RESISTOR
        assert abs(got.suppression_ohm.value - ohm) < 3 * got.suppression_ohm.u
        assert got.suppression_ohm.relative < 0.1


def test_a_resistor_that_lifts_the_drain_to_the_clamp_is_still_a_resistor(maker):
    c = maker.circuit(load_ohm=90.0, rest_h=0.25, suppression_ohm=680.0)
    got = measure_one(maker.trace(c, on_s=15e-3, span_s=25e-3, period_s=42e-6), CATALOGUE["relay_resistor"])
    assert got.off_shape is OffShape.RESISTOR
    assert got.clamp_v.value == pytest.approx(48.0, abs=0.5)


def test_a_resistance_without_inductance_gives_nothing_back(maker):
    c = maker.circuit(load_ohm=20.0, rest_h=20e-6)
    assert measure_one(maker.trace(c, on_s=5e-3, span_s=7e-3), STEPPER).off_shape is OffShape.NOTHING


def test_a_trace_that_ends_first_cannot_tell(maker):
    got = measure_one(maker.trace(maker.circuit(), on_s=6e-3, span_s=5e-3, truncated=True), STEPPER)
    assert got.off_shape is OffShape.CANNOT_TELL
    assert got.clamp_v is None
    assert any("the trace ends before the pulse does" in r for r in got.refusals)
