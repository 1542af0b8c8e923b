"""Level crossings of normal noise, against scipy's bivariate normal distribution."""

import math

import numpy as np
import pytest
from scipy import stats

from loomproof.measure.trace.crossings import crossings_per_sample, level_for, steepness


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9, -0.5])
@pytest.mark.parametrize("level", [0.0, 1.0, 2.5])
def test_crossing_probability_of_neighbours(rho, level):
    """P(x < u < y) = P(x < u) - P(x < u, y < u), the joint from `scipy.stats.multivariate_normal`."""
    joint = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([level, level])
    expected = stats.norm.cdf(level) - joint
    assert crossings_per_sample(level, steepness(rho)) == pytest.approx(expected, abs=1e-6)


def test_level_for_white_noise_is_the_normal_quantile():
    """Without correlation a crossing needs one sample above (and the one before below)."""
    level = level_for(1.0, [(1e6, steepness(0.0))])
    assert stats.norm.sf(level) * 1e6 == pytest.approx(1.0, rel=1e-3)


def test_counted_crossings_of_a_moving_mean():
    """Drawn: 2 million samples of white noise through a box of 20; count and expectation agree."""
    rng = np.random.default_rng(4)
    box = np.convolve(rng.standard_normal(2_000_000), np.full(20, 1 / math.sqrt(20)), "valid")
    level = 3.0
    counted = np.count_nonzero((box[1:] >= level) & (box[:-1] < level))
    expected = box.size * crossings_per_sample(level, steepness(19 / 20))
    assert abs(counted - expected) < 4 * math.sqrt(expected)
