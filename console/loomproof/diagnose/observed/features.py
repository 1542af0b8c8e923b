"""What is known of one channel, in the few words and numbers that faults differ by."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Noticed, PullResult
from loomproof.facts.signature import HasMoved, OffShape


class Rest(StrEnum):
    """Where the drain rests with everything off."""

    CONNECTED = "at the supply"
    FLOATING = "at the bias"
    GROUNDED = "at ground"
    BETWEEN = "in between"
    HELD_LOW = "at ground, where its input holds it"
    HELD_HIGH = "at the supply, where nothing should hold it"
    UNKNOWN = "not read"


PULLED_DOWN = frozenset({Rest.GROUNDED, Rest.BETWEEN})
"""Something takes current from the load while every output is off."""


class Conduct(StrEnum):
    """What flows when the channel is on."""

    FLOWS = "current flows"
    NONE = "no current"
    EXCESS = "far too much current"
    UNKNOWN = "not driven"


NOTICED_TEXT = {
    Noticed.HEARD: "the operator heard it",
    Noticed.SEEN: "the operator saw it",
    Noticed.NOTHING: "the operator noticed nothing",
}


@dataclass(frozen=True)
class Features:
    """What is known of one channel, in words and numbers that every hypothesis can be held against."""

    channel: int
    rest: Rest
    conduct: Conduct
    resistance: Estimate | None
    inductance: Estimate | None
    moved: HasMoved | None
    off_shape: OffShape
    noticed: Noticed
    pull: PullResult | None
    dropouts: int
    watched: bool
    steady: Estimate | None
    inrush: Estimate | None
    source_ohm: Estimate | None
    unsteady: bool
    rest_v: float | None = None
    leak_ohm: float | None = None
    """What would pull the pin from its load to where it rests."""
    cold: bool = False
    """A lamp's filament was seen before anything had warmed it."""
