"""What a step and a whole loom come to, from the verdicts of the channels' properties (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict, channel_verdict
from loomproof.job.model import Job
from loomproof.procedure.evidence_merge import newest
from loomproof.procedure.step import RunSheet, Step
from loomproof.procedure.step_outcome import StepOutcome

_WORST_FIRST = (Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED, Verdict.PASS)
_ABOUT = {StepKind.PULL_CHECK: Property.LOCATION, StepKind.WIGGLE: Property.CONTACT}
"""A step that proves one property of its channels is judged by that: the channels themselves are not proven yet."""
_PROVING = (StepKind.PASSIVE_LOOK, StepKind.PULL_CHECK, StepKind.WIGGLE, StepKind.DRIVE)


def step_verdict(step: Step, outcome: StepOutcome, verdicts: Sequence[PropertyVerdict]) -> Verdict:
    """The verdict of one attempt at a step.

    Args:
        step: the step.
        outcome: of the attempt.
        verdicts: every property of every channel, this attempt taken in.
    """
    if step.kind is StepKind.STATEMENT:
        return Verdict.PASS if outcome.end is StepEnd.DONE else Verdict.NOT_TESTED
    if outcome.end not in (StepEnd.DONE, StepEnd.TRIPPED):
        return Verdict.NOT_TESTED
    if step.kind is StepKind.PASSIVE_LOOK:
        return _looked(verdicts)
    about = _ABOUT.get(step.kind)
    if about is not None:
        own = {v.verdict for v in verdicts if v.channel in step.channels and v.property is about}
        return next((verdict for verdict in _WORST_FIRST if verdict in own), Verdict.NOT_TESTED)
    return _worst(verdicts, step.channels)


def loom_verdict(
    job: Job, sheet: RunSheet, outcomes: Iterable[StepOutcome], verdicts: Sequence[PropertyVerdict]
) -> Verdict:
    """The worst verdict over all fitted channels; a loom passes only with its whole sheet done.

    Args:
        job: the job.
        sheet: its run sheet.
        outcomes: every attempt so far.
        verdicts: the newest verdict of each channel and property.
    """
    worst = _worst(verdicts, (c.channel for c in job.channels if c.fitted))
    if worst is not Verdict.PASS:
        return worst
    done = newest(outcomes)
    ends = [done[s.id].end if s.id in done else None for s in sheet.steps if s.kind in _PROVING]
    return worst if all(end is StepEnd.DONE for end in ends) else Verdict.NOT_TESTED


def _looked(verdicts: Sequence[PropertyVerdict]) -> Verdict:
    """Of the look itself: whether anything was amiss before a load was driven. It proves no channel."""
    found = {v.verdict for v in verdicts}
    return next((v for v in (Verdict.FAIL, Verdict.UNSURE) if v in found), Verdict.PASS)


def _worst(verdicts: Sequence[PropertyVerdict], channels: Iterable[int]) -> Verdict:
    found = {channel_verdict(verdicts, channel) for channel in channels}
    return next((verdict for verdict in _WORST_FIRST if verdict in found), Verdict.NOT_FITTED)
