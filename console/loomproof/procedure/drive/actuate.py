"""The one way to a pin: approve, mark, arm, drive, collect, disarm, in this order."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from loomproof.box.drive_outcome import DriveOutcome, RawTrace
from loomproof.box.errors import BoxError, LinkLost
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import BridgeRequest, DriveRequest, PeakHoldRequest
from loomproof.facts.kinds import HazardClass
from loomproof.facts.record import EventKind
from loomproof.facts.trace import Trace
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import trace_of
from loomproof.procedure.drive.bridge import chopped
from loomproof.procedure.drive.first_pulse import first_pulses
from loomproof.procedure.drive.rest import owing_rest, wait_for_rest
from loomproof.procedure.events import DriveFinished, DriveStarted, HazardArmed, HazardDisarmed, TraceTaken
from loomproof.safety.approve import approve
from loomproof_wire import messages


def drive(core: Core, request: DriveRequest) -> DriveOutcome:
    """Drive one load, if every interlock and budget allows it.

    Raises:
        NotPermittedError: a statement is missing or would expire during the drive.
        OverBudgetError: the request is over its budget.
        BoxError: the box refused, or is gone.
        StepInterruptedError: everything is stopped, or a pin looks like an initiator.
    """
    core.check()
    wait_for_rest(core, request.channels)
    core.look_at_supply()
    approved = approve(request, core.conditions)
    lead = request.channels[0]
    if first_pulses(core, request.channels):
        core.publish(DriveStarted(lead, request.train))
        core.publish(DriveFinished(lead, 0, messages.EndReason.TRIPPED))
        return DriveOutcome(0, messages.EndReason.TRIPPED)
    core.mark(approved)
    with armed(core, approved), owing_rest(core, request):
        core.publish(DriveStarted(lead, request.train))
        outcome = core.box.drive(approved, lambda raw: core.publish(_taken(core, request, raw)))
    core.publish(DriveFinished(lead, outcome.pulses, outcome.reason))
    return outcome


def trace_of_drive(core: Core, request: DriveRequest, raw: RawTrace) -> Trace:
    """A trace of a drive in amperes and volts, a bridge's as its load saw it."""
    trace = trace_of(raw, core.calibrations[raw.header.channel])
    return chopped(trace, request.level) if isinstance(request, BridgeRequest) else trace


def _taken(core: Core, request: DriveRequest, raw: RawTrace) -> TraceTaken:
    """A trace of a drive, as it can be held against what a sound load draws."""
    until_s = request.chop.peak_us * 1e-6 if isinstance(request, PeakHoldRequest) else None
    return TraceTaken(trace_of_drive(core, request, raw), until_s)


@contextlib.contextmanager
def armed(core: Core, approved: ApprovedDrive[DriveRequest]) -> Iterator[None]:
    """Arm what the box needs for a drive, for the time needed, and disarm it whatever happens."""
    done: list[HazardClass] = []
    try:
        for hazard in approved.hazards:
            core.box.arm(messages.Hazard[hazard.name], approved.arm_s)
            done.append(hazard)
            core.publish(HazardArmed(hazard, approved.arm_s))
            core.note(EventKind.ARMED, f"Armed {hazard} for {approved.arm_s:.1f} s.", hazard=hazard.value)
        yield
    finally:
        for hazard in done:
            _disarm(core, hazard)


def _disarm(core: Core, hazard: HazardClass) -> None:
    try:
        core.box.disarm(messages.Hazard[hazard.name])
    except LinkLost as error:
        core.link_lost(str(error))  # the box's own expiry and heartbeat disarm it
    except BoxError as error:
        core.note(EventKind.NOTE, f"Disarming {hazard} was not acknowledged: {error}", hazard=hazard.value)
    else:
        core.note(EventKind.DISARMED, f"Disarmed {hazard}.", hazard=hazard.value)
    core.publish(HazardDisarmed(hazard))
