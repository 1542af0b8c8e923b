"""The supply behind its resistance, and the driver's own."""

import math

import numpy as np
import pytest

from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure_one
from loomproof.measure.trace.source import look_at_source, rounding_u

LOW = CATALOGUE["injector_low"]


@pytest.mark.parametrize("ohm", [0.02, 0.1, 0.3])
def test_source_resistance_and_open_voltage(maker, ohm):
    c = maker.circuit(load_ohm=2.4, rest_h=2.4e-3, source_ohm=ohm)
    clean = maker.shape(c, 5e-3, 7e-3)
    z = []
    for seed in range(40):
        got = look_at_source(maker.trace(c, on_s=5e-3, span_s=7e-3, seed=seed, clean=clean))
        z.append((got.ohm - ohm) / math.sqrt(got.covariance[1, 1]))
        assert abs(got.emf_v - 13.5) < 0.02
        assert not got.rippled
    # within the stated spread (a supply that sags by a few counts is seen through their rounding)
    assert np.sqrt(np.mean(np.square(z))) < 1.6


def test_what_the_signature_says_of_it(maker):
    c = maker.circuit(load_ohm=2.4, rest_h=2.4e-3, source_ohm=0.3)
    got = measure_one(maker.trace(c, on_s=5e-3, span_s=7e-3), LOW)
    full_a = 13.5 / (2.4 + 0.15 + 0.1 + 0.3)
    assert got.source_ohm.value == pytest.approx(0.3, abs=0.01)
    assert got.supply_v.value == pytest.approx(13.5, abs=0.03)
    assert got.supply_loaded_v.value == pytest.approx(13.5 - 0.3 * full_a, abs=0.05)
    assert got.final_current_a.value == pytest.approx(full_a, rel=0.01)
    assert got.drain_on_v.value == pytest.approx(0.1 * full_a, abs=0.06)


@pytest.mark.parametrize("ohm", [0.05, 0.1, 0.4])
def test_driver_resistance(maker, ohm):
    c = maker.circuit(load_ohm=2.4, rest_h=2.4e-3, driver_ohm=ohm)
    got = measure_one(maker.trace(c, on_s=5e-3, span_s=7e-3), LOW).driver_ohm
    assert abs(got.value - ohm) < 3.5 * got.u
    assert got.u < 0.01


def test_ripple_widens_the_uncertainty_instead_of_hiding_in_it(maker):
    c = maker.circuit(ripple_v=0.5, ripple_hz=350.0)
    errors, stated = [], []
    for phase in (230.0, 290.0, 350.0, 410.0):
        got = look_at_source(maker.trace(maker.with_(c, ripple_hz=phase), on_s=6e-3, span_s=8e-3))
        assert got.rippled
        errors.append(abs(got.ohm - 0.03))
        stated.append(math.sqrt(got.covariance[1, 1]))
    assert max(e / s for e, s in zip(errors, stated, strict=True)) < 3.0


def test_the_mean_of_rounded_samples():
    """Against a direct simulation: the mean error of rounding a noisy value, over its place in the step."""
    for noise in (0.2, 0.35, 0.5):
        places = np.linspace(0, 1, 41)
        rng = np.random.default_rng(1)
        errors = [np.rint(p + rng.normal(0, noise, 100_000)).mean() - p for p in places]
        assert np.std(errors) == pytest.approx(rounding_u(noise), rel=0.15, abs=0.0015)
    assert rounding_u(0.0) <= 1 / math.sqrt(12) + 1e-12


def test_too_few_samples_are_refused(maker):
    with pytest.raises(ValueError, match="too few"):
        look_at_source(maker.trace(maker.circuit(), on_s=1e-3, span_s=60e-6))
