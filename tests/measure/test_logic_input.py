"""Logic inputs: a level and a small current, and no more than that is claimed."""

import numpy as np
import pytest

from loomproof.facts.signature import HasMoved
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure_one


def trace(maker, ohm, *, level_v=4.9, seed=0, n=120, on_s=2e-3):
    t = 4e-6 + 26e-6 * np.arange(n)
    on = t < on_s
    clean = np.where(on, level_v / ohm, 0.0), np.full(n, 13.5), np.where(t + 12e-6 < on_s, level_v, 0.0)
    return maker.trace(maker.circuit(), on_s=on_s, span_s=n * 26e-6 + 1e-9, seed=seed, clean=clean)


@pytest.mark.parametrize("key", ["coil_igniter", "logic_input", "tacho_input"])
@pytest.mark.parametrize("ohm", [330.0, 680.0, 1000.0])
def test_input_resistance_from_level_and_current(maker, key, ohm):
    for seed in range(10):
        got = measure_one(trace(maker, ohm, seed=seed), CATALOGUE[key])
        assert abs(got.resistance_ohm.value - ohm) < 3.5 * got.resistance_ohm.u
        assert got.resistance_ohm.relative < 0.12
        assert got.steady_a.value == pytest.approx(4.9 / ohm, abs=4 * got.steady_a.u)
        assert got.drain_on_v.value == pytest.approx(4.9, abs=0.1)
        assert got.drain_off_v.value == pytest.approx(0.0, abs=0.1)
        assert got.moved is HasMoved.CANNOT_TELL
        assert any("whether what is behind it acts is not seen" in r for r in got.refusals)


def test_an_open_input_has_no_resistance(maker):
    got = measure_one(trace(maker, 1e9), CATALOGUE["logic_input"])
    assert got.resistance_ohm is None
    assert abs(got.steady_a.value) < 4 * got.steady_a.u + 1e-4
    assert got.drain_on_v.value == pytest.approx(4.9, abs=0.1)


def test_an_input_held_to_ground_has_no_resistance_but_its_level(maker):
    got = measure_one(trace(maker, 10.0, level_v=0.02), CATALOGUE["logic_input"])
    assert got.resistance_ohm is None
    assert got.drain_on_v.value < 0.1
