"""What the run sheet says of its steps, in words. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepKind
from loomproof.tui.messages import Progress
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.widgets.row_list import Row
from loomproof.tui.words import StepState, about, step_sign

BAR_CELLS = 12
WHAT_NOW = "4 shows what was found, 5 the record and the command that writes the customer's report."


def step_row(step: StepView, current: bool) -> Row:
    """Return the row of one step."""
    sign = step_sign(step.state)
    hazard = f"{step.hazard} " if step.hazard != HazardClass.NONE and step.kind != StepKind.STATEMENT else ""
    return Row(
        step.id,
        ((f"{step.number:>3} ", "quiet"), (step.short or step.title, "plain")),
        tail=(f"{hazard}{sign.shape} {sign.word}", sign.role),
        now=current,
    )


def steps_title(progress: Progress) -> str:
    """Return the title of the list: how many steps are done, and about how long the rest takes."""
    done = sum(1 for step in progress.steps if step.state not in (StepState.WAITING, StepState.RUNNING))
    if not done or progress.finished or progress.left_s is None:
        return "All steps"
    return f"All steps: {done} of {len(progress.steps)}, about {about(progress.left_s)} left"


def outcome_line(step: StepView) -> str:
    """Return what came of a step; while it runs again, of the time before."""
    if not step.outcome:
        return ""
    if step.state == StepState.RUNNING:
        return f"Last time: {step.outcome}"
    after = f"\n\n{WHAT_NOW}" if step.kind == StepKind.SUMMARY else ""
    more = "" if step.nothing_more else f" - {step.outcome}"
    return f"Result: {step_sign(step.state)}{more}{after}"


def just_ended(step: StepView, channels: Sequence[ChannelView] = ()) -> str:
    """Return what came of the step that has just ended: its sign, and why if it is no pass."""
    sign = step_sign(step.state)
    if sign.role == "good":
        return f"Step {step.number} just now: {sign}"
    judged = next((c.reason for c in channels if c.channel == step.channel and c.verdict == step.state), "")
    return f"Step {step.number} just now: {sign}: {judged or step.skipped_because or step.outcome}"


def question(prompt: PromptView, step: StepView) -> str:
    """Return a question without repeating the step's own title."""
    text = prompt.text if prompt.title == step.title else f"{prompt.title}\n{prompt.text}"
    return f"{text}\n{prompt.problem}" if prompt.problem else text


def working_text(busy_s: float | None, for_s: float, doing: str = "Working") -> str:
    """Return the line that stands while the box works: a bar with what is left, or how long it has been at it.

    Args:
        busy_s: how long it takes, about, in s; None: not known.
        for_s: how long it has been at it, in s.
        doing: what is being done, by the box or, with a hand on the loom, by the operator.
    """
    end = "The stop key below ends it at once."
    if busy_s is None:
        return f"► {doing}, {about(for_s)} so far. {end}" if for_s > 1 else f"► {doing}. {end}"
    if busy_s <= 1:
        return f"► {doing}. {end}"
    done = min(1.0, for_s / busy_s)
    full = round(done * BAR_CELLS)
    left = f"about {about(busy_s - for_s)} left" if for_s < busy_s else "a moment longer"
    return f"► {doing} {'▰' * full}{'▱' * (BAR_CELLS - full)} {left}. {end}"


def afar(
    step: StepView | None, prompt: PromptView | None, *, running: bool, stopped: bool
) -> tuple[str, str]:
    """Return what is to be read from across the engine bay, in few words, and its tone.

    Args:
        step: the step shown; None: there is none.
        prompt: the question that waits, if one does.
        running: a step is being worked on.
        stopped: the box is stopped.

    Returns:
        The words, and the tone that colours them.
    """
    if stopped:
        return "Stopped", "bad"
    if prompt is not None:
        return prompt.short or prompt.title, "doubt"
    if step is None:
        return "No steps", "quiet"
    if running:
        doing = "Bend it now" if step.kind == StepKind.WIGGLE else "Working"
        return f"{doing}: {step.short or step.title}", "plain"
    sign = step_sign(step.state)
    tone = sign.role if sign.role in ("good", "bad", "doubt") else "plain"
    return (f"{sign.word}: {step.short or step.title}" if step.outcome else step.short or step.title), tone
