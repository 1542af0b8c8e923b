"""One step worked by the runner of its kind; whatever happens, there is a result."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from loomproof.box.errors import BoxError
from loomproof.facts.record import EventKind
from loomproof.facts.step import StepEnd, StepKind
from loomproof.procedure.context import Core
from loomproof.procedure.step import Step
from loomproof.procedure.step_end import end_of
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.procedure.steps.drive import run_drive
from loomproof.procedure.steps.look import run_look
from loomproof.procedure.steps.pull import run_pull
from loomproof.procedure.steps.statement import run_statement
from loomproof.procedure.steps.wiggle import run_wiggle


def _run_summary(core: Core, step: Step, result: StepResult) -> None:
    del core, step, result  # the verdicts are drawn from all outcomes when the step ends


_RUNNERS: Mapping[StepKind, Callable[[Core, Step, StepResult], None]] = {
    StepKind.PASSIVE_LOOK: run_look,
    StepKind.PULL_CHECK: run_pull,
    StepKind.WIGGLE: run_wiggle,
    StepKind.STATEMENT: run_statement,
    StepKind.DRIVE: run_drive,
    StepKind.SUMMARY: _run_summary,
}


def work(core: Core, step: Step) -> StepResult:
    """Work a step to its end or to what interrupts it, and return what it has gathered."""
    result = StepResult()
    try:
        core.check()
        _RUNNERS[step.kind](core, step, result)
    except StepInterruptedError as interrupted:
        result.end = interrupted.end
        result.problems.append(interrupted.reason)
        if interrupted.end is StepEnd.BLOCKED:
            core.note(EventKind.BLOCKED, interrupted.reason, channel=step.channel, step=step.id)
    except BoxError as error:
        result.problems.append(str(error))
        result.end = end_of(error, core)
    return result
