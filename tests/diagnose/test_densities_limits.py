"""The densities that likelihoods are made of, against their textbook values."""

import math

import numpy as np
import pytest

from loomproof.diagnose.explain.densities import (
    ADDED,
    BATCHES,
    BROAD,
    LOST_TURNS,
    added_density,
    batch_grid,
    flat,
    logsumexp,
    lost_turns_density,
    normal,
    with_outliers,
)

LOG_PEAK = -0.9189385
"""-ln(2 pi) / 2."""


@pytest.mark.parametrize(
    ("x", "mean", "sigma", "log_density"),
    [
        (0.0, 0.0, 1.0, LOG_PEAK),
        (3.0, 1.0, 1.0, LOG_PEAK - 2.0),
        (1.0, 2.0, 0.5, LOG_PEAK - 2.0 + math.log(2.0)),
    ],
)
def test_the_normal_density(x, mean, sigma, log_density):
    assert float(normal(x, mean, sigma)) == pytest.approx(log_density, abs=1e-6)


def test_the_sum_of_exponentials():
    assert float(logsumexp(np.log([1.0, 2.0, 5.0]))) == pytest.approx(math.log(8.0))
    rows = logsumexp(np.log([[1.0, 2.0], [3.0, 4.0]]), axis=1)
    assert rows == pytest.approx(np.log([3.0, 7.0]))


def test_what_is_known_of_nothing_is_spread_over_six_decades():
    """1 / ln(10^6) = 1 / 13.815511."""
    assert math.exp(-BROAD) == pytest.approx(13.815511, abs=1e-6)


def test_an_outlier_costs_no_more_than_one_in_five_hundred_spread_over_everything():
    assert float(with_outliers(np.asarray(-1e6))) == pytest.approx(math.log(0.002 / 13.815511))
    assert float(with_outliers(np.asarray(LOG_PEAK))) == pytest.approx(
        math.log(0.998 * 0.3989423 + 0.002 / 13.815511), abs=1e-6
    )


def test_a_batch_is_even_within_its_tolerance_and_falls_quickly_outside():
    grid, log_weight = batch_grid(0.2)
    assert len(grid) == BATCHES == 61
    assert (grid[0], grid[30], grid[-1]) == pytest.approx((-0.3, 0.0, 0.3))
    assert np.exp(log_weight).sum() == pytest.approx(1.0)
    inside = np.abs(grid) <= 0.2 + 1e-12
    assert inside.sum() == 41
    assert np.ptp(log_weight[inside]) == pytest.approx(0.0, abs=1e-12)
    # the first beyond is 0.01 out, of a standard deviation of 0.08 * 0.2 = 0.016
    assert log_weight[30] - log_weight[51] == pytest.approx(0.5 * (0.01 / 0.016) ** 2)
    assert log_weight[30] - log_weight[60] == pytest.approx(0.5 * (0.1 / 0.016) ** 2)


@pytest.mark.parametrize(
    ("x", "log_density"),
    [(0.5, 0.0), (0.0, 0.0), (1.0, 0.0), (1.2, -0.5), (-0.4, -2.0)],
)
def test_a_flat_density_falls_off_beyond_its_bounds(x, log_density):
    assert flat(x, 0.0, 1.0) == pytest.approx(log_density)
    assert flat(2.0 * x, 0.0, 2.0) == pytest.approx(-math.log(2.0) + 4.0 * log_density)


def test_a_flat_density_is_no_narrower_than_a_tenth():
    assert flat(0.0, 0.0, 0.01) == pytest.approx(math.log(10.0))
    assert flat(0.0, 0.0, 0.1) == pytest.approx(math.log(10.0))


def test_added_resistance_is_one_of_56_from_20_milliohm_to_100_ohm():
    assert (len(ADDED), ADDED[0], ADDED[-1]) == (56, pytest.approx(0.02), pytest.approx(100.0))
    sigma = 1e-5  # so narrow that a single one is met
    for added in (ADDED[0], ADDED[30]):
        got = added_density(math.log(10.0 + added), np.array([10.0]), sigma)
        assert got[0] == pytest.approx(LOG_PEAK - math.log(sigma) - math.log(56.0), abs=1e-5)
    two = added_density(math.log(10.0 + ADDED[30]), np.array([10.0, 10.0]), sigma)
    assert two.shape == (2,)


def test_lost_turns_are_one_of_24_shares_from_3_percent_to_a_half():
    assert (len(LOST_TURNS), LOST_TURNS[0], LOST_TURNS[-1]) == (24, pytest.approx(0.03), pytest.approx(0.5))
    sigma = 1e-5
    for share in (0.03, 0.5):
        got = lost_turns_density(math.log(10.0 * (1.0 - share)), np.array([10.0]), sigma)
        assert got[0] == pytest.approx(LOG_PEAK - math.log(sigma) - math.log(24.0), abs=1e-5)
