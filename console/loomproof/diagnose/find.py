"""From everything seen of a loom to its findings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from loomproof.diagnose.expect import expect
from loomproof.diagnose.features import features_of
from loomproof.diagnose.findings import Finding
from loomproof.diagnose.hypotheses import Hypothesis, candidates, single_faults
from loomproof.diagnose.likelihood import Scorer
from loomproof.diagnose.search import Explained, explain, weigh
from loomproof.diagnose.verdicts import Property, PropertyVerdict, Verdict
from loomproof.diagnose.words import ADVICE, NAMES, TWINS, evidence_for, how_much, place, sentence
from loomproof.job.faults import FaultKind

if TYPE_CHECKING:
    from loomproof.diagnose.evidence import LoomEvidence
    from loomproof.job.model import Job

_TWIN_SHARE = 0.2  # an alternative this probable against the leading one is named beside it
_RIVAL_SHARE = 0.02
_SURPRISE = (
    4.0  # log probability by which the best single fault must beat soundness to make a channel suspect
)


def find(job: Job, evidence: LoomEvidence, verdicts: Sequence[PropertyVerdict]) -> tuple[Finding, ...]:
    """The fewest faults that explain the loom, the most probable first.

    Every channel with a failed property is explained by at least one finding; a channel of which something is only
    unsure gets one where a fault is more probable than none.
    """
    expected = expect(job, evidence)
    fitted = [c.channel for c in job.channels if c.fitted]
    features = {c: features_of(job, evidence, expected, c) for c in fitted}
    scorer = Scorer(job, expected, features)
    wary = {v.channel for v in verdicts if v.verdict in {Verdict.FAIL, Verdict.UNSURE}} & set(fitted)
    wary |= _surprising(job, scorer, set(fitted) - wary)
    pool = candidates(job, features, wary)
    chosen = explain(scorer, pool)
    chosen |= _forced(job, scorer, chosen, verdicts)
    weighed = weigh(scorer, chosen, pool)
    findings = [_finding(job, scorer, item) for item in weighed]
    return tuple(sorted(findings, key=lambda f: -f.likelihood))


def _surprising(job: Job, scorer: Scorer, channels: set[int]) -> set[int]:
    """Channels that pass every limit and yet look much more like one with a fault."""
    nothing = scorer.score(frozenset())
    out = set()
    for channel in channels:
        options = single_faults(channel, job.load_type(channel))
        if max(scorer.score(frozenset({h})) for h in options) > nothing + _SURPRISE:
            out.add(channel)
    return out


def _forced(
    job: Job, scorer: Scorer, chosen: frozenset[Hypothesis], verdicts: Sequence[PropertyVerdict]
) -> frozenset[Hypothesis]:
    """The best fault for each failed channel that nothing chosen touches."""
    explained = {c for h in chosen for c in h.channels}
    weak = any(h.kind is FaultKind.WEAK_SUPPLY for h in chosen)
    extra: set[Hypothesis] = set()
    for verdict in verdicts:
        by_supply = verdict.property is Property.FEED and weak
        if verdict.verdict is not Verdict.FAIL or verdict.channel in explained or by_supply:
            continue
        if verdict.property is Property.FEED:
            extra.add(Hypothesis(FaultKind.WEAK_SUPPLY, ()))
            weak = True
            continue
        options = single_faults(verdict.channel, job.load_type(verdict.channel))
        extra.add(max(options, key=lambda h: scorer.score(chosen | {h})))
        explained.add(verdict.channel)
    return frozenset(extra)


def _finding(job: Job, scorer: Scorer, item: Explained) -> Finding:
    fault, features = item.fault, dict(scorer.features)
    advice = ADVICE[fault.kind]
    rivals = [(h, p) for h, p in item.rivals if h is not None and p > _RIVAL_SHARE]
    twins = tuple(
        dict.fromkeys(
            h.kind
            for h, p in rivals
            if h.kind in TWINS.get(fault.kind, ()) and p > _TWIN_SHARE * item.probability
        )
    )
    amount = how_much(fault, features, scorer.expected)
    sound = next((p for h, p in item.rivals if h is None), 0.0)
    against = [f"{NAMES[h.kind]} instead: {p:.0%}" for h, p in rivals]
    if sound > _RIVAL_SHARE:
        against.append(f"nothing wrong at all: {sound:.0%}")
    first = fault.channels[0] if fault.channels else None
    location = job.location_of(first) if first is not None else None
    feed = job.feed_of(first) if first is not None else None
    rival = next((h.kind for h, _ in rivals if h.kind not in twins), None)
    following = advice.next_measurement
    if rival is not None:
        following += f" (would separate it from {NAMES[rival]})"
    together = item.probability + sum(p for h, p in rivals if h.kind in twins)
    return Finding(
        fault=fault.kind,
        channels=fault.channels,
        cavities=tuple(job.channel(c).cavity for c in fault.channels),
        location=location.name if location is not None else None,
        feed=fault.feed or (feed.id if feed is not None else None),
        likelihood=item.probability,
        evidence_for=evidence_for(fault, features),
        evidence_against=tuple(against),
        remedy=advice.remedy,
        next_measurement=following,
        sentence=sentence(job, fault, amount, twins),
        cannot_tell_from=twins,
        together=min(together, 1.0),
    )


__all__ = ["find", "place"]
