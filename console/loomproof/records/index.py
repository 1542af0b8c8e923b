"""The list of a store's records, and the search for one of them; it reads no entry of any record."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from loomproof.records.database import reading
from loomproof.records.errors import RecordError
from loomproof.records.schema import RecordRow

LAST = "last"
"""Stands for the newest record wherever a record id is expected."""


@dataclass(frozen=True)
class RecordSummary:
    """One line of the list of records. `verdict` is empty while the record is open."""

    record_id: str
    begun_at: datetime
    title: str
    job_number: str
    customer: str
    operator: str
    simulated: bool
    verdict: str
    entries: int


def list_records(engine: Engine) -> tuple[RecordSummary, ...]:
    """Return every record of a store, the newest first."""
    query = select(RecordRow).order_by(RecordRow.begun_utc.desc(), RecordRow.record_id.desc())
    with reading(engine) as session:
        return tuple(_summary(row) for row in session.scalars(query))


def find_record(session: Session, wanted: str) -> RecordRow:
    """Return the row of one record.

    Args:
        session: an open session on the store.
        wanted: its id, a unique beginning of its id, or `last`.

    Raises:
        RecordError: no record, or more than one, has such an id.
    """
    query = select(RecordRow).order_by(RecordRow.begun_utc.desc(), RecordRow.record_id.desc())
    if wanted == LAST:
        row = session.scalars(query.limit(1)).first()
        if row is None:
            raise RecordError("The store holds no record yet.", "Prove a loom first.")
        return row
    rows = session.scalars(
        query.where(RecordRow.record_id.startswith(wanted, autoescape=True)).limit(6)
    ).all()
    if len(rows) == 1 or any(row.record_id == wanted for row in rows):
        return next((row for row in rows if row.record_id == wanted), rows[0])
    if not rows:
        raise RecordError(f"There is no record {wanted!r}.", "`loomproof records list` shows all records.")
    some = ", ".join(row.record_id for row in rows[:5])
    raise RecordError(f"Several records begin with {wanted!r}: {some}.", "Give more of the id.")


def _summary(row: RecordRow) -> RecordSummary:
    return RecordSummary(
        record_id=row.record_id,
        begun_at=datetime.fromisoformat(row.begun_utc),
        title=row.title,
        job_number=row.job_number,
        customer=row.customer,
        operator=row.operator,
        simulated=row.simulated,
        verdict=row.verdict,
        entries=row.head_sequence,
    )
