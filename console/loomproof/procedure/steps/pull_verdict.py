"""What a pull says of the channels it is about, whether it was asked for one by one or made on a walk."""

from __future__ import annotations

from loomproof.facts.evidence import ChannelEvidence, PullOutcome, PullResult
from loomproof.procedure.context import Core
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepResult


def conclude_pull(step: Step, result: StepResult, lost: tuple[int, ...], blind: tuple[int, ...]) -> None:
    """Turn what a pull moved into the evidence of each channel the step is about.

    Args:
        step: the step; its channels share the connector.
        result: takes the evidence in.
        lost: channels whose load went.
        blind: channels of the connector whose load could not be seen to go.
    """
    for channel in step.channels:
        if channel in blind and channel not in lost:
            continue
        pull = PullResult(channel, lost, judge_pull(channel, step.channels, lost))
        result.evidence[channel] = ChannelEvidence(channel, pull=pull)
    pulls = [item.pull for item in result.evidence.values() if item.pull is not None]
    worst = ("several", "other", "none", "matched")
    result.pull = min(pulls, key=lambda pull: worst.index(pull.outcome))
    result.measured["lost"] = list(lost)
    if blind:
        names = ", ".join(str(channel) for channel in blind)
        result.problems.append(f"channel {names} shows no load that could be seen to go")


def judge_pull(channel: int, expected: tuple[int, ...], lost: tuple[int, ...]) -> PullOutcome:
    """What a pull says of one channel: `expected` share the connector, `lost` lost their load."""
    strangers = [c for c in lost if c not in expected]
    if channel in lost:
        return "several" if strangers else "matched"
    if not strangers:
        return "none"
    return "other" if len(strangers) == 1 else "several"


def explain_blind(core: Core, step: Step, result: StepResult, blind: tuple[int, ...]) -> None:
    """No channel of this connector shows a load: nothing can be recognised, so it is not asked for.

    Args:
        core: the session's context.
        step: the step; its channels share the connector.
        result: takes the reason in.
        blind: the channels.
    """
    names = ", ".join(core.job.channel(channel).name for channel in blind)
    reason = (
        f"{names}: at rest the pin does not show its load and no sense pulse is allowed or sees one, so a "
        "pulled connector would look the same. Prove the place by watching the load when it is driven."
    )
    result.notes.append(reason)
    for channel in step.channels:
        result.evidence[channel] = ChannelEvidence(channel, pull=PullResult(channel, (), "skipped"))
    result.pull = PullResult(step.channels[0], (), "skipped")
