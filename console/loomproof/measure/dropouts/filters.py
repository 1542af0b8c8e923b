"""The filters that look for a watched value falling short, each over its own sigma."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from loomproof.measure.dropouts.law import robust_sigma
from loomproof.measure.trace.crossings import level_for, steepness

Floats = NDArray[np.float64]


BOXES_S = (1e-3, 3e-3, 10e-3)
DECAYS_S = (0.3e-3, 1e-3, 3e-3)
"""A winding's current comes back by its own time constant after a short break."""
_ADAPT_S = 10.0


@dataclass(frozen=True)
class FilterShape:
    """One matched filter: a unit-norm kernel that looks back over `length` samples."""

    name: str
    kernel: Floats

    @property
    def length(self) -> int:
        """Samples it spans."""
        return int(self.kernel.size)

    @property
    def correlation(self) -> float:
        """Of its neighbouring outputs on white noise."""
        return float(self.kernel[1:] @ self.kernel[:-1])


def shapes(sample_hz: float) -> tuple[FilterShape, ...]:
    """One sample, boxes and decays, longest last; those that a slow rate makes alike are left out."""
    found = {1: FilterShape("1 sample", np.ones(1))}
    for tau in DECAYS_S:
        length = round(3.0 * tau * sample_hz)
        if length >= 3:
            kernel = np.exp(-np.arange(length) / (tau * sample_hz))
            found[-length] = FilterShape(f"decay {tau * 1e3:g} ms", kernel / np.linalg.norm(kernel))
    for box in BOXES_S:
        length = round(box * sample_hz)
        if length > 1:
            found[length] = FilterShape(f"{box * 1e3:g} ms", np.full(length, 1.0 / math.sqrt(length)))
    return tuple(sorted(found.values(), key=lambda shape: shape.length))


class Filter:
    """One shape with its own sigma, followed block by block, and the level that goes with it."""

    def __init__(self, shape: FilterShape, learned: Floats, sample_hz: float, least_sigma: float) -> None:
        self.shape = shape
        self._least = max(least_sigma, 1e-12)
        self._hz = sample_hz
        out = np.correlate(learned, shape.kernel, mode="valid")
        # On white noise every unit-norm filter has the sigma of one sample; correlated noise has more.
        self.sigma = max(robust_sigma(out), self._least)
        self.dof = max(learned.size / shape.length - 1.0, 4.0)
        self._most_dof = 2.0 * _ADAPT_S * sample_hz / shape.length

    def run(self, tail: Floats, block: Floats) -> Floats:
        """(n,) outputs over sigma for the n samples of the block; `tail` holds at least length - 1 before."""
        before = self.shape.length - 1
        data = np.concatenate((tail[tail.size - before :], block)) if before else block
        return np.correlate(data, self.shape.kernel, mode="valid") / self.sigma

    def adapt(self, z: Floats) -> None:
        """Lets sigma follow, a wild output bounded."""
        gain = z.size / (_ADAPT_S * self._hz)
        power = float(np.mean(np.minimum(z**2, 9.0))) / 0.9950  # E min(z^2, 9) of a normal z, computed
        self.sigma = max(self.sigma * math.sqrt(1.0 + gain * (power - 1.0)), self._least)
        self.dof = min(self.dof + z.size / self.shape.length, self._most_dof)

    def level(self, normal_level: float) -> float:
        """The level for a sigma known only from so many outputs: Student's t at the same probability."""
        return float(-special.stdtrit(self.dof, float(special.ndtr(-normal_level))))


def normal_level(bank: tuple[FilterShape, ...], sample_hz: float, false_per_10_min: float) -> float:
    """Sigma that all filters together pass that often in ten minutes of white noise."""
    samples = 600.0 * sample_hz
    return level_for(false_per_10_min, [(samples, steepness(shape.correlation)) for shape in bank])
