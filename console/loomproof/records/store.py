"""The store of records: SQLite in the user's data directory, or any SQLAlchemy URL for several benches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from pydantic import ValidationError
from sqlalchemy import select

from loomproof.facts.record import StatementMade, StepBegan
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.database import open_engine, reading, store_url
from loomproof.records.errors import RecordError
from loomproof.records.index import RecordSummary, find_record, list_records
from loomproof.records.models import InterruptedFact, StepBeganFact, StepEndedFact
from loomproof.records.record import Record, build_record
from loomproof.records.schema import EntryRow, TraceRow
from loomproof.records.writer import Clock, RecordWriter, ResumePoint, utc_now


@dataclass(frozen=True)
class ResumedRecord:
    """An earlier record that is ready to be carried on: begin its recorder, and finished steps stay finished."""

    record_id: str
    recorder: RecordWriter
    job_text: str
    job_digest: str
    outcomes: tuple[StepOutcome, ...]
    """Every attempt that ended, in order."""
    interrupted: tuple[StepBegan, ...]
    """Attempts that were begun and lost; they are recorded as interrupted when the recorder is begun."""
    statements: tuple[StatementMade, ...]
    """The statements of that time. None of them holds now."""


class RecordStore:
    """Opens, lists, reads and carries on records; it cannot change or delete one.

    Args:
        where: a path, an SQLAlchemy URL, or None for `$LOOMPROOF_RECORDS` or the user's data directory.
        create: whether to make a missing store.
        clock: gives the time of entries.

    Raises:
        RecordError: the store cannot be opened, or is of a newer version.
    """

    def __init__(
        self, where: str | Path | None = None, *, create: bool = True, clock: Clock = utc_now
    ) -> None:
        self.url = store_url(where)
        self._engine = open_engine(self.url, create=create)
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def recorder(self, *, begun: Callable[[str], object] | None = None) -> RecordWriter:
        """Return a recorder for a new record; `begun` is called with the id once it is begun."""
        return RecordWriter(self._engine, clock=self._clock, begun=begun)

    def list(self) -> tuple[RecordSummary, ...]:
        """Return every record, the newest first."""
        return list_records(self._engine)

    def read(self, record_id: str) -> Record:
        """Return one whole record.

        Args:
            record_id: its id, a unique beginning of its id, or `last`.

        Raises:
            RecordError: no record, or more than one, has such an id.
        """
        with reading(self._engine) as session:
            row = find_record(session, record_id)
            entries = session.scalars(
                select(EntryRow).where(EntryRow.record_id == row.record_id).order_by(EntryRow.sequence)
            ).all()
            traces = session.scalars(
                select(TraceRow)
                .where(TraceRow.record_id == row.record_id)
                .order_by(TraceRow.sequence, TraceRow.number)
            ).all()
            return build_record(row, entries, traces)

    def resume(self, record_id: str) -> ResumedRecord:
        """Prepare to carry a record on. Nothing is written before its recorder is begun.

        Raises:
            RecordError: there is no such record, or its chain does not hold.
        """
        record = self.read(record_id)
        if not record.chain.holds:
            raise RecordError(
                f"Record {record.record_id} is not carried on: {record.chain.text}",
                "Keep it as it is and start a new record.",
            )
        lost = record.unended
        unended = tuple(
            InterruptedFact(step_id=s.step_id, attempt=s.attempt, began_sequence=s.sequence) for s in lost
        )
        place = ResumePoint(
            record_id=record.record_id,
            job_digest=record.begun.job_digest,
            sequence=record.entries[-1].sequence,
            digest=record.entries[-1].digest,
            unended=unended,
        )
        return ResumedRecord(
            record_id=record.record_id,
            recorder=RecordWriter(self._engine, clock=self._clock, carry_on=place),
            job_text=record.begun.job_text,
            job_digest=record.begun.job_digest,
            outcomes=_outcomes(record),
            interrupted=tuple(
                StepBegan(**body.model_dump())
                for entry, body in record.all(StepBeganFact)
                if entry.sequence in {step.sequence for step in lost}
            ),
            statements=tuple(StatementMade(**body.model_dump()) for _, body in record.statements),
        )


def _outcomes(record: Record) -> tuple[StepOutcome, ...]:
    try:
        return tuple(StepOutcome.model_validate(body.outcome) for _, body in record.all(StepEndedFact))
    except ValidationError as error:
        raise RecordError(
            f"The outcomes of record {record.record_id} were written by another version of Loomproof: "
            f"{error.errors()[0]['msg']}.",
            "It can be read and reported, not carried on: finish it with that version or start a new record.",
        ) from error
