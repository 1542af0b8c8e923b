"""Densities that the likelihoods are made of; all per natural logarithm, so that faults compare fairly."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


BATCHES = 61
BROAD = -math.log(math.log(1e6))  # a quantity about which nothing is known: flat over six decades
USELESS = 0.5  # relative uncertainty from which a number says nothing
ADDED = np.geomspace(0.02, 100.0, 56)  # ohm
ADDED_LOG_WEIGHT = -math.log(ADDED.size)
LOST_TURNS = np.linspace(0.03, 0.5, 24)
_OUTLIER = 0.002


def logsumexp(values: Floats, axis: int | None = None) -> Floats:
    """Logarithm of the sum of exponentials: numpy's own reduction, a tenth of scipy's cost on small arrays."""
    return np.asarray(np.logaddexp.reduce(values, axis=axis))


def normal(x: Floats | float, mean: Floats | float, sigma: Floats | float) -> Floats:
    """Log density of a normal distribution."""
    z = (np.asarray(x) - mean) / sigma
    return np.asarray(-0.5 * z * z - np.log(sigma) - 0.5 * math.log(2.0 * math.pi))


def with_outliers(log_density: Floats) -> Floats:
    """Now and then a number is far off for reasons that nobody models."""
    return np.asarray(np.logaddexp(math.log1p(-_OUTLIER) + log_density, math.log(_OUTLIER) + BROAD))


@lru_cache(maxsize=256)
def batch_grid(tolerance: float) -> tuple[Floats, Floats]:
    """Relative batch deviations and their log weights: flat within the tolerance, quickly falling outside."""
    grid = np.linspace(-1.5 * tolerance, 1.5 * tolerance, BATCHES)
    beyond = np.maximum(np.abs(grid) - tolerance, 0.0)
    log_weight = -0.5 * (beyond / (0.08 * tolerance)) ** 2
    return grid, np.asarray(log_weight - logsumexp(log_weight))


def added_density(x: float, base: Floats, sigma: float) -> Floats:
    """Summed over the unknown resistance; a joint small against the load's own spread is no fault that can be named."""
    rows = normal(x, np.log(base[:, None] + ADDED[None, :]), sigma)
    return np.asarray(logsumexp(rows, axis=1) + ADDED_LOG_WEIGHT)


def lost_turns_density(x: float, base: Floats, sigma: float) -> Floats:
    """Summed over the unknown share of turns."""
    rows = normal(x, np.log(base[:, None] * (1.0 - LOST_TURNS[None, :])), sigma)
    return np.asarray(logsumexp(rows, axis=1) - math.log(LOST_TURNS.size))


def flat(x: float, low: float, high: float) -> float:
    """Uniform per natural logarithm between two bounds, falling off beyond them."""
    beyond = max(low - x, x - high, 0.0)
    return -math.log(max(high - low, 0.1)) - 0.5 * (beyond / 0.2) ** 2
