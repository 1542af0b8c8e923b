"""Ignition coil primaries: a core that saturates."""

import numpy as np
import pytest

from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.rise.balance import balance_resistance
from loomproof.measure.rise.resistance import resistance_inductance
from loomproof.measure.signature import measure_one
from loomproof.measure.trace.source import look_at_source

COIL = CATALOGUE["coil_bare"]


@pytest.fixture
def coil(maker):
    return maker.circuit(load_ohm=0.5, rest_h=3.5e-3, saturation_a=8.0, wire_ohm=0.1)


def test_volt_seconds_give_the_resistance_whatever_the_core_does(maker, coil):
    """Up to 8 A, well into saturation, where the plain rise is a quarter wrong and more."""
    c = maker.with_(coil, source_ohm=0.02)
    clean = maker.shape(c, 2e-3, 4e-3)
    z = []
    for seed in range(40):
        trace = maker.trace(c, on_s=2e-3, span_s=4e-3, seed=seed, clean=clean)
        got = balance_resistance(trace)
        z.append((got.value - 0.6) / got.u)
        assert got.u < 0.05
    assert np.sqrt(np.mean(np.square(z))) < 1.5
    assert trace.current_a.max() > 7.0
    try:
        plain = resistance_inductance(trace, look_at_source(trace)).resistance_ohm.value
    except ValueError:
        plain = 0.0  # no fit at all
    assert abs(plain / 0.6 - 1) > 0.25


def test_scale_errors_are_covered(maker, coil):
    rng = np.random.default_rng(4)
    clean = maker.shape(coil, 1e-3, 2.6e-3)
    z = []
    for seed in range(60):
        a, b = 1 + 0.003 * rng.standard_normal(2)
        box = maker.with_(coil, fine_gain=a, voltage_gain=b)
        got = balance_resistance(maker.trace(box, on_s=1e-3, span_s=2.6e-3, seed=seed, clean=clean))
        z.append((got.value - 0.6) / got.u)
    assert np.sqrt(np.mean(np.square(z))) < 1.4


def test_inductance_is_the_small_current_one(maker, coil):
    for sat in (6.0, 8.0, 20.0):
        got = measure_one(
            maker.trace(maker.with_(coil, saturation_a=sat), on_s=1e-3, span_s=2.6e-3), COIL
        ).inductance_h
        assert got.value == pytest.approx(3.5e-3, rel=0.015)


def test_time_to_a_stated_current(maker, coil):
    trace = maker.trace(coil, on_s=1e-3, span_s=2.6e-3)
    got = measure_one(trace, COIL)
    fine_t = np.arange(0, 1e-3, 1e-6)
    current, *_ = maker.shape(coil, 1e-3, 1e-3, 1e-6)
    true_s = float(np.interp(got.rise_to_a, current, fine_t[: current.size] + 4e-6))
    assert got.rise_to_a == pytest.approx(0.3 * 8.0)
    assert abs(got.rise_time_s.value - true_s) < 3 * got.rise_time_s.u
    assert got.rise_time_s.u < 6e-6


def test_half_the_inductance_halves_it(maker, coil):
    """A shorted turn shows here long before it shows in the resistance."""
    sound, poor = (
        measure_one(maker.trace(maker.with_(coil, rest_h=h), on_s=1e-3, span_s=2.6e-3), COIL)
        for h in (3.5e-3, 1.75e-3)
    )
    assert poor.rise_time_s.value / sound.rise_time_s.value == pytest.approx(0.5, abs=0.03)
    assert poor.inductance_h.value / sound.inductance_h.value == pytest.approx(0.5, abs=0.03)


def test_without_the_decay_it_says_why_there_is_no_resistance(maker, coil):
    got = measure_one(maker.trace(coil, on_s=1e-3, span_s=1.05e-3), COIL)
    assert got.resistance_ohm is None
    assert any(r.startswith("resistance: the trace") for r in got.refusals)
    assert got.inductance_h.value == pytest.approx(3.5e-3, rel=0.03)  # with the catalogue's resistance
    with pytest.raises(ValueError, match="before the load is at rest"):
        balance_resistance(maker.trace(coil, on_s=1e-3, span_s=1.2e-3))


def test_a_diode_across_it_forbids_the_balance(maker, coil):
    with pytest.raises(ValueError, match="does not pass through the driver"):
        balance_resistance(maker.trace(maker.with_(coil, diode=True), on_s=1e-3, span_s=4e-3))
