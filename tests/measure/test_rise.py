"""Resistance and inductance of windings that do not move, from traces made by an independent integration."""

import numpy as np
import pytest

from loomproof.facts.trace import Calibration
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.rise.fit import fit_rise, start_values
from loomproof.measure.rise.resistance import resistance_inductance
from loomproof.measure.signature import measure_one
from loomproof.measure.trace.from_counts import trace_from_counts
from loomproof.measure.trace.source import look_at_source

STEPPER = CATALOGUE["stepper_idle"]


def test_the_start_needs_no_guess_and_takes_a_sagging_supply():
    # closed form: v = V (1 + a t) drives i = particular solution + decay; R 14, L 14 mH
    ohm, henry, emf, a = 14.0, 14e-3, 13.5, -20.0
    tau = henry / ohm
    t = 2e-6 + 10e-6 * np.arange(500)
    drive = emf * (1 + a * t)
    current = emf / ohm * ((1 + a * t) - a * tau - (1 - a * tau) * np.exp(-t / tau))
    got_ohm, got_tau = start_values(t, current, drive, free_start=False)
    assert got_ohm == pytest.approx(ohm, rel=1e-3)
    assert got_tau == pytest.approx(tau, rel=1e-3)
    late = t > 0.4e-3
    begin = t[late][0]
    got_ohm, got_tau = start_values(t[late] - begin, current[late], drive[late], free_start=True)
    assert got_ohm == pytest.approx(ohm, rel=1e-3)
    assert got_tau == pytest.approx(tau, rel=1e-3)


def test_a_current_that_falls_is_no_rise():
    t = 10e-6 * np.arange(1, 100)
    with pytest.raises(ValueError, match="does not rise"):
        start_values(t, np.exp(-t / 1e-4), np.full(t.size, 12.0), free_start=False)


def test_the_fit_finds_an_exact_rise_from_a_poor_guess():
    t = 4e-6 + 26e-6 * np.arange(200)
    current = 0.9 * -np.expm1(-t / 1.1e-3)
    got = fit_rise(t, current, np.full(t.size, 1e-3), origin_s=0.0, tau_s=4e-3)
    assert got.amplitude_a == pytest.approx(0.9, rel=1e-7)
    assert got.tau_s == pytest.approx(1.1e-3, rel=1e-7)
    later = t > 1e-3
    got = fit_rise(
        t[later],
        current[later],
        np.full(later.sum(), 1e-3),
        origin_s=t[later][0],
        tau_s=0.3e-3,
        free_start=True,
    )
    assert got.amplitude_a == pytest.approx(0.9, rel=1e-7)
    assert got.tau_s == pytest.approx(1.1e-3, rel=1e-7)
    assert got.start_a == pytest.approx(current[later][0], rel=1e-7)


def test_a_straight_line_has_no_time_constant():
    t = 4e-6 + 26e-6 * np.arange(200)
    with pytest.raises((ValueError, np.linalg.LinAlgError)):
        fit_rise(t, 100.0 * t, np.full(t.size, 1e-6), origin_s=0.0, tau_s=1e-3)


WINDINGS = [(40.0, 30e-3, 5e-3), (14.0, 14e-3, 6e-3), (2.4, 2.4e-3, 6e-3), (90.0, 0.25, 15e-3)]


@pytest.mark.parametrize(("ohm", "henry", "on_s"), WINDINGS)
def test_resistance_and_inductance_within_their_uncertainty(maker, ohm, henry, on_s):
    """100 boxes, each with its own scale errors: the errors over the stated u scatter by about 1."""
    c = maker.circuit(load_ohm=ohm, rest_h=henry)
    clean = maker.shape(c, on_s, on_s + 1e-3)
    rng = np.random.default_rng(11)
    z_r, z_l = [], []
    for seed in range(100):
        scale_i, scale_v = 1 + 0.003 * rng.standard_normal(2)
        box = maker.with_(c, fine_gain=scale_i, voltage_gain=scale_v)
        got = measure_one(maker.trace(box, on_s=on_s, span_s=on_s + 1e-3, seed=seed, clean=clean), STEPPER)
        z_r.append((got.resistance_ohm.value - (ohm + 0.15)) / got.resistance_ohm.u)
        z_l.append((got.inductance_h.value - henry) / got.inductance_h.u)
    for z in (np.array(z_r), np.array(z_l)):
        assert 0.7 < np.sqrt(np.mean(z**2)) < 1.25  # 4 sigma of the rms of 100 is 0.28
        assert np.abs(z).max() < 4.0


