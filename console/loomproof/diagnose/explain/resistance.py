"""How probable a channel's resistance is under a set of faults.

Parts of one type share a batch deviation within the catalogue's tolerance, each has a little of its own, and a
fault shifts them by an unknown amount that is summed over. Densities come as one value for each batch deviation of
the grid.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.expected.band import WARM_FILAMENT
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.explain.densities import (
    ADDED,
    BATCHES,
    BROAD,
    added_density,
    flat,
    lost_turns_density,
    normal,
    with_outliers,
)
from loomproof.diagnose.explain.other_types import other_types
from loomproof.diagnose.explain.prediction import Prediction, useful
from loomproof.diagnose.faults.definition import FaultyChannel
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import FILAMENT_KINDS, LOGIC_KINDS

Floats = NDArray[np.float64]


_WARM_SHARE = 0.2  # how often a filament is still warm from the look; judgment


def ohm_density(loom: Prediction, channel: int, under: FaultyChannel) -> Floats:
    """Log density of the resistance, shape (batches,)."""
    measured = useful(loom.features[channel].resistance)
    if under.unknown_type:
        return np.full(BATCHES, other_types(loom, channel))
    if measured is None:
        return np.zeros(BATCHES)
    apart = _apart(loom, channel, under, measured)
    if apart is not None:
        return np.full(BATCHES, apart)
    x, load = math.log(measured.value), under.load
    base = loom.ohm(channel, load)
    sigma = loom.sigma(load, measured)
    if under.leaky:
        return _past_the_driver(x, base, sigma, load)
    if under.added and load.kind in LOGIC_KINDS:
        return np.asarray(np.logaddexp(added_density(x, base, sigma), far_added(x, base)) - math.log(2.0))
    if under.added:
        return added_density(x, base, sigma)
    if under.lost_turns:
        return lost_turns_density(x, base, sigma)
    cold = loom.features[channel].cold
    density = with_outliers(normal(x, np.log(base), sigma) if cold else _maybe_warm(load, x, base, sigma))
    if under.foreign:
        density = np.asarray(np.logaddexp(math.log(0.6) + density, math.log(0.4) + BROAD))
    return density if under.own_batch else np.full(BATCHES, loom.over_batches(load, density))


def weak_ohm_density(loom: Prediction, channel: int, under: FaultyChannel) -> Floats:
    """Log density behind a weak feed, shape (feed resistances, batches)."""
    measured = useful(loom.features[channel].resistance)
    hidden = under.garbled or under.low or under.unknown_type or under.beside is not None
    behind = under.load.kind not in LOGIC_KINDS  # an input does not hang on the feed
    if measured is None or hidden or not behind:
        return np.broadcast_to(ohm_density(loom, channel, under), (ADDED.size, BATCHES))
    base = loom.ohm(channel, under.load)
    sigma = loom.sigma(under.load, measured)
    return with_outliers(normal(math.log(measured.value), np.log(base[None, :] + ADDED[:, None]), sigma))


def _apart(loom: Prediction, channel: int, under: FaultyChannel, measured: Estimate) -> float | None:
    """Density where the batch of the channel's own load does not matter."""
    if under.garbled:
        return BROAD
    if under.low:
        base = loom.ohm(channel, under.load)
        return flat(math.log(measured.value), math.log(0.01), math.log(0.3 * float(base.mean())))
    if under.beside is not None:
        both = math.log(0.6) + _parallel(series_ohm(loom.job, channel), under.load, under.beside, measured)
        return float(np.logaddexp(both, math.log(0.4) + BROAD))
    return None


def far_added(x: float, base: Floats) -> Floats:
    """Before an input of hundreds of ohm a joint of as many shows as little more."""
    middle = float(base.mean())
    return np.full(BATCHES, flat(x, math.log(1.05 * middle), math.log(10.0 * middle)))


def _past_the_driver(x: float, base: Floats, sigma: float, load: LoadType) -> Floats:
    """A leak takes some of the load's current past the driver: by the current that is left its resistance seems higher.

    A filament is hot before it is driven; an input has the leak beside it.
    """
    middle = float(base.mean())
    if load.kind in LOGIC_KINDS:
        return np.full(BATCHES, flat(x, math.log(0.3), math.log(middle)))
    if load.kind in FILAMENT_KINDS:
        return np.full(BATCHES, flat(x, math.log(0.9 * middle), math.log(15.0 * middle)))
    own = with_outliers(normal(x, np.log(base), sigma))
    near = np.logaddexp(own, added_density(x, base, sigma)) - math.log(3.0)
    far = flat(x, math.log(middle), math.log(100.0 * middle)) - math.log(3.0)
    return np.asarray(np.logaddexp(near, far))


def _parallel(wire_ohm: float, load: LoadType, beside: LoadType, measured: Estimate) -> float:
    """Both loads in parallel; each within its own tolerance."""
    one, two = direct_ohm(load), direct_ohm(beside)
    if one is None or two is None:
        return BROAD
    a, b = one.value + wire_ohm, two.value + wire_ohm
    both = a * b / (a + b)
    if FILAMENT_KINDS & {load.kind, beside.kind}:
        # A filament heats up beside it: both cold, or anything up to the other one alone and a little beyond.
        x = math.log(measured.value)
        heated = flat(x, math.log(0.8 * both), math.log(1.5 * max(a, b)))
        cold = float(normal(x, math.log(both), math.hypot(0.1, measured.relative)))
        return float(np.logaddexp(heated, cold)) - math.log(2.0)
    shares = math.hypot(one.tolerance_percent * b, two.tolerance_percent * a) / (a + b)
    spread = shares / 100.0 / math.sqrt(3.0)
    sigma = math.hypot(spread + 0.03, measured.relative)
    return float(normal(math.log(measured.value), math.log(both), sigma))


def _maybe_warm(load: LoadType, x: float, base: Floats, sigma: float) -> Floats:
    """A filament may be warm from the look; everything else is at the loom's temperature."""
    cold = normal(x, np.log(base), sigma)
    if load.kind not in FILAMENT_KINDS:
        return cold
    half = 0.5 * math.log(WARM_FILAMENT)
    warm = normal(x, np.log(base) + half, math.hypot(sigma, half))
    return np.asarray(np.logaddexp(math.log(1.0 - _WARM_SHARE) + cold, math.log(_WARM_SHARE) + warm))
