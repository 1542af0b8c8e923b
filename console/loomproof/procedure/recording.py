"""What a session tells the record, as plain facts, and the protocol through which it does so.

The record must be able to stand alone: everything here is data, without clocks, ports or stores. Times named
`*_s` are the box client's `now_s()`; the recorder stamps the wall clock itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from loomproof.diagnose import Finding, PropertyVerdict
    from loomproof.job.model import Job
    from loomproof.procedure import StepOutcome


@dataclass(frozen=True)
class BoxFacts:
    """The instrument a record was made with.

    `calibrations` maps a channel to the fields of `measure.Calibration` as a plain mapping
    (`dataclasses.asdict`), so that raw counts can be measured again later.
    """

    board: str
    serial_number: str
    firmware_version: str
    protocol: str
    """`major.minor` as the box answered it."""
    simulated: bool
    calibrated_on: str
    """YYYY-MM-DD, or empty when the box holds no date."""
    adc_bits: int
    sample_period_ns: int
    build_hash: int = 0
    url: str = ""
    calibrations: Mapping[int, Mapping[str, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class SoftwareFacts:
    """The program that made the record."""

    name: str
    version: str
    protocol_spec_hash: int = 0


@dataclass(frozen=True)
class StepBegan:
    """A step is about to act. Recorded before anything is driven."""

    step_id: str
    attempt: int
    """1 for the first time, 2 for the first repeat, ..."""
    kind: str
    title: str
    channel: int | None = None
    began_s: float = 0.0


@dataclass(frozen=True, eq=False)
class TraceCounts:
    """One trace as the box delivered it: raw counts, never amperes. All four arrays have the same length."""

    channel: int
    pulse_index: int
    sample_period_ns: int
    on_time_us: int
    first_sample_ns: int
    supply_skew_ns: int
    drain_skew_ns: int
    truncated: bool
    tripped: bool
    fine: NDArray[np.uint16]
    wide: NDArray[np.uint16]
    supply: NDArray[np.uint16]
    drain: NDArray[np.uint16]
    purpose: str = "drive"
    """`drive`, `sense` or `watch`."""


@dataclass(frozen=True)
class StatementMade:
    """What a person stated, with the facts they typed and how long it holds."""

    kind: str
    """A `safety.StatementKind` value."""
    sentence: str
    """The statement in plain words, as it was put to the person."""
    facts: tuple[str, ...]
    """Each fact as typed."""
    who: str
    made_s: float
    valid_for_s: float | None = None
    """None: until it is voided."""
    setting: str = ""


class EventKind(StrEnum):
    """What happened beside the steps."""

    STOP = "stop"
    STOP_CLEARED = "stop_cleared"
    TRIP = "trip"
    DROPOUT = "dropout"
    SUPPLY = "supply"
    ARMED = "armed"
    DISARMED = "disarmed"
    STATEMENT_VOIDED = "statement_voided"
    BLOCKED = "blocked"
    LINK_LOST = "link_lost"
    RECONNECTED = "reconnected"
    FREE_DRIVE = "free_drive"
    NOTE = "note"


@dataclass(frozen=True)
class EventNoted:
    """One event, in a sentence for a person and in facts for a program."""

    kind: EventKind
    text: str
    at_s: float
    channel: int | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    """JSON-able."""


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
        """Open the record (or carry it on) and return its id."""
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
