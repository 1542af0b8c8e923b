"""From everything seen of a loom to its findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.explain.candidates import candidates, single_faults
from loomproof.diagnose.explain.evidence_words import evidence_against, evidence_for
from loomproof.diagnose.explain.likelihood import Scorer
from loomproof.diagnose.explain.search import Explained, explain, weigh
from loomproof.diagnose.faults.definition import Hypothesis, Scope
from loomproof.diagnose.faults.registry import FAULTS, definition_of, of_scope, separated_by
from loomproof.diagnose.faults.words import sentence
from loomproof.diagnose.observed.extract import features_of
from loomproof.diagnose.observed.features import Features
from loomproof.facts.evidence import LoomEvidence
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.model import Job

_TWIN_SHARE = 0.2  # an alternative this probable against the leading one is named beside it
_RIVAL_SHARE = 0.02
_SURPRISE = 4.0
"""Log probability by which the best single fault must beat soundness to make a channel suspect."""


def find(job: Job, evidence: LoomEvidence, verdicts: Sequence[PropertyVerdict]) -> tuple[Finding, ...]:
    """The fewest faults that explain the loom, the most probable first.

    Every channel with a failed property is explained by at least one finding; a channel of which something
    is only unsure gets one where a fault is more probable than none.
    """
    expected = expect(job, evidence)
    fitted = [c.channel for c in job.channels if c.fitted]
    features = {c: features_of(job, evidence, expected, c) for c in fitted}
    scorer = Scorer(job, expected, features)
    suspects = {v.channel for v in verdicts if v.verdict in {Verdict.FAIL, Verdict.UNSURE}} & set(fitted)
    suspects |= _surprising(job, scorer, set(fitted) - suspects)
    pool = candidates(job, features, suspects)
    chosen = explain(scorer, pool)
    chosen = _without_shadows(job, chosen)
    chosen = frozenset(h for h in chosen if not definition_of(h).adds_ohm or _doubted(h, verdicts))
    chosen |= _forced(job, scorer, chosen, verdicts)
    shadow = _loaded_by_short(job, chosen)
    rivals = [h for h in pool if not _seeming(h, shadow) and _explains(h, verdicts)]
    failed = {v.channel for v in verdicts if v.verdict is Verdict.FAIL}
    weighed = weigh(scorer, chosen, rivals, failed)
    findings = [_finding(job, scorer, _of_likeliest_kin(item)) for item in weighed]
    return tuple(sorted(findings, key=lambda f: -f.likelihood))


def _surprising(job: Job, scorer: Scorer, channels: set[int]) -> set[int]:
    """Channels that pass every limit and yet look much more like one with a fault."""
    nothing = scorer.score(frozenset())
    out = set()
    for channel in channels:
        options = single_faults(job, channel)
        if max(scorer.score(frozenset({h})) for h in options) > nothing + _SURPRISE:
            out.add(channel)
    return out


def _loaded_by_short(job: Job, chosen: frozenset[Hypothesis]) -> set[int]:
    """Channels whose feed carries the current of a short to ground: what they measure is too high."""
    feeds = {job.channel(h.channels[0]).feed for h in chosen if definition_of(h).loads_feed} - {None}
    return {c.channel for c in job.channels if c.feed in feeds}


def _seeming(fault: Hypothesis, shadow: set[int]) -> bool:
    """A fault that a short to ground on the same feed only makes up, by its load's full current in the feed."""
    return definition_of(fault).adds_ohm and set(fault.channels) <= shadow


def _without_shadows(job: Job, chosen: frozenset[Hypothesis]) -> frozenset[Hypothesis]:
    shadow = _loaded_by_short(job, chosen)
    return frozenset(h for h in chosen if not _seeming(h, shadow))


def _doubted(fault: Hypothesis, verdicts: Sequence[PropertyVerdict]) -> bool:
    """Whether anything on the fault's channels is not passed.

    Resistances are judged by what the whole loom says of each part and feed, more sharply than faults are scored here:
    where all of them pass, a resistance too many is no finding.
    """
    return any(v.channel in fault.channels and v.verdict is not Verdict.PASS for v in verdicts)


def _explains(fault: Hypothesis, verdicts: Sequence[PropertyVerdict]) -> bool:
    """Whether a single fault can stand for what failed on its channel; shared ones are left to the evidence."""
    if fault.feed is not None or len(fault.channels) != 1:
        return True
    failed = [v for v in verdicts if v.channel == fault.channels[0] and v.verdict is Verdict.FAIL]
    return not failed or any(_can_mean(fault.kind, v) for v in failed)


def _can_mean(fault: FaultKind, verdict: PropertyVerdict) -> bool:
    """Whether a fault explains a failed property; a resistance that is too low was not added to."""
    too_low = (
        verdict.property is Property.RESISTANCE
        and verdict.measured is not None
        and verdict.low is not None
        and verdict.measured.value < verdict.low
    )
    what = FAULTS[fault]
    return verdict.property in what.explains and not (too_low and what.adds_ohm)


