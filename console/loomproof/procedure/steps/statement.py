"""Statements: asking for them, and making sure that what a drive needs is live."""

from __future__ import annotations

from loomproof.facts.step import StepEnd
from loomproof.procedure.context import Core
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.safety.cautions import statement_cautions
from loomproof.safety.interlocks import Blocked, StatementRefusedError
from loomproof.safety.statements import StatementKind, form_for

TRIES = 3
_DRY_RAIL = (
    "With it injectors get their whole train. Without it each gets no more than a quarter of what would make its cylinder "
    "flammable, were the isolation wrong: mostly one pulse too short to open. Leave it if you have not looked."
)


def run_statement(core: Core, step: Step, result: StepResult) -> None:
    """A statement step: ask, unless it is live already."""
    assert step.statement is not None
    ask_statement(core, step, step.statement)
    result.measured["statement"] = step.statement.value


def ask_statement(core: Core, step: Step, kind: StatementKind, text: str = "") -> None:
    """Put a statement to the operator until it is made in full.

    Args:
        core: the session's context.
        step: the step that needs it.
        kind: what is to be stated.
        text: what it is for; empty: what holds for all.

    Raises:
        StepInterruptedError: the operator does not make it.
    """
    form = form_for(kind, core.job.setting)
    problem = ""
    for _ in range(TRIES):
        answer = core.ask(
            core.prompt(
                PromptKind.STATEMENT,
                step.id,
                form.title,
                text or "Confirm each fact after you have checked it with your own eyes.",
                choices=(Choice.STATE, Choice.SKIP, Choice.LEAVE),
                cautions=statement_cautions(kind, core.job.setting),
                channel=step.channel,
                hazard=step.hazard,
                statement=form,
                problem=problem,
            )
        )
        if answer.choice is Choice.SKIP:
            raise StepInterruptedError(
                StepEnd.BLOCKED, f'"{form.title}" was not stated. {answer.note}'.strip()
            )
        try:
            core.state(kind, answer.facts, answer.typed, answer.who or core.operator.name)
        except StatementRefusedError as error:
            problem = str(error)
        else:
            return
    raise StepInterruptedError(StepEnd.BLOCKED, f'"{form.title}" was not stated: {problem}')


def ensure_harmless(core: Core, step: Step) -> None:
    """Ask for the statement without which no pulse is given on a vehicle, where it is missing.

    Raises:
        StepInterruptedError: it is not made.
    """
    blocked = core.interlocks.blocks_pulses()
    for kind in () if blocked is None else blocked.needs:
        ask_statement(core, step, kind)


def offer_dry_rail(core: Core, step: Step, channels: tuple[int, ...]) -> None:
    """Where the fuel budget shortens a drive: ask once a session whether nothing can press fuel into the injectors.

    Without it the drive goes on within the budget.
    """
    kind = StatementKind.RAIL_DRY
    conditions = core.conditions
    counted = any(budget.model.allowed_ul is not None for budget in conditions.budgets(channels))
    if not counted or kind in core.declined:
        return
    try:
        ask_statement(core, step, kind, _DRY_RAIL)
    except StepInterruptedError as error:
        if error.end is not StepEnd.BLOCKED:
            raise
        core.declined.add(kind)


def ensure_permit(core: Core, step: Step, channels: tuple[int, ...], needed_s: float) -> None:
    """Ask for every statement that is missing, or that would expire within `needed_s`.

    Args:
        core: the session's context.
        step: the step that needs them.
        channels: what it is about to drive.
        needed_s: how long they must still hold.

    Raises:
        StepInterruptedError: one of them is not made.
    """
    for _ in range(2 * len(StatementKind)):
        permit = core.conditions.permit(channels)
        if isinstance(permit, Blocked):
            for kind in permit.needs:
                ask_statement(core, step, kind)
            continue
        now_s = core.box.now_s()
        if permit.until_s - now_s >= needed_s:
            return
        for statement in permit.statements:
            if statement.expires_s - now_s < needed_s:
                ask_statement(core, step, statement.kind)
    raise StepInterruptedError(StepEnd.BLOCKED, "the statements expire faster than they are made")
