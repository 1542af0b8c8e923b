"""A recorder for sessions of which nobody wants a record."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.facts.finding import Finding
from loomproof.facts.record import BoxFacts, EventNoted, SoftwareFacts, StatementMade, StepBegan
from loomproof.facts.trace_counts import TraceCounts
from loomproof.facts.verdict import PropertyVerdict
from loomproof.job.model import Job
from loomproof.procedure.step_outcome import StepOutcome


class NullRecorder:
    """Keeps nothing."""

    def begin(
        self,
        *,
        job: Job,
        job_text: str,
        job_digest: str,
        box: BoxFacts,
        operator: str,
        software: SoftwareFacts,
    ) -> str:
        """No record, no id.

        Args:
            job: not kept.
            job_text: not kept.
            job_digest: not kept.
            box: not kept.
            operator: not kept.
            software: not kept.
        """
        del job, job_text, job_digest, box, operator, software
        return ""

    def step_began(self, step: StepBegan) -> None:
        """Not kept."""

    def step_ended(self, outcome: StepOutcome, traces: Sequence[TraceCounts] = ()) -> None:
        """Not kept."""

    def statement(self, statement: StatementMade) -> None:
        """Not kept."""

    def event(self, event: EventNoted) -> None:
        """Not kept."""

    def findings(self, verdicts: Sequence[PropertyVerdict], findings: Sequence[Finding]) -> None:
        """Not kept."""

    def finish(self, verdict: str, note: str = "") -> None:
        """Not kept."""
