"""How a job itself has its loads driven: each load type's own train, half-bridge pairs and steppers (pure)."""

from __future__ import annotations

from loomproof.facts.drive import (
    BridgeRequest,
    Chop,
    DriveRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TrainRequest,
)
from loomproof.facts.kinds import LoadKind
from loomproof.job.load_type import PeakHold
from loomproof.job.model import Job
from loomproof.safety.trains import pulse_train

STEPS_PER_WINDING = 8
STEP_US = 20_000
BRIDGE_MS = 150

Windings = tuple[int, int, int, int]
"""The channels of a stepper's four windings, in the order of their steps."""


def own_drive(job: Job, channel: int) -> DriveRequest:
    """The drive that shows whether a channel's load works: half-bridge pairs as a pair, others by their train."""
    partner = job.channel(channel).partner
    if partner is None:
        return own_train(job, channel, pulse_train(job.load_type(channel).train))
    most = min(job.load_type(c).limits.max_duty for c in (channel, partner))
    return BridgeRequest(
        channel_supply=channel,
        channel_ground=partner,
        duration_ms=BRIDGE_MS,
        level_permille=max(1, round(most * 1000)),
    )


def own_train(job: Job, channel: int, train: PulseTrain) -> TrainRequest | PeakHoldRequest:
    """A train as the load type has it driven: fully on, or peak and hold."""
    own = job.load_type(channel).peak_hold
    if own is None:
        return TrainRequest(channel=channel, train=train)
    return PeakHoldRequest(channel=channel, train=train, chop=own_chop(own))


def own_chop(own: PeakHold) -> Chop:
    """How a load type has its pulses chopped after their peak."""
    return Chop(
        peak_us=round(own.peak_ms * 1e3),
        period_us=own.chop_period_us,
        duty_permille=round(own.chop_duty * 1000),
    )


def own_steps(windings: Windings) -> StepperRequest:
    """The steps that show whether a stepper's windings are in order."""
    return StepperRequest(windings=windings, steps=4 * STEPS_PER_WINDING, step_us=STEP_US)


def stepper_groups(job: Job) -> dict[str, Windings]:
    """Groups of four fitted stepper windings by name; a group of more or fewer cannot be stepped."""
    groups: dict[str, list[int]] = {}
    for entry in job.channels:
        if entry.group and entry.fitted and job.load_type(entry.channel).kind is LoadKind.STEPPER:
            groups.setdefault(entry.group, []).append(entry.channel)
    found: dict[str, Windings] = {}
    for name, channels in groups.items():
        match channels:
            case [first, second, third, fourth]:
                found[name] = (first, second, third, fourth)
            case _:
                pass
    return found
