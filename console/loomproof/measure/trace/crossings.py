"""How often noise alone reaches a level: thresholds follow from wanted false alarms, not the other way round."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from scipy import optimize, special


def steepness(lag_one_correlation: float) -> float:
    """sqrt((1 - rho) / (1 + rho)), the slope argument of Owen's function for neighbours with correlation rho."""
    rho = min(max(lag_one_correlation, -0.999999), 1.0)
    return math.sqrt((1.0 - rho) / (1.0 + rho))


def crossings_per_sample(level: float, steep: float) -> float:
    """Expected up-crossings of `level` per step of a standard normal sequence.

    Neighbours with correlation rho cross with probability 2 T(u, sqrt((1 - rho) / (1 + rho))) (Owen 1956, the
    bivariate normal by his T function). Nothing beyond neighbours enters: the expectation is additive.
    """
    return 2.0 * float(special.owens_t(level, steep))


def level_for(expected: float, sequences: Sequence[tuple[float, float]]) -> float:
    """The level that several standard normal sequences reach `expected` times in all.

    The chance that a sequence ever exceeds it is at most the chance of beginning above it plus the expected
    number of its crossings; over several sequences they add up, however dependent they are.

    Args:
        expected: wanted number of false alarms.
        sequences: (samples, steepness) of each.
    """
    return _level_for(expected, tuple(sequences))


@lru_cache(maxsize=512)
def _level_for(expected: float, sequences: tuple[tuple[float, float], ...]) -> float:
    def excess(level: float) -> float:
        start = float(special.ndtr(-level))
        return sum(start + n * crossings_per_sample(level, a) for n, a in sequences) - expected

    if excess(0.0) <= 0.0:
        return 0.0
    return float(optimize.brentq(excess, 0.0, 15.0, xtol=1e-6))
