"""The recorder: each call is one transaction, which is durable when the call returns."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from loomproof.facts.finding import Finding
from loomproof.facts.record import BoxFacts, EventNoted, SoftwareFacts, StatementMade, StepBegan
from loomproof.facts.trace_counts import TraceCounts
from loomproof.facts.verdict import PropertyVerdict, channel_verdict
from loomproof.job.model import Job
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.canonical import canonical_json, jsonable
from loomproof.records.database import writing
from loomproof.records.errors import RecordError
from loomproof.records.integrity import GENESIS, entry_digest
from loomproof.records.job_facts import channels_of, identity_of
from loomproof.records.models import (
    BegunFact,
    Body,
    BoxFact,
    EventFact,
    FindingFact,
    FindingsFact,
    FinishedFact,
    InterruptedFact,
    ResumedFact,
    SoftwareFact,
    StatementFact,
    StepBeganFact,
    StepEndedFact,
    VerdictFact,
)
from loomproof.records.schema import EntryRow, RecordRow, TraceRow
from loomproof.records.trace_counts import pack

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """Return the wall clock in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class ResumePoint:
    """The end of an earlier record, from which a writer carries it on."""

    record_id: str
    job_digest: str
    sequence: int
    digest: str
    unended: tuple[InterruptedFact, ...]


