"""From a step of the run sheet and its outcome to what the page shows. Pure."""

from __future__ import annotations

from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Verdict
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.timing import busy_s
from loomproof.tui.desk.channels import measured_text
from loomproof.tui.desk.prompts import caution_views
from loomproof.tui.pages.run_sheet.view import StepView

_ENDS = {
    StepEnd.SKIPPED: "skipped",
    StepEnd.BLOCKED: "blocked",
    StepEnd.REFUSED: "refused",
    StepEnd.TRIPPED: "tripped",
    StepEnd.STOPPED: "stopped",
}


def outcome_state(outcome: StepOutcome | None) -> str:
    """Return a step's state: `waiting`, a verdict, `done`, or how it ended."""
    if outcome is None:
        return "waiting"
    if outcome.end is not StepEnd.DONE:
        return _ENDS.get(outcome.end, "stopped")
    if not outcome.channels and outcome.verdict is Verdict.PASS:
        return "done"
    return outcome.verdict.value


def outcome_text(outcome: StepOutcome | None) -> str:
    """Return what came of a step in a sentence or two."""
    if outcome is None:
        return ""
    parts = [*outcome.drove, *outcome.problems]
    parts += [f"{evidence_text}" for evidence_text in _evidence_texts(outcome)]
    if outcome.skipped_reason:
        parts.append(f"skipped: {outcome.skipped_reason}")
    if outcome.note:
        parts.append(outcome.note)
    return "; ".join(part for part in parts if part) or outcome.end.value


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
    step: Step, number: int, outcome: StepOutcome | None, *, running: bool, fitted: int = 0
) -> StepView:
    """Return one step of the run sheet; `fitted` is how many channels the loom has."""
    return StepView(
        id=step.id,
        number=number,
        kind=step.kind.value,
        title=step.title,
        what=step.what_will_happen,
        state="running" if running else outcome_state(outcome),
        channel=step.channel,
        hazard=step.hazard.value,
        drive=step.drive.sentence if step.drive else "",
        cautions=caution_views(step.cautions),
        outcome=outcome_text(outcome),
        attempts=outcome.attempt if outcome else 0,
        short=step.title.replace("Pull the connector: ", "Pull "),
        busy_s=busy_s(step, fitted),
    )
