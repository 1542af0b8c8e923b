"""Parts of one type in one loom: what all others say of one of them.

Parts of a set share a level (the batch's deviation from the job's value, and the loom's temperature), and each has a
little of its own. Everything is a natural logarithm of measured over stated value, so that levels, spreads and
temperatures add. The level is unknown and summed over on a grid; so is the spread of single parts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]

RANGE = math.log(400.0)
"""A part about which nothing is known lies within 1:400, flat per logarithm; judgment."""
_FOREIGN = 0.03  # chance that a sister is no measure for the others; judgment
_FOREIGN_BATCH = 0.002  # chance that a sound part is of another batch than its sisters; judgment
USUAL_TAIL = (0.01, 2.5)
"""Of sound parts that stray further: how often, and how many times as far; judgment."""
UNFORESEEN = 1e-5  # of sound parts that measure anything at all
_USELESS = 0.5  # a measurement blurred by more says nothing either
_LEAST, _MOST = 64, 400  # levels of the grid
_ROOM, _MOST_ROOM = 6.0, 0.5  # of the grid beyond the tolerance, in standard deviations; and in all


@dataclass(frozen=True)
class Spreads:
    """How far single parts stray within their batch: standard deviations, relative, and how often each."""

    sigma: Floats
    weight: Floats


OHM_SPREADS = Spreads(np.array([0.003, 0.006, 0.010, 0.015, 0.022]), np.array([0.2, 0.25, 0.25, 0.2, 0.1]))
"""Common practice, no source."""
FEW_OHM_SPREADS = Spreads(np.array([0.005, 0.013]), np.array([0.5, 0.5]))
"""The same, coarsely."""
HENRY_SPREADS = Spreads(np.array([0.005, 0.010, 0.020, 0.030, 0.050]), np.array([0.2, 0.25, 0.25, 0.2, 0.1]))
"""An air gap of tenths of a millimetre makes inductances stray twice as far; common practice, no source."""


@dataclass(frozen=True)
class Part:
    """One measured part.

    `value` is the logarithm of measured over stated, `sigma` what blurs it: the measurement, wires, joints.
    """

    channel: int
    value: float
    sigma: float


@dataclass(frozen=True)
class PartSet:
    """The measured parts of one type.

    Attributes:
        parts: at least one.
        tolerance: half width of sound levels, relative.
        spreads: of single parts about their level.
        lowest: least logarithm that the common temperature may add.
        highest: the largest.
        tail: how often a value strays further, and how many times as far.
        fineness: step of the grid, in standard deviations. Sums over a normal density are good to 1e-8 at a step of one.
    """

    parts: tuple[Part, ...]
    tolerance: float
    spreads: Spreads
    lowest: float = 0.0
    highest: float = 0.0
    tail: tuple[float, float] = USUAL_TAIL
    fineness: float = 0.6

    @cached_property
    def grid(self) -> Floats:
        """Levels, evenly spaced; wide enough for a part far off its level."""
        finest, widest = float(self.scatter.min()), float(self.scatter.max())
        room = min(_ROOM * widest, _MOST_ROOM)
        low = math.log1p(-self.tolerance) + self.lowest - room
        high = math.log1p(self.tolerance) + self.highest + room
        count = min(max(int((high - low) / (self.fineness * finest)) + 2, _LEAST), _MOST)
        return np.linspace(low, high, count)

    @cached_property
    def step(self) -> float:
        """Of the grid."""
        return float(self.grid[1] - self.grid[0])

    @cached_property
    def scatter(self) -> Floats:
        """Standard deviation of each part about its level under each spread, shape (parts, spreads)."""
        blur = np.array([min(p.sigma, _USELESS) for p in self.parts])
        return np.asarray(np.hypot(blur[:, None], self.spreads.sigma[None, :]))

    def log_likelihoods(self, values: Floats, which: Sequence[int] | None = None) -> Floats:
        """Of each value under every spread and level, a part in so many being no measure at all.

        Args:
            values: of the parts, any number of dimensions before the last.
            which: the parts that they belong to, along the last dimension; None: all.

        Returns:
            Shape (..., parts, spreads, levels).
        """
        sigma = self.scatter if which is None else self.scatter[list(which)]
        off = values[..., None, None] - self.grid
        z = off / np.maximum(sigma, 0.5 * self.step)[..., None]
        peak = (1.0 - _FOREIGN) / (math.sqrt(2.0 * math.pi) * np.maximum(sigma, 0.5 * self.step))
        out: Floats = np.log(peak[..., None] * np.exp(-0.5 * z * z) + _FOREIGN / RANGE)
        return out

    @cached_property
    def each(self) -> Floats:
        """Log likelihoods of the measured parts, shape (parts, spreads, levels)."""
        return self.log_likelihoods(np.array([p.value for p in self.parts]))

    @cached_property
    def together(self) -> Floats:
        """The same of all parts at once, shape (spreads, levels)."""
        out: Floats = self.each.sum(axis=0)
        return out

    def over_levels(self, together: Floats) -> Floats:
        """Likelihood of every level, summed over the spreads; any dimensions before (spreads, levels)."""
        weighted = np.exp(together) * self.spreads.weight[:, None]
        out: Floats = weighted.sum(axis=-2)
        return out

    def flat(self) -> Floats:
        """Density of levels that fill the tolerance evenly (GUM 4.3.7), at no temperature of their own."""
        inside = np.abs(np.expm1(self.grid)) <= max(self.tolerance, self.step)
        density = np.where(inside, np.exp(self.grid), 0.0)
        out: Floats = density / (density.sum() * self.step)
        return out

    def predictions(self, level: Floats) -> Floats:
        """Density of each part's own value, from all others and from what is known of the level.

        Args:
            level: density of the level before the set was measured, over the grid.

        Returns:
            Shape (parts, grid).
        """
        others = self.together[None] - self.each
        weight = np.exp(others - others.max(axis=(1, 2), keepdims=True))
        weight *= self.spreads.weight[:, None] * level
        weight /= weight.sum(axis=(1, 2), keepdims=True)
        alone = self.spreads.weight[:, None] * (level / level.sum())
        mixed = (1.0 - _FOREIGN_BATCH) * weight + _FOREIGN_BATCH * alone
        return (1.0 - UNFORESEEN) * self._blurred(mixed) / self.step + UNFORESEEN / RANGE

    def _blurred(self, mixed: Floats) -> Floats:
        """Each level spread by the part's own deviation, and by its measurement: a product of Fourier transforms."""
        count = mixed.shape[-1]
        size = fft.next_fast_len(2 * count, real=True)
        omega = 2.0 * np.pi * np.fft.rfftfreq(size, self.step)
        square = -0.5 * (omega * self.scatter[:, :, None]) ** 2
        often, times = self.tail
        kernel = (1.0 - often) * np.exp(square) + often * np.exp(times**2 * square)
        waves = (fft.rfft(mixed, size, axis=-1) * kernel).sum(axis=1)
        out: Floats = np.maximum(fft.irfft(waves, size, axis=-1)[:, :count], 0.0)
        return out
