"""How long steps take: what the box is busy for, and what is left of the sheet at the pace so far.

Estimates for a reader, never limits. They come from the sheet's own drives and from how long steps of the same
kind took in this session, questions included, since the operator's walking is most of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import median

from loomproof.facts.step import StepKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.steps.wiggle import WATCH_MS

LOOK_S_PER_CHANNEL = 0.35
"""Sense pulses of growing length and the resting pin, as the simulated and the co-simulated box take them."""
AROUND_A_DRIVE_S = 1.0
"""Arming, configuring and reading the traces back."""
FIRST_GUESS_S: Mapping[StepKind, float] = {
    StepKind.PASSIVE_LOOK: 15.0,
    StepKind.STATEMENT: 40.0,
    StepKind.DRIVE: 15.0,
    StepKind.PULL_CHECK: 25.0,
    StepKind.WIGGLE: 12.0,
    StepKind.SUMMARY: 1.0,
}
"""Per kind, until the session has shown its own pace; common practice, no source."""


def busy_s(step: Step, fitted: int) -> float | None:
    """Return how long the box is busy in a step once its question is answered, in s; None: it waits for hands.

    Args:
        step: the step.
        fitted: how many channels are fitted.
    """
    if step.kind is StepKind.PASSIVE_LOOK:
        return LOOK_S_PER_CHANNEL * fitted
    if step.kind is StepKind.WIGGLE:
        return WATCH_MS / 1000 * len(step.channels)
    if step.drive is not None:
        return step.drive.duration_s + AROUND_A_DRIVE_S
    return None


def left_s(steps: Sequence[Step], outcomes: Iterable[StepOutcome]) -> float:
    """Return about how long the unfinished steps will take, in s: each as long as the median of its kind so far.

    Args:
        steps: the sheet.
        outcomes: what was done, in any order; skipped steps tell nothing about the pace.
    """
    took: dict[StepKind, list[float]] = {}
    finished: set[str] = set()
    for outcome in outcomes:
        if not outcome.finished:
            continue
        finished.add(outcome.step_id)
        if not outcome.skipped_reason:
            took.setdefault(outcome.kind, []).append(max(0.0, outcome.ended_s - outcome.began_s))
    return sum(
        median(took[step.kind]) if step.kind in took else FIRST_GUESS_S[step.kind]
        for step in steps
        if step.id not in finished
    )
