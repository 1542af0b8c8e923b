"""A record as it is read from the store: its entries in order, and the steps and traces built from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import TypeVar

from pydantic import ValidationError

from loomproof.facts.trace_counts import TraceCounts
from loomproof.records.errors import RecordError
from loomproof.records.integrity import Chain, ChainEntry, check_chain
from loomproof.records.models import (
    BODIES,
    BegunFact,
    Body,
    BoxFact,
    EventFact,
    FindingsFact,
    FinishedFact,
    InterruptedFact,
    ResumedFact,
    StatementFact,
    StepBeganFact,
    StepEndedFact,
    TraceHeader,
)
from loomproof.records.schema import EntryRow, RecordRow, TraceRow
from loomproof.records.trace_counts import unpack

AnyBody = TypeVar("AnyBody", bound=Body)


@dataclass(frozen=True)
class StoredTrace:
    """One trace and the step it belongs to. `counts` is None when they are missing or were changed."""

    sequence: int
    number: int
    step_id: str
    attempt: int
    header: TraceHeader
    counts: TraceCounts | None


@dataclass(frozen=True)
class Entry:
    """One entry. `body` is None when its text cannot be read (the chain then does not hold)."""

    sequence: int
    kind: str
    at: datetime
    text: str
    digest: str
    body: Body | None


class AttemptState(StrEnum):
    """How far an attempt at a step came."""

    ENDED = "ended"
    INTERRUPTED = "interrupted"
    UNENDED = "unended"
    """Begun, with neither an end nor an interruption after it."""


@dataclass(frozen=True)
class StepRecord:
    """One attempt at one step."""

    sequence: int
    step_id: str
    attempt: int
    kind: str
    title: str
    channel: int | None
    began_at: datetime
    ended_at: datetime | None
    state: AttemptState
    ended: StepEndedFact | None
    traces: tuple[StoredTrace, ...]

    @property
    def verdict(self) -> str:
        """The verdict of the step; `not tested` when it did not end."""
        return self.ended.verdict if self.ended else "not tested"


@dataclass(frozen=True)
class Record:
    """One whole record.

    Attributes:
        record_id: id of the record.
        begun: the first entry: identity, job, channels, first box and operator.
        entries: every entry, in order.
        traces: every trace, in order.
        chain: whether the record is as it was written.
    """

    record_id: str
    begun: BegunFact
    entries: tuple[Entry, ...]
    traces: tuple[StoredTrace, ...]
    chain: Chain

    def all(self, kind: type[AnyBody]) -> tuple[tuple[Entry, AnyBody], ...]:
        """Return every entry with a body of that kind, in order."""
        return tuple((e, e.body) for e in self.entries if isinstance(e.body, kind))

    @property
    def boxes(self) -> tuple[BoxFact, ...]:
        """Every instrument of the record, in order of use."""
        return (self.begun.box, *(body.box for _, body in self.all(ResumedFact)))

    @property
    def operators(self) -> tuple[str, ...]:
        """Everyone who worked on the record, each named once."""
        return tuple(dict.fromkeys((self.begun.operator, *(b.operator for _, b in self.all(ResumedFact)))))

    @property
    def simulated(self) -> bool:
        """Whether any part of it was made on a simulated box."""
        return any(box.simulated for box in self.boxes)

    @property
    def finished(self) -> FinishedFact | None:
        """How the record was closed; None while it is open, also when it was carried on after."""
        for entry in reversed(self.entries):
            if isinstance(entry.body, FinishedFact):
                return entry.body
            if isinstance(entry.body, ResumedFact | StepBeganFact | StepEndedFact):
                return None
        return None

    @property
    def findings(self) -> FindingsFact | None:
        """The verdicts and findings as they stood last."""
        found = self.all(FindingsFact)
        return found[-1][1] if found else None

    @property
    def statements(self) -> tuple[tuple[Entry, StatementFact], ...]:
        """Every statement made."""
        return self.all(StatementFact)

    @property
    def events(self) -> tuple[tuple[Entry, EventFact], ...]:
        """Every event."""
        return self.all(EventFact)

    @cached_property
    def steps(self) -> tuple[StepRecord, ...]:
        """Every attempt at every step, in the order they were begun (or, without a beginning, ended)."""
        return tuple(_step(attempt, self.traces) for attempt in _attempts(self.entries))

    @property
    def unended(self) -> tuple[StepRecord, ...]:
        """Steps that were begun and neither ended nor marked as interrupted."""
        return tuple(step for step in self.steps if step.state is AttemptState.UNENDED)


@dataclass
class _Attempt:
    """One attempt while the entries are walked."""

    began: Entry
    start: StepBeganFact | None
    end: Entry | None = None
    interrupted: bool = False


def _attempts(entries: Sequence[Entry]) -> list[_Attempt]:
    """Pair beginnings with endings. An attempt lost to a crash may be begun again under the same number."""
    attempts: list[_Attempt] = []
    unended: dict[tuple[str, int], _Attempt] = {}
    for entry in entries:
        body = entry.body
        if isinstance(body, StepBeganFact):
            attempt = _Attempt(entry, body)
            attempts.append(attempt)
            unended[body.step_id, body.attempt] = attempt
        elif isinstance(body, StepEndedFact):
            found = unended.pop((body.step_id, body.attempt), None)
            if found is None:  # a step that ended without beginning: skipped
                found = _Attempt(entry, None)
                attempts.append(found)
            found.end = entry
        elif isinstance(body, InterruptedFact):
            lost = [a for a in attempts if a.began.sequence == body.began_sequence and a.end is None]
            unended.pop((body.step_id, body.attempt), None)
            for attempt in lost:
                attempt.interrupted = True
    return attempts


def _step(attempt: _Attempt, traces: Sequence[StoredTrace]) -> StepRecord:
    end = attempt.end
    ended = end.body if end and isinstance(end.body, StepEndedFact) else None
    start = attempt.start
    step_id, number = (ended.step_id, ended.attempt) if ended else ("", 0)
    if start is not None:
        step_id, number = start.step_id, start.attempt
    return StepRecord(
        sequence=attempt.began.sequence,
        step_id=step_id,
        attempt=number,
        kind=start.kind if start else "",
        title=start.title if start else step_id,
        channel=start.channel if start else None,
        began_at=attempt.began.at,
        ended_at=end.at if end else None,
        state=_state(attempt),
        ended=ended,
        traces=tuple(t for t in traces if end and t.sequence == end.sequence),
    )


def _state(attempt: _Attempt) -> AttemptState:
    if attempt.end is not None:
        return AttemptState.ENDED
    return AttemptState.INTERRUPTED if attempt.interrupted else AttemptState.UNENDED


def build_record(row: RecordRow, entry_rows: Sequence[EntryRow], trace_rows: Sequence[TraceRow]) -> Record:
    """Build a record from its rows and check the chain and the counts of every trace.

    Raises:
        RecordError: the first entry cannot be read.
    """
    entries = tuple(_entry(e) for e in entry_rows)
    begun = entries[0].body if entries else None
    if not isinstance(begun, BegunFact):
        raise RecordError(
            f"Record {row.record_id} has lost its first entry or it was changed beyond reading.",
            "Restore the store from a copy; the file itself was not touched.",
        )
    traces, trouble = _traces(entries, {(t.sequence, t.number): t.counts for t in trace_rows})
    links = [
        ChainEntry(e.sequence, e.kind, e.at_utc, e.body, e.previous_digest, e.digest) for e in entry_rows
    ]
    chain = check_chain(row.record_id, links, row.head_digest)
    if chain.holds and trouble:
        chain = Chain(False, f"The chain is broken: {trouble[0][1]}.", chain.head_digest, trouble[0][0])
    return Record(row.record_id, begun, entries, traces, chain)


def _entry(row: EntryRow) -> Entry:
    model = BODIES.get(row.kind)
    try:
        body = model.model_validate_json(row.body) if model else None
    except ValidationError:
        body = None
    return Entry(row.sequence, row.kind, datetime.fromisoformat(row.at_utc), row.body, row.digest, body)


def _traces(
    entries: Sequence[Entry], blobs: dict[tuple[int, int], bytes]
) -> tuple[tuple[StoredTrace, ...], list[tuple[int, str]]]:
    traces: list[StoredTrace] = []
    trouble: list[tuple[int, str]] = []
    for entry in entries:
        if not isinstance(entry.body, StepEndedFact):
            continue
        for number, header in enumerate(entry.body.traces):
            blob = blobs.pop((entry.sequence, number), None)
            counts = unpack(header, blob) if blob is not None else None
            body = entry.body
            traces.append(StoredTrace(entry.sequence, number, body.step_id, body.attempt, header, counts))
            if counts is None:
                lost = "is missing" if blob is None else "was changed after it was written"
                trouble.append((entry.sequence, f"trace {number + 1} of entry {entry.sequence} {lost}"))
    trouble += [(key[0], f"a trace was added to entry {key[0]} later") for key in blobs]
    return tuple(traces), trouble
