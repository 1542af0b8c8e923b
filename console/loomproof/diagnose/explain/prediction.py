"""What a loom's loads should measure, with the spread of one part about its batch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.expected.temperature import copper_factor
from loomproof.diagnose.explain.densities import BATCHES, USELESS, batch_grid, logsumexp
from loomproof.diagnose.observed.features import Features
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS
from loomproof.job.model import Job

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Prediction:
    """One loom: its job, what is expected of it, what was seen of it."""

    job: Job
    expected: Expectations
    features: Mapping[int, Features]

    def tolerance(self, load: LoadType) -> float:
        """Relative tolerance of a type's resistance, the loom's temperature in it."""
        ohm = direct_ohm(load)
        share = (ohm.tolerance_percent if ohm else 50.0) / 100.0
        if load.kind in LOGIC_KINDS:
            return share
        return math.hypot(share, 1.7 * load.temperature_coefficient_per_k * self.expected.temperature_c.u)

    def ohm_weights(self, channel: int) -> Floats:
        """Log weights of the batch deviations of a channel's type."""
        return batch_grid(self.tolerance(self.job.load_type(channel)))[1]

    def ohm(self, channel: int, load: LoadType) -> Floats:
        """Resistance over the batch grid as measured at the box."""
        ohm = direct_ohm(load)
        grid, _ = batch_grid(self.tolerance(load))
        temperature = self.expected.temperature_c.value
        wire = series_ohm(self.job, channel) * copper_factor(temperature)
        value = ohm.value if ohm else 20.0
        factor = copper_factor(temperature, load.temperature_coefficient_per_k)
        return np.asarray(value * factor * (1.0 + grid) + wire + 0.02)

    def sigma(self, load: LoadType, measured: Estimate) -> float:
        """Relative spread of one measured resistance about its batch."""
        spread = LOAD_TRAITS[load.kind].part_spread
        step = 3.0 * self.tolerance(load) / (BATCHES - 1) / 2.0
        return math.sqrt(spread**2 + measured.relative**2 + step**2)

    def over_batches(self, load: LoadType, density: Floats) -> float:
        """A density summed over the batches of a type."""
        return float(logsumexp(density + batch_grid(self.tolerance(load))[1]))


def useful(measured: Estimate | None) -> Estimate | None:
    """A measured value, unless it says nothing."""
    if measured is None or measured.value <= 0.0 or measured.relative > USELESS:
        return None
    return measured
