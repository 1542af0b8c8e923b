"""How a step ends, also when the box refuses, stops or goes away: an outcome, never a crash."""

from __future__ import annotations

from collections.abc import Callable

from loomproof.box.errors import BoxError, BoxStopped, LinkLost, NoReply, RequestRefused, StopSent
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Verdict
from loomproof.procedure.context import Core
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.safety.approve import NotPermittedError, OverBudgetError
from loomproof.safety.interlocks import Voider
from loomproof_wire import messages


def end_of(error: BoxError, core: Core) -> StepEnd:
    """What an error of the box makes of a step; what it says of stop, link and supply is taken in."""
    if isinstance(error, (LinkLost, NoReply)):
        core.link_lost(str(error))
        return StepEnd.LINK_LOST
    if isinstance(error, (BoxStopped, StopSent)):
        core.stopped_by(str(error))
        return StepEnd.STOPPED
    return _refusal_end(error, core) if isinstance(error, RequestRefused) else StepEnd.REFUSED


def carry_out(core: Core, work: Callable[[], None]) -> tuple[StepEnd, str]:
    """Do `work` to its end or to what interrupts it; how it ended, and why (empty: of itself)."""
    try:
        work()
    except StepInterruptedError as interrupted:
        return interrupted.end, interrupted.reason
    except (NotPermittedError, OverBudgetError) as blocked:
        return StepEnd.BLOCKED, str(blocked)
    except BoxError as error:
        return end_of(error, core), str(error)
    return StepEnd.DONE, ""


def _refusal_end(error: RequestRefused, core: Core) -> StepEnd:
    reason = error.reason
    if reason is messages.Refusal.NO_SESSION:
        core.link_lost(f"the box has started anew, by a loss of power or its watchdog; {error.remedy}")
        return StepEnd.LINK_LOST
    if reason in (messages.Refusal.STOPPED, messages.Refusal.STOP_INPUT_OPEN):
        core.stopped_by(str(error))
        return StepEnd.STOPPED
    if reason is messages.Refusal.SUPPLY_OUT_OF_RANGE:
        core.void(Voider.SUPPLY_LOST)
        return StepEnd.SUPPLY_LOST
    return StepEnd.BLOCKED if reason is messages.Refusal.NOT_ARMED else StepEnd.REFUSED


def outcome_of(step: Step, attempt: int, span_s: tuple[float, float], result: StepResult) -> StepOutcome:
    """The outcome of an attempt, its verdict not yet drawn.

    Args:
        step: the step.
        attempt: its number, from 1.
        span_s: when it began and ended, on the link's clock.
        result: what its runner found.
    """
    return StepOutcome(
        step_id=step.id,
        attempt=attempt,
        kind=step.kind,
        began_s=span_s[0],
        ended_s=span_s[1],
        end=result.end,
        verdict=Verdict.NOT_TESTED,
        channel=step.channel,
        channels=step.channels,
        noticed=result.noticed,
        pull=result.pull,
        skipped_reason=result.skipped_reason,
        note=" ".join(dict.fromkeys(result.notes)),
        problems=tuple(dict.fromkeys(result.problems)),
        drove=tuple(result.drove),
        measured=result.measured,
        evidence=tuple(result.evidence.values()),
        supply_rest_v=result.supply_rest_v,
        supply_loaded_v=result.supply_loaded_v,
        trace_count=len(result.traces),
    )
