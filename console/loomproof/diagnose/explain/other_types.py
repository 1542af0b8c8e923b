"""How probable a channel's numbers are if another part hangs there than the job names."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from loomproof.diagnose.explain.densities import BATCHES, BROAD, logsumexp, normal, with_outliers
from loomproof.diagnose.explain.inductance import OWN_HENRY, henry_of_type
from loomproof.diagnose.explain.prediction import Prediction, useful
from loomproof.diagnose.explain.steady import steady_at_reference, steady_of_type
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import CATALOGUE, LoadType


def other_types(loom: Prediction, channel: int) -> float:
    """Some other load of the catalogue, or one nobody knows; judged by all numbers together."""
    seen = loom.features[channel]
    measured, henry, steady = (
        useful(seen.resistance),
        useful(seen.inductance),
        steady_at_reference(loom, channel),
    )
    if measured is None and henry is None and steady is None:
        return 0.0
    key = loom.job.load_type(channel).key
    known = (measured is not None) + (henry is not None) + (steady is not None)
    scores = [math.log(0.3) + known * BROAD]
    others = [t for t in {**CATALOGUE, **{t.key: t for t in loom.job.loads}}.values() if t.key != key]
    for other in others:
        score = math.log(0.7 / len(others))
        if measured is not None:
            base, sigma = loom.ohm(channel, other), loom.sigma(other, measured)
            score += loom.over_batches(other, normal(math.log(measured.value), np.log(base), sigma))
        if henry is not None:
            score += henry_of_type(henry, other)
        if steady is not None:
            score += steady_of_type(steady, other)
        scores.append(score)
    return float(logsumexp(np.array(scores)))


def other_set(loom: Prediction, channels: Sequence[int]) -> float:
    """How probable the numbers of a whole set are if all are of one other type, known to the catalogue or not.

    What they have in common counts once: parts of one batch differ by little, whatever type they are.
    """
    own = loom.job.load_type(channels[0])
    others = [t for t in {**CATALOGUE, **{t.key: t for t in loom.job.loads}}.values() if t.key != own.key]
    ohms = [(c, ohm) for c in channels if (ohm := useful(loom.features[c].resistance)) is not None]
    henries = [henry for c in channels if (henry := useful(loom.features[c].inductance)) is not None]
    scores = [
        math.log(share)
        + _alike(loom, own, [ohm for _, ohm in ohms], reach)
        + _henries_alike(henries, own, reach)
        for share, reach in ((_ANOTHER_MAKE, _MAKES), (_UNHEARD_OF, None))
    ]
    for other in others:
        rows = np.zeros(BATCHES)
        for channel, ohm in ohms:
            base, sigma = loom.ohm(channel, other), loom.sigma(other, ohm)
            rows = rows + with_outliers(normal(math.log(ohm.value), np.log(base), sigma))
        score = math.log((1.0 - _ANOTHER_MAKE - _UNHEARD_OF) / len(others)) + loom.over_batches(other, rows)
        scores.append(score + sum(float(np.logaddexp(henry_of_type(h, other), _ODD)) for h in henries))
    steady = [s for c in channels if (s := steady_at_reference(loom, c)) is not None]
    return float(logsumexp(np.array(scores))) + BROAD * bool(steady)


_ODD = math.log(0.01) + BROAD
_ANOTHER_MAKE, _UNHEARD_OF = 0.5, 0.15
_MAKES = math.log(3.0)
"""How far parts for one purpose differ from make to make, in resistance and inductance; judgment."""
_STEP = 0.01


def _alike(loom: Prediction, own: LoadType, seen: Sequence[Estimate], reach: float | None) -> float:
    """Resistances about one unknown middle: within the reach of the load that is due, or anywhere over six decades."""
    sigmas = [loom.sigma(own, ohm) for ohm in seen]
    due = own.resistance_ohm.value if own.resistance_ohm is not None else None
    return _about_one_middle([ohm.value for ohm in seen], sigmas, due, reach)


def _henries_alike(seen: Sequence[Estimate], own: LoadType, reach: float | None) -> float:
    """The same of inductances, in microhenry."""
    sigmas = [math.hypot(OWN_HENRY, henry.relative) for henry in seen]
    due = own.inductance_mh.value * 1e3 if own.inductance_mh is not None else None
    return _about_one_middle([henry.value * 1e6 for henry in seen], sigmas, due, reach)


def _about_one_middle(
    values: Sequence[float], sigmas: Sequence[float], due: float | None, reach: float | None
) -> float:
    if not values:
        return 0.0
    low, high = math.log(0.1), math.log(1e5)
    if due is not None and reach is not None:
        low, high = math.log(due) - reach, math.log(due) + reach
    grid = np.arange(low, high, _STEP)
    rows = np.zeros(grid.size)
    for value, sigma in zip(values, sigmas, strict=True):
        rows = rows + with_outliers(normal(math.log(value), grid, math.hypot(sigma, _STEP)))
    return float(logsumexp(rows)) - math.log(grid.size)
