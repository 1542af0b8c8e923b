"""How probable a channel's numbers are if another part hangs there than the job names."""

from __future__ import annotations

import math

import numpy as np

from loomproof.diagnose.explain.densities import BROAD, logsumexp, normal
from loomproof.diagnose.explain.inductance import henry_of_type
from loomproof.diagnose.explain.prediction import Prediction, useful
from loomproof.diagnose.explain.steady import steady_at_reference, steady_of_type
from loomproof.job.catalogue import CATALOGUE


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
