"""The tables of the store. Entries and traces are only ever added; a record row keeps the head of its chain."""

from __future__ import annotations

from sqlalchemy import DDL, ForeignKey, ForeignKeyConstraint, LargeBinary, String, Text, event
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

SCHEMA_VERSION = 1


class Base(DeclarativeBase):
    """Common base of the store's tables."""


class MetaRow(Base):
    """A fact about the store itself, such as `schema_version`."""

    __tablename__ = "loomproof_store"
    name: Mapped[str] = mapped_column(String(64), primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class RecordRow(Base):
    """One record: the fields of a list, and the head of its chain. All of it can be rebuilt from the entries."""

    __tablename__ = "record"
    record_id: Mapped[str] = mapped_column(String(32), primary_key=True)
    begun_utc: Mapped[str] = mapped_column(String(32), index=True)
    title: Mapped[str] = mapped_column(Text)
    job_number: Mapped[str] = mapped_column(Text)
    customer: Mapped[str] = mapped_column(Text)
    job_digest: Mapped[str] = mapped_column(String(128))
    operator: Mapped[str] = mapped_column(Text)
    simulated: Mapped[bool]
    verdict: Mapped[str] = mapped_column(String(32), default="")
    """Empty while the record is open."""
    head_sequence: Mapped[int]
    head_digest: Mapped[str] = mapped_column(String(64))


class EntryRow(Base):
    """One entry of a record, in order. `body` is canonical JSON and hashed exactly as stored."""

    __tablename__ = "entry"
    record_id: Mapped[str] = mapped_column(ForeignKey("record.record_id"), primary_key=True)
    sequence: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(32))
    at_utc: Mapped[str] = mapped_column(String(32))
    body: Mapped[str] = mapped_column(Text)
    previous_digest: Mapped[str] = mapped_column(String(64))
    digest: Mapped[str] = mapped_column(String(64))


class TraceRow(Base):
    """The raw counts of one trace. Its header and the digest of the counts are in the entry it belongs to."""

    __tablename__ = "trace"
    __table_args__ = (ForeignKeyConstraint(["record_id", "sequence"], ["entry.record_id", "entry.sequence"]),)
    record_id: Mapped[str] = mapped_column(String(32), primary_key=True)
    sequence: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    """0 is the first trace of the entry."""
    counts: Mapped[bytes] = mapped_column(LargeBinary)
    """zlib over little-endian uint16, shape (4, samples): fine, wide, supply, drain."""


def _keep(table: str) -> None:
    """Make SQLite itself refuse to change or delete a row."""
    for verb in ("UPDATE", "DELETE"):
        ddl = DDL(  # type: ignore[no-untyped-call]
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'a record is only ever added to'); END"
        )
        event.listen(Base.metadata.tables[table], "after_create", ddl.execute_if(dialect="sqlite"))


_keep("entry")
_keep("trace")
