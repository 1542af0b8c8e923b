"""The words of the location walk: places, looks, keys, answers and happenings. Plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

Channels = frozenset[int]


class Order(StrEnum):
    """Who says what is pulled next."""

    GUIDED = "guided"
    FREE = "free"


class Stage(StrEnum):
    """What the walk waits for."""

    PULL = "pull"
    SETTLING = "settling"
    SEAT = "seat"
    PAUSED = "paused"
    DONE = "done"


class WalkKey(StrEnum):
    """What the operator may say besides pulling and seating. None of it is needed for a sound loom."""

    NOTHING = "nothing"
    """The connector asked for is pulled, and nothing happened."""
    NO = "no"
    """What was told last is not what I hold."""
    HERE = "here"
    """What is off now is this place."""
    SKIP = "skip"
    LEAVE_OFF = "leave off"
    ORDER = "order"
    FINISH = "finish"


class How(StrEnum):
    """On what an answer rests."""

    ASKED = "asked for, and pulled"
    ACCEPTED = "told, and not contradicted"
    NAMED = "named by the operator"
    SAID = "the operator said that nothing happened"
    SILENT = "nothing came, and nobody said why"
    SKIPPED = "skipped by the operator"
    EARLIER = "by its own pull check"


class Kind(StrEnum):
    """What happened."""

    ASKED = "asked"
    LOST = "lost"
    MATCHED = "matched"
    MISMATCH = "mismatch"
    AGAIN = "again"
    """As expected, but of a place that is asked again: it counts when it comes twice."""
    CONFIRMED = "confirmed"
    BACK = "back"
    STRAY = "stray"
    TWITCH = "twitch"
    SILENT = "silent"
    NOTHING = "nothing"
    TAKEN_BACK = "taken back"
    ELSEWHERE = "elsewhere"
    FEED = "feed"
    SUPPLY_LOST = "supply lost"
    SUPPLY_BACK = "supply back"
    REOPENED = "reopened"
    HOLD_OFF = "hold off"
    SEAT_ALL = "seat all"
    SETTLED = "settled"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Place:
    """One connector that can be pulled.

    Attributes:
        id: the location's id, or `channel-N` for a channel without one.
        name: as it is called out.
        where: how to find it; may be empty.
        expected: channels whose loads the job puts there.
        visible: those of them whose load can be seen to go.
        step_id: the pull check of the run sheet that this place answers.
    """

    id: str
    name: str
    where: str
    expected: tuple[int, ...]
    visible: Channels
    step_id: str


@dataclass(frozen=True, slots=True)
class Look:
    """One scan: when, which channels are without their load, and whether there is a supply at all."""

    at_s: float
    lost: Channels
    supply: bool = True


@dataclass(frozen=True, slots=True)
class WalkAnswer:
    """What moved when a place was pulled, and on what that rests."""

    channels: Channels
    how: How


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened. `place` is an id, or None where none is meant."""

    kind: Kind
    at_s: float
    place: str | None = None
    channels: Channels = frozenset()


@dataclass(frozen=True, slots=True)
class WalkState:
    """The walk as it stands, for a screen.

    Attributes:
        asked: id of the place to be pulled next; None in free order.
        told: id of the place that the channels off now, or seated last, are expected at.
        off: channels without their load now.
        doubt: what moved at the first of two pulls that have to agree.
        holding: ids of places that moved nothing and are pulled one after the other and left off, to find wires
            that are joined; the one asked for now is the last.
        blind: channels whose load cannot be seen to go.
        silent_left_s: how long until a silent place is put off; None while no clock runs.
    """

    order: Order
    stage: Stage
    asked: str | None
    told: str | None
    off: Channels
    doubt: Channels
    answers: Mapping[str, WalkAnswer]
    elsewhere: Channels = frozenset()
    silent_left_s: float | None = None
    last: Happening | None = None
    places: tuple[Place, ...] = ()
    holding: tuple[str, ...] = ()
    blind: tuple[int, ...] = ()
