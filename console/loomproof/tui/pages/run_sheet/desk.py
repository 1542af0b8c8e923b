"""From a step of the run sheet and its outcome to what the page shows. Pure."""

from __future__ import annotations

from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Verdict
from loomproof.procedure.drive.words import announced
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.timing import busy_s
from loomproof.tui.desk.channels import measured_text
from loomproof.tui.desk.prompts import caution_views
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.words import StepState

_ENDS = {
    StepEnd.SKIPPED: StepState.SKIPPED,
    StepEnd.BLOCKED: StepState.BLOCKED,
    StepEnd.REFUSED: StepState.REFUSED,
    StepEnd.TRIPPED: StepState.TRIPPED,
}


def outcome_state(outcome: StepOutcome | None) -> StepState | Verdict:
    """Return how a step stands: its verdict where it has one, else how it ended."""
    if outcome is None:
        return StepState.WAITING
    if outcome.end is not StepEnd.DONE:
        return _ENDS.get(outcome.end, StepState.STOPPED)
    if not outcome.channels and outcome.verdict is Verdict.PASS:
        return StepState.DONE
    return outcome.verdict


def outcome_text(outcome: StepOutcome) -> str:
    """Return what came of a step in a sentence or two."""
    return _outcome_details(outcome) or outcome.end.value


def _outcome_details(outcome: StepOutcome) -> str:
    parts = [*outcome.drove, *outcome.problems, *_evidence_texts(outcome)]
    if outcome.skipped_reason:
        parts.append(f"skipped: {outcome.skipped_reason}")
    if outcome.note:
        parts.append(outcome.note)
    return "; ".join(part for part in parts if part)


def _evidence_texts(outcome: StepOutcome) -> list[str]:
    texts = [measured_text(evidence.signature) for evidence in outcome.evidence if evidence.signature]
    if outcome.pull is not None:
        texts.append(_pull_text(outcome))
    return texts


def _pull_text(outcome: StepOutcome) -> str:
    assert outcome.pull is not None
    due = outcome.pull.expected_channel
    moved = [str(channel) for channel in outcome.pull.moved_channels]
    match outcome.pull.outcome:
        case "matched":
            return f"pulled: channel {due} lost its load, as it should"
        case "other":
            return f"pulled: channel {', '.join(moved)} lost its load, not channel {due} as it should"
        case "several":
            return f"pulled: channels {', '.join(moved)} lost their loads together, not channel {due} alone"
        case "none":
            return f"pulled: no channel lost its load; channel {due} should have"
    return "not pulled"


def step_view(
    step: Step,
    number: int,
    outcome: StepOutcome | None,
    *,
    running: bool,
    fitted: int = 0,
    where: str = "",
) -> StepView:
    """Return one step of the run sheet.

    Args:
        step: the step.
        number: its place on the sheet, from 1.
        outcome: what came of it; None: it has not ended yet.
        running: it is being worked on.
        fitted: how many channels the loom has.
        where: the place that a pull check is about.
    """
    return StepView(
        id=step.id,
        number=number,
        kind=step.kind,
        title=step.title,
        what=step.what_will_happen,
        state=StepState.RUNNING if running else outcome_state(outcome),
        channel=step.channel,
        hazard=step.hazard,
        drive=announced(step.drive) if step.drive else "",
        cautions=caution_views(step.cautions),
        outcome=outcome_text(outcome) if outcome else "",
        nothing_more=outcome is not None and outcome.end is StepEnd.DONE and not _outcome_details(outcome),
        skipped_because=outcome.skipped_reason if outcome else "",
        attempts=outcome.attempt if outcome else 0,
        short=f"Pull {where}" if step.kind is StepKind.PULL_CHECK and where else "",
        busy_s=busy_s(step, fitted),
    )