def _forced(
    job: Job, scorer: Scorer, chosen: frozenset[Hypothesis], verdicts: Sequence[PropertyVerdict]
) -> frozenset[Hypothesis]:
    """The best fault for each failed channel, and for a failed supply, that nothing chosen touches."""
    explained = {c for h in chosen for c in h.channels} | _loaded_by_short(job, chosen)
    supply = {p for h in chosen if definition_of(h).scope is Scope.SUPPLY for p in definition_of(h).explains}
    extra: set[Hypothesis] = set()
    for verdict in verdicts:
        failed = verdict.verdict is Verdict.FAIL
        if not failed or verdict.channel in explained or verdict.property in supply:
            continue
        by_supply = [what for what in of_scope(Scope.SUPPLY) if verdict.property in what.explains]
        if by_supply:
            extra.add(Hypothesis(by_supply[0].kind, ()))
            supply |= by_supply[0].explains
            continue
        singles = single_faults(job, verdict.channel)
        options = [h for h in singles if _can_mean(h.kind, verdict)] or singles
        best = max(options, key=lambda h: scorer.score(chosen | {h}))
        extra.add(best)
        explained |= set(best.channels)
    return frozenset(extra)


def _of_likeliest_kin(item: Explained) -> Explained:
    """The same channel's fault whose kin together are the most probable.

    Faults that look the same to this box share the probability of what they have in common; a third one that is less
    probable than all of them together must not lead.
    """
    same = [(item.fault, item.probability)]
    same += [(h, p) for h, p in item.rivals if h is not None and h.channels == item.fault.channels]

    def kin(fault: Hypothesis) -> float:
        kinds = {fault.kind, *definition_of(fault).twins}
        return sum(p for h, p in same if h.kind in kinds)

    fault, probability = max(same, key=lambda pair: (kin(pair[0]), pair[1]))
    if kin(fault) <= kin(item.fault):
        return item
    others = ((item.fault, item.probability), *(r for r in item.rivals if r[0] != fault))
    return Explained(fault, probability, tuple(sorted(others, key=lambda pair: -pair[1])))


def _alike(fault: Hypothesis, features: Mapping[int, Features]) -> tuple[FaultKind, ...]:
    """Kinds of fault that look the same to this box, given what was measured there."""
    what = definition_of(fault)
    unmeasured = fault.channels and features[fault.channels[0]].resistance is None
    return (*what.twins, *what.twins_unmeasured) if unmeasured else what.twins


def _next_measurement(fault: FaultKind, rivals: Sequence[FaultKind]) -> str:
    """What separates the leading two; without a rival of another kind, what settles the fault itself."""
    rival = next((kind for kind in rivals if kind is not fault), None)
    by_itself = FAULTS[fault].advice.next_measurement
    if rival is None:
        return by_itself
    return f"{separated_by(fault, rival) or by_itself} (would separate it from {FAULTS[rival].name})"


def _same(one: Hypothesis, other: Hypothesis) -> bool:
    return (one.kind, one.channels, one.feed) == (other.kind, other.channels, other.feed)


def _finding(job: Job, scorer: Scorer, item: Explained) -> Finding:
    fault, features, what = item.fault, scorer.features, definition_of(item.fault)
    rivals = [(h, p) for h, p in item.rivals if h is not None and p > _RIVAL_SHARE]
    if any(_same(h, fault) and p > _TWIN_SHARE * item.probability for h, p in rivals):
        fault = replace(fault, cavities_on=0)
    alike = _alike(fault, features)
    near = [h.kind for h, p in rivals if h.kind in alike and p > _TWIN_SHARE * item.probability]
    twins = tuple(dict.fromkeys(near))
    sound = next((p for h, p in item.rivals if h is None), 0.0)
    # The same fault of the same channels in another way, such as a connector one cavity on or one back, is the same.
    likelihood = item.probability + sum(p for h, p in rivals if _same(h, fault))
    rivals = [(h, p) for h, p in rivals if not _same(h, fault)]
    against = list(evidence_against(scorer, item.fault))
    against += [f"{definition_of(h).name} instead: {p:.0%}" for h, p in rivals]
    if sound > _RIVAL_SHARE:
        against.append(f"nothing wrong at all: {sound:.0%}")
    first = fault.channels[0] if fault.channels else None
    location = job.location_of(first) if first is not None else None
    feed = job.feed_of(first) if first is not None else None
    together = likelihood + sum(p for h, p in rivals if h.kind in twins)
    return Finding(
        fault=fault.kind,
        channels=fault.channels,
        cavities=tuple(job.channel(c).cavity for c in fault.channels),
        location=location.name if location is not None else None,
        feed=fault.feed or (feed.id if feed is not None else None),
        likelihood=likelihood,
        evidence_for=evidence_for(fault, features),
        evidence_against=tuple(against),
        remedy=what.advice.remedy,
        next_measurement=_next_measurement(fault.kind, [h.kind for h, _ in rivals]),
        sentence=sentence(job, fault, what.amount(fault, features, scorer.expected), twins),
        cannot_tell_from=twins,
        together=min(together, 1.0),
    )
