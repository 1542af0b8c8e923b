"""What a set of parts predicts of one of them: against closed forms and against drawn sets."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from loomproof.diagnose.predict.odds import Predicted, ValueShift
from loomproof.diagnose.predict.part_set import OHM_SPREADS, Part, PartSet


def set_of(values, *, u=0.003, tolerance=0.2, **more):
    return PartSet(
        tuple(Part(c, float(math.log(v)), u) for c, v in enumerate(values, 1)), tolerance, OHM_SPREADS, **more
    )


def test_a_part_alone_fills_its_tolerance_and_strays_beyond_it():
    """A flat level convolved with a normal deviation is a difference of two normal integrals (truncated normal, textbook).

    In logarithms a flat level has the density exp(z) / (2 t); the integral over it is done here by quadrature.
    """
    parts = set_of([1.0])
    row = parts.predictions(parts.flat())[0]
    scatter = np.hypot(0.003, OHM_SPREADS.sigma)

    def exact(z):
        def integrand(level):
            each = 0.99 * stats.norm.pdf(z, level, scatter) + 0.01 * stats.norm.pdf(z, level, 2.5 * scatter)
            return math.exp(level) / 0.4 * float(OHM_SPREADS.weight @ each)

        low, high = math.log(0.8), math.log(1.2)
        points = [x for x in (z - 0.02, z, z + 0.02) if low < x < high] or None
        return integrate.quad(integrand, low, high, points=points, limit=200)[0]

    for z in (math.log(0.8), 0.0, math.log(1.19), math.log(1.2), math.log(1.23)):
        assert np.interp(z, parts.grid, row) == pytest.approx(exact(z), rel=0.04, abs=1e-3)


@pytest.mark.parametrize("count", [2, 3, 6])
def test_sound_parts_stray_beyond_their_prediction_as_often_as_it_says(count):
    """Sets drawn here from batch and part deviations; each part held against the quantiles that its sisters predict."""
    rng = np.random.default_rng(count)
    below = []
    for _ in range(400):
        spread = rng.choice(OHM_SPREADS.sigma, p=OHM_SPREADS.weight)
        values = (1.0 + rng.uniform(-0.2, 0.2)) * np.exp(rng.normal(0.0, np.hypot(spread, 0.003), count))
        parts = set_of(values)
        rising = np.cumsum(parts.predictions(parts.flat())[0]) * parts.step
        below.append(float(np.interp(math.log(values[0]), parts.grid, rising)))
    for quantile in (0.05, 0.5, 0.95):
        found = float(np.mean(np.array(below) < quantile))
        assert found == pytest.approx(quantile, abs=4.0 * math.sqrt(quantile * (1 - quantile) / 400) + 0.005)


def odds_of(values, channel, *, u=0.003):
    parts = set_of(values, u=u)
    row, grid = parts.predictions(parts.flat())[channel - 1], np.exp(parts.grid)
    predicted = Predicted(
        grid, row / row.sum(), row / grid, ValueShift(0.05, 1.5), 1.0, adds=True, alone=False
    )
    return predicted.at(values[channel - 1])


def test_one_sister_is_worth_most_of_what_many_are():
    assert odds_of([1.15], 1) < 1.0
    assert odds_of([1.15, 1.0], 1) > 2.0
    assert odds_of([1.15, *(6 * [1.0])], 1) > odds_of([1.15, 1.0], 1)
    assert odds_of([1.01, 1.0], 1) < -2.0


def test_one_bad_sister_does_not_accuse_the_sound_ones():
    values = [1.3, 1.0, 1.005, 0.998]
    assert odds_of(values, 1) > 5.0
    assert max(odds_of(values, c) for c in (2, 3, 4)) < 0.0


def test_a_set_that_is_far_out_together_is_no_sound_set():
    assert min(odds_of([1.5, 1.5, 1.5, 1.5], c) for c in range(1, 5)) > 5.0


def test_the_odds_are_those_of_a_joint_or_another_part():
    """By hand: alone in the middle of its tolerance, density 1 / 0.4; with a joint of J the part was at 1 - J.

    0.7 times the integral of dJ / J / ln(1.5 / 0.05) over 5 to 20 %, over 0.4, is 0.7 x 1.019; and 0.3 / ln 400.
    """
    share = math.log(0.2 / 0.05) / math.log(1.5 / 0.05)
    by_hand = math.log((0.7 * share / 0.4 + 0.3 / math.log(400.0)) / (1.0 / 0.4))
    assert odds_of([1.0], 1) == pytest.approx(by_hand, abs=0.05)
