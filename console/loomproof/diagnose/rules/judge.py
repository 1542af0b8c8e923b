"""One verdict per channel and property, each against limits that name their source."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace

from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.observed.extract import features_of
from loomproof.diagnose.observed.pin_at_rest import holds_something
from loomproof.diagnose.predict.loom import predict
from loomproof.diagnose.rules.action import judge_action, judge_contact, judge_location
from loomproof.diagnose.rules.case import ChannelCase
from loomproof.diagnose.rules.electrical import (
    judge_continuity,
    judge_feed,
    judge_inductance,
    judge_inrush,
    judge_resistance,
    judge_suppression,
    loads_its_feed,
)
from loomproof.facts.evidence import LoomEvidence
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job

_RULES: tuple[Callable[[ChannelCase], PropertyVerdict | None], ...] = (
    judge_continuity,
    judge_resistance,
    judge_inductance,
    judge_action,
    judge_suppression,
    judge_inrush,
    judge_feed,
    judge_location,
    judge_contact,
)


def judge(job: Job, evidence: LoomEvidence) -> tuple[PropertyVerdict, ...]:
    """All verdicts of a loom, in channel order; a channel that is not fitted gets `not fitted` only."""
    expected = expect(job, evidence)
    features = {c.channel: features_of(job, evidence, expected, c.channel) for c in job.channels if c.fitted}
    predicted = predict(job, evidence, expected, features)
    verdicts: list[PropertyVerdict] = []
    shorted: set[int] = set()
    for item in sorted(job.channels, key=lambda c: c.channel):
        number = item.channel
        if not item.fitted:
            reason = "the job says that this load is not fitted"
            if holds_something(job, evidence, number):
                reason += ", yet its pin rests where a load holds it: something hangs there"
            verdicts.append(PropertyVerdict(number, Property.CONTINUITY, Verdict.NOT_FITTED, reason=reason))
            continue
        load = job.load_type(number)
        fed = item.feed is not None and load.kind not in LOGIC_KINDS
        weak = predicted.feeds.get(item.feed or "") if fed else None
        case = ChannelCase(number, load, evidence.of(number), features[number], expected, predicted, weak)
        if loads_its_feed(case):
            shorted.add(number)
        for rule in _RULES:
            verdict = rule(case)
            if verdict is not None:
                verdicts.append(verdict)
    return tuple(_loaded(job, verdicts, shorted))


_SEEMING = frozenset({Property.RESISTANCE, Property.INRUSH, Property.FEED})


def _loaded(
    job: Job, verdicts: Sequence[PropertyVerdict], shorted: Collection[int]
) -> Iterator[PropertyVerdict]:
    """Nothing is failed for what a short to ground elsewhere on its feed does to it: the feed sags all the time."""
    feeds = {job.channel(c).feed: c for c in shorted if job.channel(c).feed is not None}
    for v in verdicts:
        by = feeds.get(job.channel(v.channel).feed)
        if by is None or v.channel in shorted or v.verdict is not Verdict.FAIL or v.property not in _SEEMING:
            yield v
            continue
        reason = f"{v.reason}; but channel {by} on its feed has a path to ground and loads the feed: mend that first"
        yield replace(v, verdict=Verdict.UNSURE, reason=reason)
