"""What a scan says of the loads, and what a detector concludes from scans."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Reading(Protocol):
    """One channel in one scan; `drain_u_v` and `current_u_a` are the noise of one reading."""

    @property
    def drain_v(self) -> float:
        """Pin at rest, V."""
        ...

    @property
    def bias_v(self) -> float:
        """Where an unconnected pin rests, V."""
        ...

    @property
    def drain_u_v(self) -> float:
        """Standard uncertainty of `drain_v`, V."""
        ...

    @property
    def current_a(self) -> float | None:
        """Current at the end of a sense pulse, A; None where none was given."""
        ...

    @property
    def current_u_a(self) -> float:
        """Standard uncertainty of `current_a`, A."""
        ...


@dataclass(frozen=True, slots=True)
class ScanReading:
    """A reading as plain values; the fields are those of `Reading`."""

    drain_v: float
    bias_v: float
    drain_u_v: float
    current_a: float | None = None
    current_u_a: float = 0.0


class Cause(StrEnum):
    """What a change says beyond the channels it names."""

    CONNECTOR = "connector"  # as pulling or seating connectors would do
    SHARED = "shared"  # loads of three connectors and more at one moment: a feed or ground, not a pull
    SUPPLY = "supply"  # the box's own supply: no channel is judged meanwhile


@dataclass(frozen=True, slots=True)
class Change:
    """What changed with one scan.

    Attributes:
        time_s: of the scan that settled it.
        lost: channels whose load went.
        regained: channels whose load is back.
        cause: see there.
        elsewhere: of `lost`, the pins that rest neither where the load nor where the bias puts them: touching
            something else.
        supply_present: whether the box's supply is there; False only with `Cause.SUPPLY`.
    """

    time_s: float
    lost: frozenset[int] = frozenset()
    regained: frozenset[int] = frozenset()
    cause: Cause = Cause.CONNECTOR
    elsewhere: frozenset[int] = frozenset()
    supply_present: bool = True


class LoadPresence(StrEnum):
    """What is known of a channel's load."""

    LEARNING = "learning"
    PRESENT = "present"
    LOST = "lost"
    BLIND = "blind"
