"""A load that neither its resting pins nor a sense pulse show: proven by short drives of its own.

The motor of a half-bridge lies between two pins that both float at rest, and a sense pulse would have to switch both.
So its connector is checked by three drives (seen, pulled and not seen, seated and seen again), and its contacts by a
series of drives while the loom is flexed. Every one of them is permitted, armed and within its budget like any drive,
and none begins before the operator has said that it may.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy import ndimage

from loomproof.facts.drive import BridgeRequest
from loomproof.facts.step import StepEnd
from loomproof.facts.trace import Trace
from loomproof.job.model import Job
from loomproof.procedure.context import Core
from loomproof.procedure.drive.actuate import trace_of_drive
from loomproof.procedure.drive.own_drive import own_drive
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.procedure.steps.driving import BRIDGE_REST_S, BRIDGE_SEEN_S, drive_once, measuring_bridge
from loomproof.procedure.steps.statement import ensure_permit
from loomproof.safety.approve import ARM_MARGIN_S
from loomproof_wire import messages

SHORT_MS = round(BRIDGE_SEEN_S * 1000)
FLEXED_PULSES = 20
"""Drives while the loom is flexed."""
SCANS = 6
"""Of all other channels while the connector is off: one that loses its load too is on the same plug."""
LEAST_A = 0.02
SIGMAS = 6.0
"""A current above so many of its standard uncertainties, and above `LEAST_A`, is one."""
FLEXED_REST_S = 0.2
LET_GO_SHARE = 0.3
"""Of the current before and after, that is left while a contact has let go."""
START_S, AROUND_S = 3e-3, 12e-3
"""What belongs to switching on; how much around a moment is looked at: more than twice a dropout that matters."""
LEAST_SAMPLES = 20


def driven_pair(job: Job, channels: tuple[int, ...]) -> BridgeRequest | None:
    """The half-bridge drive of a pair among these channels; None: there is none."""
    for channel in channels:
        if job.channel(channel).partner in channels:
            own = own_drive(job, channel)
            assert isinstance(own, BridgeRequest)
            return own
    return None


def driven_pull(
    core: Core, step: Step, result: StepResult, own: BridgeRequest, look: Callable[[], None]
) -> bool | None:
    """Drive, have the connector pulled, drive, have it seated, drive.

    Args:
        core: the session's context.
        step: the pull check.
        result: takes in what is driven and what goes wrong.
        own: the drive of the pair.
        look: scans the other channels once; called while the connector is off.

    Returns:
        Whether the load went with its connector; None where it was not there to begin with.

    Raises:
        StepInterruptedError: the operator leaves or skips, or a drive is not permitted.
    """
    ask_ready(core, step, result, f"The box drives the load for {SHORT_MS} ms, to see that it is there.")
    if not _seen(core, step, result, own):
        return None
    _hands(core, step, result, PromptKind.PULL, "Pull that connector")
    for _ in range(SCANS):
        look()
    gone = not _seen(core, step, result, own)
    _hands(core, step, result, PromptKind.SEAT, "Seat it again until it locks")
    if not _seen(core, step, result, own):
        names = ", ".join(str(c) for c in own.channels)
        result.problems.append(f"channel {names} has not got its load back")
    return gone


def driven_watch(core: Core, step: Step, result: StepResult, own: BridgeRequest) -> int | None:
    """Drive again and again while the loom is flexed, and count how often the current lets go.

    Args:
        core: the session's context.
        step: the wiggle test; the operator has been asked to flex.
        result: takes in what is driven.
        own: the drive of the pair.

    Returns:
        Dropouts; None where no current was seen at all.
    """
    found, flowed = 0, False
    for _ in range(FLEXED_PULSES):
        trace = _driven(core, step, result, own)
        flowed |= _flows(trace)
        found += _dropouts(trace)
        core.box.sleep(FLEXED_REST_S)
    return found if flowed else None


def ask_ready(core: Core, step: Step, result: StepResult, text: str) -> None:
    """The operator's go-ahead for what is driven.

    Args:
        core: the session's context.
        step: with its cautions.
        result: takes in a skip.
        text: what is about to be driven.

    Raises:
        StepInterruptedError: it is not given.
    """
    answer = core.ask(
        core.prompt(
            PromptKind.READY,
            step.id,
            step.title,
            text,
            choices=(Choice.DRIVE, Choice.SKIP, Choice.LEAVE),
            cautions=step.cautions,
            channel=step.channel,
            location=step.location,
            hazard=step.hazard,
        )
    )
    result.skip_if_asked(answer)


def _hands(core: Core, step: Step, result: StepResult, kind: PromptKind, what: str) -> None:
    """Have the connector pulled or seated; the answer is the go-ahead for the drive that follows."""
    pulling = kind is PromptKind.PULL
    done = Choice.PULLED if pulling else Choice.SEATED
    answer = core.ask(
        core.prompt(
            kind,
            step.id,
            step.title if pulling else step.title.replace("Pull", "Seat", 1),
            f"{what}, let go of it and keep clear; then say so. The box drives the load for {SHORT_MS} ms at once.",
            choices=(done, Choice.SKIP, Choice.LEAVE) if pulling else (done, Choice.LEAVE),
            cautions=step.cautions,
            channel=step.channel,
            channels=step.channels,
            location=step.location,
            hazard=step.hazard,
        )
    )
    result.skip_if_asked(answer)


def _seen(core: Core, step: Step, result: StepResult, own: BridgeRequest) -> bool:
    flows = _flows(_driven(core, step, result, own))
    core.box.sleep(BRIDGE_REST_S)
    return flows


def _driven(core: Core, step: Step, result: StepResult, own: BridgeRequest) -> Trace | None:
    """One short drive; its trace, None where the box brought none.

    Raises:
        StepInterruptedError: it tripped, was stopped, or is not permitted.
    """
    request = measuring_bridge(core, replace(own, duration_ms=min(own.duration_ms, SHORT_MS)))
    ensure_permit(core, step, request.channels, request.duration_s + ARM_MARGIN_S)
    done = drive_once(core, step, request, result)
    if done.reason is messages.EndReason.TRIPPED:
        for channel in request.channels:
            result.learn(channel, tripped=True)
        raise StepInterruptedError(StepEnd.TRIPPED, f"channel {step.channel} tripped on over-current")
    return trace_of_drive(core, request, done.traces[0]) if done.traces else None


def _flows(trace: Trace | None) -> bool:
    if trace is None or not bool(trace.on.any()):
        return False
    current_a = float(np.median(trace.current_a[trace.on]))
    return current_a > max(LEAST_A, SIGMAS * float(np.median(trace.current_u_a[trace.on])))


def _dropouts(trace: Trace | None) -> int:
    """How often the current falls to little of what flows around that moment, and comes back."""
    if trace is None or not _flows(trace):
        return 0
    on = trace.on & (trace.time_s > START_S)
    current_a, noise_a = trace.current_a[on], float(np.median(trace.current_u_a[on]))
    if current_a.size < LEAST_SAMPLES:
        return 0
    around_a = ndimage.median_filter(current_a, size=max(3, round(current_a.size * AROUND_S / BRIDGE_SEEN_S)))
    low = (current_a < LET_GO_SHARE * around_a) & (around_a > SIGMAS * noise_a)
    return int(ndimage.label(low)[1])
