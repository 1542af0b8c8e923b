"""What a session tells the record, as plain facts, and the protocol through which it does so.

The record must be able to stand alone: everything here is data, without clocks, ports or stores. Times named
`*_s` are the box client's `now_s()`; the recorder stamps the wall clock itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from loomproof.facts.finding import Finding
from loomproof.facts.record import BoxFacts, EventNoted, SoftwareFacts, StatementMade, StepBegan
from loomproof.facts.trace_counts import TraceCounts
from loomproof.facts.verdict import PropertyVerdict
from loomproof.job.model import Job
from loomproof.procedure.step_outcome import StepOutcome


@runtime_checkable
class Recorder(Protocol):
    """Writes one record as it happens. Every method returns only when its entry is durable.

    One recorder, one record. A recorder got for an earlier record (resume) is begun in the same way: it
    checks that the job is the same and carries that record on. Methods may be called from any one thread
    at a time.
    """

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
        """Open the record (or carry it on) and return its id.

        Args:
            job: the job, checked.
            job_text: the file it was read from, as it stands.
            job_digest: digest of the job's meaning.
            box: the instrument.
            operator: who proves.
            software: the program and its version.
        """
        ...

    def step_began(self, step: StepBegan) -> None:
        """Record that a step is about to act."""
        ...

    def step_ended(self, outcome: StepOutcome, traces: Sequence[TraceCounts] = ()) -> None:
        """Record a step's outcome and its traces, in one transaction."""
        ...

    def statement(self, statement: StatementMade) -> None:
        """Record a statement before it is acted upon."""
        ...

    def event(self, event: EventNoted) -> None:
        """Record an event."""
        ...

    def findings(self, verdicts: Sequence[PropertyVerdict], findings: Sequence[Finding]) -> None:
        """Record the verdicts and findings as they stand; the last call counts, earlier ones stay visible."""
        ...

    def finish(self, verdict: str, note: str = "") -> None:
        """Close the record: `pass`, `fail`, `unsure`, or `not tested` when it was left unfinished."""
        ...
