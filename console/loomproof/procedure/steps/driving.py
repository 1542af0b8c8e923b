"""What the steps that drive share: one drive with its ends, and the traced drive of a half-bridge pair."""

from __future__ import annotations

from dataclasses import replace

from loomproof.box.drive_outcome import DriveOutcome
from loomproof.box.errors import RequestRefused
from loomproof.facts.drive import BridgeRequest, DriveRequest, TraceCapture
from loomproof.facts.step import StepEnd
from loomproof.procedure.context import Core
from loomproof.procedure.drive.actuate import drive
from loomproof.procedure.drive.bridge import decimation
from loomproof.procedure.drive.words import recorded
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.safety.approve import NotPermittedError, OverBudgetError
from loomproof_wire import messages

BRIDGE_SAMPLES = 400
BRIDGE_SEEN_S = 0.06
"""How much of a bridge's drive is traced, from its beginning: a motor's inrush and a good part of its steady run."""
BRIDGE_REST_S = 2.0
"""Between the two directions, so that the motor stands: reversed while it runs, it draws twice its inrush."""
_END: dict[messages.EndReason, StepEnd] = {
    messages.EndReason.CANCELLED: StepEnd.STOPPED,
    messages.EndReason.STOPPED: StepEnd.STOPPED,
    messages.EndReason.DISARMED: StepEnd.BLOCKED,
}


def measuring_bridge(core: Core, own: BridgeRequest) -> BridgeRequest:
    """The pair's own drive within its budgets, its beginning traced."""
    conditions = core.conditions
    budgets = [conditions.budget(channel) for channel in own.channels]
    duration_ms = min([own.duration_ms, *(budget.max_hold_ms for budget in budgets)])
    level_permille = min([own.level_permille, *(budget.max_duty_permille for budget in budgets)])
    samples = min(BRIDGE_SAMPLES, core.box.identity.max_trace_samples)
    every = decimation(
        core.box.identity.sample_period_ns * 1e-9,
        min(duration_ms * 1e-3, BRIDGE_SEEN_S),
        samples,
        level_permille / 1000,
    )
    return replace(
        own,
        duration_ms=duration_ms,
        level_permille=level_permille,
        capture=TraceCapture(every=1, decimation=every, samples=samples),
    )


def drive_once(core: Core, step: Step, request: DriveRequest, result: StepResult) -> DriveOutcome:
    """Drive, and turn everything that can keep it from being driven in full into the step's end.

    Args:
        core: the session's context.
        step: what it is driven for.
        request: what is driven.
        result: takes in what was driven, with its traces.

    Returns:
        How it went.

    Raises:
        StepInterruptedError: it was not permitted, or was ended.
        RequestRefused: the box would not.
    """
    result.drove.append(recorded(request))
    try:
        done = drive(core, request)
    except (NotPermittedError, OverBudgetError) as error:
        result.drove.pop()
        raise StepInterruptedError(StepEnd.BLOCKED, str(error)) from error
    except RequestRefused:
        result.drove.pop()
        raise
    result.traces.extend((raw, "drive") for raw in done.traces)
    if done.reason in _END:
        words = done.reason.name.lower()
        raise StepInterruptedError(_END[done.reason], f"the drive of channel {step.channel} was {words}")
    return done
