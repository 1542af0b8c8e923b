"""How probable a channel's inductance is under a set of faults; see `resistance.py` for the batches."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.explain.densities import (
    BATCHES,
    BROAD,
    batch_grid,
    flat,
    logsumexp,
    normal,
    with_outliers,
)
from loomproof.diagnose.explain.prediction import Prediction, useful
from loomproof.diagnose.faults.definition import FaultyChannel
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import LoadType

Floats = NDArray[np.float64]


OWN_HENRY = 0.04  # spread of parts about their batch, relative; judgment
_BESIDE_HENRY = 0.2  # spread of two windings' common inductance, relative; judgment


def henry_weights(loom: Prediction, channel: int) -> Floats:
    """Log weights of the batch deviations of inductance."""
    henry = loom.job.load_type(channel).inductance_mh
    return batch_grid((henry.tolerance_percent if henry else 50.0) / 100.0)[1]


def henry_density(loom: Prediction, channel: int, under: FaultyChannel) -> Floats:
    """Log density of the inductance, shape (batches,)."""
    measured, due = useful(loom.features[channel].inductance), under.load.inductance_mh
    if measured is None or due is None or under.unknown_type:
        return np.zeros(BATCHES)  # an unknown type is judged together with the resistance
    x, middle = math.log(measured.value), math.log(due.value * 1e-3)
    apart = _apart(x, middle, under)
    if apart is not None:
        return np.full(BATCHES, apart)
    tolerance = due.tolerance_percent / 100.0
    grid, weights = batch_grid(tolerance)
    step = 3.0 * tolerance / (BATCHES - 1) / 2.0
    sigma = math.sqrt(OWN_HENRY**2 + measured.relative**2 + step**2)
    density = with_outliers(normal(x, middle + np.log1p(grid), sigma))
    return density if under.own_batch else np.full(BATCHES, float(logsumexp(density + weights)))


def henry_of_type(measured: Estimate, load: LoadType) -> float:
    """Log density of an inductance if a load of this type has it."""
    if load.inductance_mh is None or measured.value <= 0.0:
        return BROAD
    tolerance = load.inductance_mh.tolerance_percent / 100.0
    sigma = math.sqrt((tolerance / math.sqrt(3.0)) ** 2 + measured.relative**2 + OWN_HENRY**2)
    return float(normal(math.log(measured.value), math.log(load.inductance_mh.value * 1e-3), sigma))


def _apart(x: float, middle: float, under: FaultyChannel) -> float | None:
    """Density of an inductance that is not the load's own."""
    if under.garbled or under.foreign:
        return BROAD
    if under.low:
        return flat(x, middle - math.log(2e5), middle - math.log(40.0))
    if under.beside is not None:
        return _beside(x, middle, under.beside)
    if under.leaky:
        return flat(x, middle - math.log(60.0), middle + 1.0)
    if under.lost_turns:
        return flat(x, middle - math.log(50.0), middle - 0.15)
    return None


def _beside(x: float, middle: float, beside: LoadType) -> float:
    """Two windings side by side; where one has no inductance, or is unlike the other, little is known."""
    anything = math.log(0.4) + flat(x, middle - math.log(2e4), middle + 2.0)
    if beside.inductance_mh is None:
        return anything
    own, other = math.exp(middle), beside.inductance_mh.value * 1e-3
    both = math.log(own * other / (own + other))
    return float(np.logaddexp(anything, math.log(0.6) + float(normal(x, both, _BESIDE_HENRY))))
