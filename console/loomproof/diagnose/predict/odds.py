"""How much likelier a measured value is with a fault that matters than without one (Bayes factor, natural logarithm)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.predict.part_set import RANGE, UNFORESEEN

Floats = NDArray[np.float64]

WRONG_SHARE = 0.3
"""Of the faults that change a value, those where another part sits there; the rest are joints or lost turns; judgment."""
_NEGLIGIBLE = 1e-6
_TAILS = (0.5, 0.2, 0.06, 0.02, 0.006, 0.002, 5e-4, 1e-4, 1e-5)
"""Chances of sound parts beyond the values at which the odds are first looked at."""
_LOOKED_AT = np.array([*_TAILS, *(1.0 - p for p in _TAILS)])


@dataclass(frozen=True)
class ValueShift:
    """A fault that changes a value by a share between two bounds, flat per logarithm of the share."""

    least: float
    most: float

    def density(self, share: Floats) -> Floats:
        """Density of a share."""
        out = np.divide(
            1.0, share, out=np.zeros_like(share), where=(share >= self.least) & (share <= self.most)
        )
        return out / math.log(self.most / self.least)


@dataclass(frozen=True)
class Predicted:
    """What a sound part would measure in place of this one, and what a faulty one would.

    Attributes:
        grid: values in the unit of the quantity, rising.
        mass: chance of each without a fault; sums to one.
        density: of each without a fault, per unit.
        fault: joints (`adds`), or lost turns.
        stated: the value that shares refer to.
        adds: the fault adds its share of the stated value; otherwise it takes its share of the part's own.
        alone: no sister was measured.
    """

    grid: Floats
    mass: Floats
    density: Floats
    fault: ValueShift
    stated: float
    adds: bool
    alone: bool

    @cached_property
    def _support(self) -> tuple[Floats, Floats]:
        """Where sound parts lie for all that matters to a sum over them."""
        there = self.mass > _NEGLIGIBLE * self.mass.max()
        return self.grid[there], self.mass[there]

    @cached_property
    def _rising(self) -> Floats:
        return np.asarray(np.cumsum(self.mass))

    def log_odds(self, values: Floats) -> Floats:
        """Natural logarithm of the density with a fault over that without, for each value."""
        sound = np.exp(np.interp(values, self.grid, np.log(self.density)))
        grid, mass = self._support
        moved = values[:, None] - grid
        scale = self.stated if self.adds else -grid
        faulty = (self.fault.density(moved / scale) / np.abs(scale)) @ mass
        mixed = (1.0 - WRONG_SHARE) * faulty + WRONG_SHARE / RANGE / values
        outside = (values < self.grid[0]) | (values > self.grid[-1])
        out: Floats = np.log(mixed / np.where(outside, UNFORESEEN / RANGE / values, sound))
        return out

    def at(self, value: float) -> float:
        """The same for one value."""
        return float(self.log_odds(np.array([value]))[0])

    def limits(self, bound: float) -> tuple[float, float]:
        """The values between which the odds stay below a bound, around the likeliest sound one."""
        likely = np.interp(_LOOKED_AT, self._rising, self.grid)
        ends = 0.9 * self.grid[0], 1.1 * self.grid[-1]
        count = len(_TAILS)
        sides = np.array([[*likely[:count], ends[0]], [*likely[count:], ends[1]]])
        brackets = self._brackets(sides, bound)
        fine = self._brackets(np.array([np.linspace(low, high, 5) for low, high, _ in brackets]), bound)
        return fine[0][2], fine[1][2]

    def _brackets(self, sides: Floats, bound: float) -> list[tuple[float, float, float]]:
        """Along each row of values, the two between which the odds pass the bound, and where they do, linearly."""
        odds = self.log_odds(sides.ravel()).reshape(sides.shape)
        return [_bracket(values, own, bound) for values, own in zip(sides, odds, strict=True)]

    def quantile(self, probability: float) -> float:
        """Value that a sound part stays below so often."""
        return float(np.interp(probability, self._rising, self.grid))


def _bracket(values: Floats, odds: Floats, bound: float) -> tuple[float, float, float]:
    beyond = np.flatnonzero(odds > bound)
    if not beyond.size or beyond[0] == 0:
        end = float(values[-1 if not beyond.size else 0])
        return end, end, end
    k = int(beyond[0])
    low, high = float(values[k - 1]), float(values[k])
    part = (bound - float(odds[k - 1])) / (float(odds[k]) - float(odds[k - 1]))
    return low, high, low + (high - low) * part
