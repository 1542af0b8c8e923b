"""Attempts at steps as they begin and end: into the list of outcomes, the record and the ears of subscribers."""

from __future__ import annotations

from loomproof.facts.record import StepBegan
from loomproof.facts.step import StepKind
from loomproof.facts.verdict import Verdict
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import counts_of
from loomproof.procedure.events import JudgedAnew, StepFinished, StepStarted
from loomproof.procedure.evidence_merge import reached_elsewhere
from loomproof.procedure.judge_loom import Judging
from loomproof.procedure.step import Step
from loomproof.procedure.step_end import outcome_of
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.step_verdict import step_verdict


class Attempts:
    """Writes every attempt of a session.

    Args:
        core: the session's.
        outcomes: the session's own list; each attempt that ends is added to it.
        judging: draws the verdicts from that list.
    """

    def __init__(self, core: Core, outcomes: list[StepOutcome], judging: Judging) -> None:
        self._core = core
        self._outcomes = outcomes
        self._judging = judging

    def look_again(self) -> None:
        """Bring up to date which loads each channel is known to reach."""
        self._core.reaches = dict(reached_elsewhere(self._outcomes))

    def begin(self, step: Step, began_s: float) -> int:
        """Record and tell that a step begins. Returns the number of the attempt."""
        attempt = max((o.attempt for o in self._outcomes if o.step_id == step.id), default=0) + 1
        self._core.recorder.step_began(
            StepBegan(step.id, attempt, step.kind.value, step.title, step.channel, began_s)
        )
        self._core.publish(StepStarted(step, attempt))
        return attempt

    def end(
        self, step: Step, attempt: int, began_s: float, result: StepResult, *, search: bool = True
    ) -> StepOutcome:
        """Draw the verdicts anew, then record and publish how a step ended.

        Args:
            step: the step.
            attempt: its number, from 1.
            began_s: when it began, on the link's clock.
            result: what its runner found.
            search: look for findings, where a search is due.

        Returns:
            The outcome as it is recorded.
        """
        core, judging = self._core, self._judging
        draft = outcome_of(step, attempt, (began_s, core.box.now_s()), result)
        self._outcomes.append(draft)
        self.look_again()
        verdicts = judging.anew()
        outcome = draft.model_copy(update={"verdict": step_verdict(step, draft, verdicts)})
        self._outcomes[-1] = outcome
        if search and (step.kind is StepKind.SUMMARY or outcome.verdict is Verdict.FAIL):
            judging.findings()  # a search: only where a step has just failed, and at the end
        core.write_events()
        core.recorder.step_ended(outcome, tuple(counts_of(raw, purpose) for raw, purpose in result.traces))
        if step.kind is StepKind.SUMMARY:
            core.recorder.findings(verdicts, judging.findings())
        core.publish(StepFinished(step, outcome))
        core.publish(JudgedAnew(verdicts, judging.known))
        return outcome

    def found(self, step: Step, began_s: float, result: StepResult) -> StepOutcome:
        """Write a step answered on a walk or a wiggle at will; the search for findings waits until that ends."""
        return self.end(step, self.begin(step, began_s), began_s, result, search=False)