class RecordWriter:
    """Writes one record, as `procedure.recorder.Recorder`; safe to call from several threads."""

    def __init__(
        self,
        engine: Engine,
        *,
        clock: Clock = utc_now,
        carry_on: ResumePoint | None = None,
        begun: Callable[[str], object] | None = None,
    ) -> None:
        self._engine = engine
        self._begun = begun
        self._clock = clock
        self._carry_on = carry_on
        self._lock = threading.Lock()
        self._record_id = ""
        self._sequence = 0
        self._digest = GENESIS

    @property
    def record_id(self) -> str:
        """The record's id; empty before `begin`."""
        return self._record_id

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
        """Begin the record, or carry on the earlier one, and return its id.

        Args:
            job: the job.
            job_text: the text of its file.
            job_digest: digest of that text.
            box: the instrument.
            operator: who works on the record.
            software: the program.

        Raises:
            RecordError: the record was begun already, or with another job.
        """
        if self._record_id:
            raise RecordError("This record was begun already.", "Use one recorder for one record.")
        started = ResumedFact(
            box=BoxFact.model_validate(box), operator=operator, software=SoftwareFact.model_validate(software)
        )
        if self._carry_on is not None:
            return self._continue(self._carry_on, job_digest, started)
        return self._open(_begun_fact(job, job_text, job_digest, started))

    def _open(self, begun: BegunFact) -> str:
        now = self._clock()
        record_id = f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
        row = RecordRow(
            record_id=record_id,
            begun_utc=_stamp(now),
            title=begun.identity.title,
            job_number=begun.identity.job_number,
            customer=begun.identity.customer,
            job_digest=begun.job_digest,
            operator=begun.operator,
            simulated=begun.box.simulated,
            verdict="",
            head_sequence=0,
            head_digest=GENESIS,
        )
        with self._lock:
            self._append_first(record_id, [begun], new_row=row)
        if self._begun is not None:
            self._begun(record_id)
        return record_id

    def _continue(self, place: ResumePoint, job_digest: str, resumed: ResumedFact) -> str:
        if place.job_digest != job_digest:
            raise RecordError(
                f"Record {place.record_id} was begun with another job file (digest {place.job_digest[:12]}, "
                f"now {job_digest[:12]}).",
                "Carry it on with the job file kept in it, or start a new record for the changed job.",
            )
        with self._lock:
            self._sequence, self._digest = place.sequence, place.digest
            self._append_first(place.record_id, [*place.unended, resumed])
        return place.record_id

    def _append_first(
        self, record_id: str, bodies: Sequence[Body], *, new_row: RecordRow | None = None
    ) -> None:
        """Append the first entries; if that fails, the record counts as not begun and nothing follows."""
        self._record_id = record_id
        try:
            self._append(bodies, new_row=new_row)
        except RecordError:
            self._record_id = ""
            raise

    def step_began(self, step: StepBegan) -> None:
        """Record that a step begins."""
        self._write(StepBeganFact.model_validate(step))

    def step_ended(self, outcome: StepOutcome, traces: Sequence[TraceCounts] = ()) -> None:
        """Record a step's outcome and its traces, in one transaction."""
        packed = [pack(trace) for trace in traces]
        body = StepEndedFact(
            step_id=outcome.step_id,
            attempt=outcome.attempt,
            outcome=jsonable(outcome),
            traces=tuple(header for header, _ in packed),
        )
        self._write(body, [blob for _, blob in packed])

    def statement(self, statement: StatementMade) -> None:
        """Record a statement before anything relies on it."""
        self._write(StatementFact.model_validate(statement))

    def event(self, event: EventNoted) -> None:
        """Record an event."""
        self._write(EventFact.model_validate(jsonable(event)))

    def findings(self, verdicts: Sequence[PropertyVerdict], findings: Sequence[Finding]) -> None:
        """Record the present verdicts and findings."""
        channels = sorted({v.channel for v in verdicts})
        body = FindingsFact(
            verdicts=tuple(VerdictFact.model_validate(v) for v in verdicts),
            findings=tuple(FindingFact.model_validate(f) for f in findings),
            channel_verdicts={n: str(channel_verdict(verdicts, n)) for n in channels},
        )
        self._write(body)

    def finish(self, verdict: str, note: str = "") -> None:
        """Close the record with its verdict."""
        body = FinishedFact.model_validate({"verdict": str(verdict).replace("_", " "), "note": note})
        self._write(body)

    def _write(self, body: Body, blobs: Sequence[bytes] = ()) -> None:
        with self._lock:
            if not self._record_id:
                raise RecordError("The record was not begun.", "Call begin first.")
            self._append([body], blobs)

    def _append(
        self, bodies: Sequence[Body], blobs: Sequence[bytes] = (), *, new_row: RecordRow | None = None
    ) -> None:
        """Add entries (the blobs belong to the last) and move the head, in one transaction."""
        sequence, digest = self._sequence, self._digest
        with writing(self._engine) as session:
            row = self._row(session, new_row)
            for body in bodies:
                sequence, digest = sequence + 1, self._add_entry(session, sequence + 1, body, digest)
            session.flush()
            for number, blob in enumerate(blobs):
                session.add(
                    TraceRow(record_id=self._record_id, sequence=sequence, number=number, counts=blob)
                )
            row.head_sequence, row.head_digest = sequence, digest
            _update_row(row, bodies)
        self._sequence, self._digest = sequence, digest

    def _row(self, session: Session, new_row: RecordRow | None) -> RecordRow:
        if new_row is not None:
            session.add(new_row)
            session.flush()
            return new_row
        query = select(RecordRow).where(RecordRow.record_id == self._record_id).with_for_update()
        row = session.scalars(query).one_or_none()
        if row is None or (row.head_sequence, row.head_digest) != (self._sequence, self._digest):
            raise RecordError(
                f"Another program is writing record {self._record_id}.",
                "Close the other console, then carry the record on.",
            )
        return row

    def _add_entry(self, session: Session, sequence: int, body: Body, previous: str) -> str:
        at_utc, text = _stamp(self._clock()), canonical_json(body)
        digest = entry_digest(
            self._record_id, sequence, kind=body.KIND, at_utc=at_utc, body=text, previous=previous
        )
        session.add(
            EntryRow(
                record_id=self._record_id,
                sequence=sequence,
                kind=body.KIND,
                at_utc=at_utc,
                body=text,
                previous_digest=previous,
                digest=digest,
            )
        )
        return digest


def _begun_fact(job: Job, job_text: str, job_digest: str, started: ResumedFact) -> BegunFact:
    return BegunFact(
        identity=identity_of(job),
        setting=str(job.setting),
        ambient_c=job.ambient_c,
        channels=channels_of(job),
        job_text=job_text,
        job_digest=job_digest,
        box=started.box,
        operator=started.operator,
        software=started.software,
    )


def _update_row(row: RecordRow, bodies: Sequence[Body]) -> None:
    """Keep the fields of lists: a finished record has a verdict; a record that is carried on has none yet."""
    for body in bodies:
        if isinstance(body, FinishedFact):
            row.verdict = body.verdict
        elif isinstance(body, ResumedFact):
            row.verdict = ""
            row.simulated = row.simulated or body.box.simulated


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")