@pytest.mark.parametrize(("ohm", "henry", "on_s"), WINDINGS[:3])
def test_the_random_part_is_what_repeats_scatter_by(maker, ohm, henry, on_s):
    c = maker.circuit(load_ohm=ohm, rest_h=henry)
    clean = maker.shape(c, on_s, on_s + 1e-3)
    found = [
        measure_one(maker.trace(c, on_s=on_s, span_s=on_s + 1e-3, seed=k, clean=clean), STEPPER)
        for k in range(100)
    ]
    for name in ("resistance_ohm", "inductance_h"):
        values = np.array([getattr(s, name).value for s in found])
        stated = float(np.mean([getattr(s, name).u_random for s in found]))
        assert 0.7 < values.std() / stated < 1.3, name
        # the scale part is common to all repeats and does not show in their scatter
        assert getattr(found[0], name).u_gain > 2 * stated


def test_driver_and_source_are_not_the_loads(maker):
    plain = maker.circuit(load_ohm=2.4, rest_h=2.4e-3)
    poor = maker.with_(plain, source_ohm=0.4, driver_ohm=0.35, wire_ohm=0.15)
    for c in (plain, poor):
        got = measure_one(maker.trace(c, on_s=6e-3, span_s=7e-3), STEPPER)
        assert abs(got.resistance_ohm.value - 2.55) < 3 * got.resistance_ohm.u
        assert got.resistance_ohm.u < 0.02
    assert abs(got.driver_ohm.value - 0.35) < 0.005


def test_a_rippled_supply_is_followed(maker):
    c = maker.circuit(load_ohm=14.0, ripple_v=0.6, ripple_hz=400.0)
    got = measure_one(maker.trace(c, on_s=6e-3, span_s=7e-3), STEPPER)
    assert abs(got.resistance_ohm.value - 14.15) < 3 * got.resistance_ohm.u
    assert abs(got.inductance_h.value - 14e-3) < 3 * got.inductance_h.u
    assert got.resistance_ohm.relative < 0.006
    trace = maker.trace(c, on_s=6e-3, span_s=7e-3)
    assert look_at_source(trace).rippled
    assert not look_at_source(maker.trace(maker.with_(c, ripple_v=0.0), on_s=6e-3, span_s=7e-3)).rippled


def test_a_winding_beside_a_resistor_gives_both_in_parallel(maker):
    c = maker.circuit(load_ohm=90.0, rest_h=0.25, suppression_ohm=680.0)
    got = measure_one(maker.trace(c, on_s=35e-3, span_s=40e-3, period_s=78e-6), CATALOGUE["relay_resistor"])
    together = 1 / (1 / 90.0 + 1 / 680.0) + 0.15
    assert abs(got.resistance_ohm.value - together) < 3 * got.resistance_ohm.u
    assert got.resistance_ohm.relative < 0.01


def test_ten_bits_on_one_coarse_range_says_so_in_its_uncertainty(maker):
    """A tenth of the resolution: the uncertainty grows with it, and still covers the error."""
    c = maker.circuit()
    clean = maker.shape(c, 6e-3, 7e-3)
    coarse = Calibration(
        **{
            **{f: getattr(maker.calibration, f) for f in maker.calibration.__slots__},
            "fine_a_per_count": 20 / 1023,
        }
    )
    fine, rough = (
        resistance_inductance(t, look_at_source(t))
        for t in (
            maker.trace(c, on_s=6e-3, span_s=7e-3, clean=clean),
            maker.trace(c, on_s=6e-3, span_s=7e-3, clean=clean, calibration=coarse),
        )
    )
    growth = rough.inductance_h.u_random / fine.inductance_h.u_random
    assert 4.0 < growth < 14.0
    assert abs(rough.inductance_h.value - 14e-3) < 3 * rough.inductance_h.u
    assert abs(rough.resistance_ohm.value - 14.15) < 3 * rough.resistance_ohm.u


def test_resistance_and_inductance_are_correlated_as_they_scatter():
    """From exact exponentials with white noise: the reported correlation is that of the results."""
    scales = Calibration(1e-3, 0.0, 1e-2, 0.0, 1e-3, 1e-3, adc_bits=16, noise_counts=2.0, gain_u_relative=0.0)
    rng = np.random.default_rng(2)
    t = 4e-6 + 26e-6 * np.arange(120)
    pairs, stated = [], []
    for _ in range(200):
        i = 0.9 * -np.expm1(-t / 1e-3)
        trace = trace_from_counts(
            np.rint(i / 1e-3 + rng.normal(0, 2, t.size)),
            np.rint(i / 1e-2 + rng.normal(0, 2, t.size)),
            np.rint(13500 + rng.normal(0, 2, t.size)),
            np.zeros(t.size),
            scales,
            channel=1,
            sample_period_s=26e-6,
            first_sample_s=4e-6,
            supply_skew_s=0.0,
            drain_skew_s=0.0,
            on_time_s=1.0,
        )
        got = resistance_inductance(trace, look_at_source(trace))
        pairs.append((got.resistance_ohm.value, got.inductance_h.value))
        stated.append(got.correlation)
    seen = np.corrcoef(np.array(pairs).T)[0, 1]
    assert seen == pytest.approx(np.mean(stated), abs=0.12)  # about 3 sigma of a correlation of 200
