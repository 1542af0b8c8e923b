"""Estimates, their pooling and their degrees of freedom."""

import json
import math

import numpy as np
import pytest
from scipy import stats

from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure
from loomproof.measure.statistics import pooled, probability_below, quantile, welch_satterthwaite


@pytest.mark.parametrize("bad", [(math.nan, 1.0), (math.inf, 1.0), (1.0, -0.1), (1.0, math.nan)])
def test_an_estimate_refuses_what_no_measurement_gives(bad):
    with pytest.raises(ValueError):
        Estimate(*bad)


def test_quantiles_and_probabilities_are_students():
    for dof in (1.0, 4.0, 30.0):
        assert quantile(0.975, dof) == pytest.approx(stats.t.ppf(0.975, dof), rel=1e-9)
        assert probability_below(1.3, Estimate(1.0, 0.2, dof)) == pytest.approx(stats.t.cdf(1.5, dof))
    assert quantile(0.975, math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert probability_below(2.0, Estimate(1.0, 0.0)) == 1.0


def test_repeats_shrink_the_random_part_only():
    ones = [Estimate(10.0, math.hypot(0.1, 0.3), math.inf, 0.3) for _ in range(16)]
    got = pooled(ones)
    assert got.value == pytest.approx(10.0)
    assert got.u_random == pytest.approx(0.1 / 4)
    assert got.u_gain == pytest.approx(0.3)


def test_unlike_repeats_are_weighted_by_their_inverse_variances():
    got = pooled([Estimate(10.0, 0.1), Estimate(10.2, 0.2)])
    assert got.value == pytest.approx((10.0 / 0.01 + 10.2 / 0.04) / (1 / 0.01 + 1 / 0.04))
    assert got.u == pytest.approx((1 / 0.01 + 1 / 0.04) ** -0.5)


def test_repeats_that_disagree_are_believed_only_by_their_scatter():
    values = [10.0, 11.0, 9.0, 10.5, 9.5]
    got = pooled([Estimate(v, 0.01) for v in values])
    assert got.u == pytest.approx(np.std(values, ddof=1) / math.sqrt(5))
    assert got.dof == pytest.approx(4.0)


def test_effective_degrees_of_freedom():
    # G.2b by hand: (3^2 + 4^2)^2 / (3^4 / 5 + 4^4 / 10) = 625 / 41.8
    assert welch_satterthwaite([3.0, 4.0], [5.0, 10.0]) == pytest.approx(625 / 41.8)
    assert math.isinf(welch_satterthwaite([3.0, 4.0], [math.inf, math.inf]))


def test_an_unsteady_contact_widens_the_result_of_a_train(maker):
    """Pulses of one train over a joint that changes by 1 ohm between them."""
    circuits = [maker.circuit(load_ohm=14.0 + extra) for extra in (0.0, 1.0, 0.2, 0.9)]
    load = CATALOGUE["stepper_idle"]
    steady = measure(
        [maker.trace(circuits[0], on_s=6e-3, span_s=8e-3, seed=k) for k in range(4)], load
    ).resistance_ohm
    loose = measure([maker.trace(c, on_s=6e-3, span_s=8e-3, seed=k) for k, c in enumerate(circuits)], load)
    assert steady.u_random < 0.01
    assert loose.resistance_ohm.u_random == pytest.approx(np.std([0.0, 1.0, 0.2, 0.9], ddof=1) / 2, rel=0.1)
    assert loose.pulses == 4


def test_a_signature_is_written_as_plain_json(maker):
    got = measure(
        [maker.trace(maker.circuit(stroke_gain=0.15), on_s=8e-3, span_s=9e-3)], CATALOGUE["injector_high"]
    )
    back = json.loads(json.dumps(got.as_dict(), allow_nan=False))
    assert back["moved"] == "yes"
    assert back["resistance_ohm"]["value"] == got.resistance_ohm.value
    assert "inrush_a" not in back


def test_repeats_without_a_random_part_are_pooled():
    same = pooled([Estimate(2.0, 0.1, u_gain=0.1), Estimate(2.0, 0.1, u_gain=0.1)])
    assert (same.value, same.u) == pytest.approx((2.0, 0.1))
    # Two exact values that differ leave only their scatter: the standard deviation of their mean (GUM 4.2.3).
    unlike = pooled([Estimate(1.0, 0.0), Estimate(2.0, 0.0)])
    assert (unlike.value, unlike.u, unlike.dof) == pytest.approx((1.5, 0.5, 1.0))
