"""How probable the steady current of a lamp or a motor is under a set of faults."""

from __future__ import annotations

import math

from loomproof.diagnose.expected.stated import direct_ohm
from loomproof.diagnose.explain.densities import BROAD, normal, with_outliers
from loomproof.diagnose.explain.prediction import Prediction
from loomproof.diagnose.faults.definition import FaultyChannel
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, REFERENCE_V

_OWN_STEADY = 0.05  # spread of parts about their batch, relative; judgment
_BESIDE_STEADY = 0.15  # how well the common current of two loads is predicted, relative; judgment
_JOINT_STEADY = 0.2  # how well the steady current behind a joint is predicted, relative; judgment


def steady_density(loom: Prediction, channel: int, under: FaultyChannel) -> float:
    """Log density of the steady current of a lamp or a motor."""
    seen, band = loom.features[channel].steady, loom.expected.steady.get(channel)
    if seen is None or band is None or seen.value <= 0.0:
        return 0.0
    if under.unknown_type or under.other_set:
        return 0.0  # judged together with the resistance
    if under.garbled or under.foreign or under.low or under.leaky:
        return BROAD
    sigma = math.hypot((band.high - band.low) / (2.0 * math.sqrt(3.0) * band.middle), seen.relative)
    sigma = math.hypot(sigma, band.doubt / (2.0 * band.middle))
    due = (
        _behind_joint(loom, channel, under.load, band.middle)
        if under.added or under.behind_feed
        else band.middle
    )
    if under.beside is not None:
        due += _taken_beside(under.beside)
        sigma = math.hypot(sigma, _BESIDE_STEADY)
    if under.added or under.behind_feed:
        sigma = math.hypot(sigma, _JOINT_STEADY)
    return float(with_outliers(normal(math.log(seen.value), math.log(due), sigma)))


def steady_at_reference(loom: Prediction, channel: int) -> Estimate | None:
    """Steady current (A) brought to the reference voltage as the channel's own load would bring it."""
    seen, band = loom.features[channel].steady, loom.expected.steady.get(channel)
    due = loom.job.load_type(channel).steady_current_a
    if seen is None or band is None or due is None or seen.value <= 0.0:
        return None
    factor = due.value / band.middle
    return Estimate(seen.value * factor, seen.u * factor)


def steady_of_type(measured: Estimate, load: LoadType) -> float:
    """Log density of a steady current at the reference voltage if a load of this type takes it."""
    due = load.steady_current_a
    if due is None:
        return BROAD
    sigma = math.hypot(due.tolerance_percent / 100.0 / math.sqrt(3.0), measured.relative, _OWN_STEADY)
    return float(normal(math.log(measured.value), math.log(due.value), sigma))


def _behind_joint(loom: Prediction, channel: int, load: LoadType, steady_a: float) -> float:
    """Steady current of a lamp or motor behind what was added to its resistance at rest."""
    measured = loom.features[channel].resistance
    if measured is None:
        return steady_a
    added = max(measured.value - float(loom.ohm(channel, load).mean()), 0.0)
    inrush = LOAD_TRAITS[load.kind].inrush
    power = 1.0 / inrush.steady_exponent if inrush is not None else 1.0
    low, high = 0.0, steady_a
    for _ in range(30):
        middle = 0.5 * (low + high)
        over = middle * added + REFERENCE_V * (middle / steady_a) ** power > REFERENCE_V
        low, high = (low, middle) if over else (middle, high)
    return max(low, 1e-4)


def _taken_beside(load: LoadType) -> float:
    """Current that another load takes at the reference voltage."""
    ohm = direct_ohm(load)
    if load.steady_current_a is not None:
        return load.steady_current_a.value
    return REFERENCE_V / ohm.value if ohm is not None else 0.0
