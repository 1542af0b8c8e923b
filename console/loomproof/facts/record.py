"""What a session tells the record, as plain facts: data, without clocks, ports or stores."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


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
