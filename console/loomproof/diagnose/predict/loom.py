"""Everything that is predicted of one loom's numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Conduct, Features
from loomproof.diagnose.predict.inductances import predicted_inductances
from loomproof.diagnose.predict.odds import Predicted
from loomproof.diagnose.predict.resistances import Resistances, WeakFeed
from loomproof.diagnose.predict.steady import predicted_steady
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import LoomEvidence
from loomproof.job.model import Job

_SURELY = 5.0
"""Logarithm of the odds from which a channel is faulty by itself, whatever its feed."""


@dataclass(frozen=True)
class Predictions:
    """By channel, what a sound part would measure there: ohm, H, A; by feed, how likely it is weak."""

    resistance: Mapping[int, Predicted] = field(default_factory=dict)
    inductance: Mapping[int, Predicted] = field(default_factory=dict)
    steady: Mapping[int, Predicted] = field(default_factory=dict)
    feeds: Mapping[str, WeakFeed] = field(default_factory=dict)


def predict(
    job: Job, evidence: LoomEvidence, expected: Expectations, features: Mapping[int, Features]
) -> Predictions:
    """Predictions for every channel that was measured.

    Args:
        job: the loom's.
        evidence: everything seen of it.
        expected: its bands.
        features: of every fitted channel.

    Returns:
        What a sound part would measure in each place.
    """
    flowing = {c: f for c, f in features.items() if f.conduct is Conduct.FLOWS}
    ohms = Resistances(
        job, evidence, {c: f.resistance for c, f in flowing.items() if f.resistance is not None}
    )
    henries = {c: f.inductance for c, f in features.items() if f.inductance is not None}
    steady = {
        c: predicted_steady(f.steady, expected.steady[c])
        for c, f in features.items()
        if f.steady is not None and c in expected.steady
    }
    inductances = predicted_inductances(job, henries)
    by_themselves = {c for c, p in ohms.predicted.items() if p.at(_value(flowing[c].resistance)) > _SURELY}
    by_themselves |= {c for c, p in inductances.items() if p.at(henries[c].value) > _SURELY}
    return Predictions(
        ohms.predicted,
        inductances,
        {c: p for c, p in steady.items() if p is not None},
        {feed.id: weak for feed in job.feeds if (weak := ohms.weak_feed(feed.id, by_themselves)) is not None},
    )


def _value(measured: Estimate | None) -> float:
    assert measured is not None
    return measured.value
