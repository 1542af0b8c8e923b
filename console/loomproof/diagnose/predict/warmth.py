"""How warm the loom is: what the job or the operator says, and what its copper leaves over."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.predict.part_set import RANGE, PartSet
from loomproof.facts.estimate import Estimate
from loomproof.facts.kinds import JobSetting

Floats = NDArray[np.float64]

_FLAT_K = {JobSetting.BENCH: 6.5, JobSetting.CLASSROOM: 6.5, JobSetting.VEHICLE: 20.0}
"""How far loads may well be from the stated ambient. Common practice, no source: a bench has settled, an engine may be
half warm."""
_SHOULDER = 0.5  # standard deviation of what lies beyond, of that; judgment
_POINTS = 61
TYPE_OUTLIER = 0.05  # chance that a whole type is not what the job says; judgment


class LoomWarmth:
    """Temperatures on a grid, with what is known of them before any copper is measured.

    Args:
        ambient_c: as the job says.
        setting: where the loom is.
        stated: the operator's reading, where there is one.
    """

    def __init__(self, ambient_c: float, setting: JobSetting, stated: Estimate | None) -> None:
        if stated is None:
            flat = _FLAT_K[setting]
            off = np.linspace(-2.5 * flat, 2.5 * flat, _POINTS)
            beyond = np.maximum(np.abs(off) - flat, 0.0) / (_SHOULDER * flat)
            self.celsius = ambient_c + off
        else:
            u = max(stated.u, 0.1)
            beyond = np.linspace(-4.0, 4.0, _POINTS)
            self.celsius = stated.value + u * beyond
        weight = np.exp(-0.5 * beyond**2)
        self.prior: Floats = weight / weight.sum()

    def log_factor(self, per_k: float) -> Floats:
        """Logarithm of a resistance over that at 20 degC, at each temperature (IEC 60028 for copper)."""
        return np.asarray(np.log(np.maximum(1.0 + per_k * (self.celsius - 20.0), 0.2)))

    def likelihood(self, parts: PartSet, together: Floats, per_k: float, outlier: float) -> Floats:
        """Likelihood of each temperature by one set, whose own level fills its tolerance.

        Args:
            parts: the set.
            together: log likelihoods over (..., spreads, levels).
            per_k: temperature coefficient of its resistance.
            outlier: chance that the whole type is not what the job says.

        Returns:
            Shape (..., temperatures).
        """
        like = parts.over_levels(together)
        anywhere = like.sum(axis=-1)[..., None] * parts.step / RANGE
        weighted = np.cumsum(like * np.exp(parts.grid), axis=-1) * parts.step
        factor = self.log_factor(per_k)
        low, high = (
            self._at(parts, weighted, factor + math.log1p(sign * max(parts.tolerance, 1e-3)))
            for sign in (-1.0, 1.0)
        )
        inside = np.maximum(high - low, 1e-12 * like.max(axis=-1)[..., None]) / (
            2.0 * max(parts.tolerance, 1e-3) * np.exp(factor)
        )
        out: Floats = (1.0 - outlier) * inside + outlier * anywhere
        return out

    @staticmethod
    def _at(parts: PartSet, rising: Floats, levels: Floats) -> Floats:
        """A function over the grid, linearly between its points."""
        place = np.clip((levels - parts.grid[0]) / parts.step, 0.0, parts.grid.size - 1.001)
        below = place.astype(np.intp)
        part = place - below
        out: Floats = rising[..., below] * (1.0 - part) + rising[..., below + 1] * part
        return out

    def levels(self, parts: PartSet, weight: Floats, per_k: float) -> Floats:
        """Density of a set's level: a flat tolerance at a temperature known so well.

        Args:
            parts: the set.
            weight: of each temperature, by all that is known but this set.
            per_k: temperature coefficient of its resistance.

        Returns:
            Shape (levels,).
        """
        if per_k == 0.0:
            return parts.flat()
        factor = self.log_factor(per_k)
        rising = np.concatenate([[0.0], np.cumsum(weight / np.exp(factor))])
        edges = np.concatenate([[factor[0]], 0.5 * (factor[1:] + factor[:-1]), [factor[-1]]])
        tolerance = max(parts.tolerance, 1e-3)
        below = np.interp(parts.grid - math.log1p(-tolerance), edges, rising)
        above = np.interp(parts.grid - math.log1p(tolerance), edges, rising)
        density = np.exp(parts.grid) * np.maximum(below - above, 0.0)
        out: Floats = density / (density.sum() * parts.step)
        return out
