"""What makes up one kind of fault: each file beside this one defines one, `registry.py` collects them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType
from loomproof.job.model import Job


class Scope(Enum):
    """What one fault of a kind touches."""

    CHANNEL = 1
    PAIR = 2  # two channels, or more where their loads change places in a ring
    FEED = 3
    SUPPLY = 4
    SET = 5  # every load of one type
    CONNECTOR = 6
    GROUND = 7  # of several inputs


@dataclass(frozen=True)
class Hypothesis:
    """One fault.

    Attributes:
        kind: of it.
        channels: that it touches. For a swap they are the cycle: the load of each sits on the next one.
        feed: of a fault of a feed.
        cavities_on: how many cavities every wire of a shifted connector sits further on.
        likelier: how many times commoner it is here than elsewhere.
    """

    kind: FaultKind
    channels: tuple[int, ...]
    feed: str | None = None
    cavities_on: int = 0
    likelier: float = 1.0


@dataclass(frozen=True)
class FaultyChannel:
    """What a set of faults makes of one channel: which load is seen, through what, and in which words it shows."""

    odds: OddsTable
    load: LoadType
    own_batch: bool = True  # the load is one of its type's batch on this loom
    added: bool = False
    lost_turns: bool = False
    low: bool = False  # resistance anywhere below half
    unknown_type: bool = False
    beside: LoadType | None = None
    moved_elsewhere: int | None = None
    garbled: bool = False  # what flows is not the load's current, so its numbers mean nothing
    foreign: bool = False  # measured by the estimator of another kind of load
    other_set: bool = False  # all loads of its type are of one other
    behind_feed: bool = False  # what flows passes the resistance of a weak feed
    leaky: bool = False  # part of what flows at rest goes on flowing past the driver
    or_else: tuple[float, OddsTable] | None = None  # with this probability its words follow another table


@dataclass(frozen=True)
class Site:
    """One channel that a fault touches."""

    job: Job
    channel: int
    fault: Hypothesis


@dataclass(frozen=True)
class Advice:
    """What to do about one kind of fault, and what would settle a doubt."""

    likely: str
    remedy: str
    next_measurement: str


def _anywhere(*_: LoadType) -> bool:
    return True


def _unchanged(_: Site, before: FaultyChannel) -> FaultyChannel:
    return before


def _no_amount(_: Hypothesis, _features: Mapping[int, Features], _expected: Expectations) -> str:
    return ""


@dataclass(frozen=True, kw_only=True)
class FaultDefinition:
    """Everything that diagnosis knows of one kind of fault.

    Attributes:
        kind: its code.
        scope: what one such fault touches.
        prior: how often it is met on one channel (one feed, one pair, one loom) of a new loom. Order of magnitude
            only; common practice, no source. The evidence outweighs it wherever it says anything.
        name: in the trade's words.
        advice: likely cause, remedy, next measurement.
        order: faults are composed in this order: what is wired where, then the load, then the path, then what hides
            everything.
        odds: what it makes of the words that are seen.
        odds_on: the same on loads of these kinds, where it shows otherwise.
        fits: whether the channel (the two channels) with this load (these loads) can have it.
        effect: what it does to the channel beyond its odds.
        explains: which failed properties of its channel (of the supply) it can mean.
        twins: what this box cannot separate it from.
        twins_unmeasured: what else it cannot, when the channel is off again before anything was measured.
        why_twins: why it cannot.
        separated_by: the measurement that separates it from another kind. A pair stands in the file of one of them.
        amount: the size of the fault in words.
        heading: where and what, from the places of its channels; by default `place; place: name`.
        share_per_more: each channel past the second makes it rarer by this factor.
        adds_ohm: it raises resistance and never lowers it; a short to ground on the same feed seems to do the same.
        ordered: of a pair, it is another fault the other way round.
        one_side: it touches one wire only; of a half-bridge's load it is at one end, where any other fault is of the load
            and both its wires, which one current passes.
        loads_feed: it draws its load's full current from the feed all the time.
        supply_ohm: the supply's resistance under it: median in ohm, spread of the logarithm.
    """

    kind: FaultKind
    scope: Scope
    prior: float
    name: str
    advice: Advice
    order: int
    odds: OddsTable = field(default_factory=OddsTable)
    odds_on: Mapping[LoadKind, OddsTable] = field(default_factory=dict)
    fits: Callable[..., bool] = _anywhere
    effect: Callable[[Site, FaultyChannel], FaultyChannel] = _unchanged
    explains: frozenset[Property] = frozenset()
    twins: tuple[FaultKind, ...] = ()
    twins_unmeasured: tuple[FaultKind, ...] = ()
    why_twins: str = ""
    separated_by: Mapping[FaultKind, str] = field(default_factory=dict)
    amount: Callable[[Hypothesis, Mapping[int, Features], Expectations], str] = _no_amount
    heading: Callable[[Sequence[str]], str] | None = None
    share_per_more: float = 1.0
    adds_ohm: bool = False
    ordered: bool = False
    one_side: bool = False
    loads_feed: bool = False
    supply_ohm: tuple[float, float] | None = None

    def log_prior(self, channels: int) -> float:
        """Natural logarithm of the prior odds of one such fault on so many channels."""
        return math.log(self.prior) + max(channels - 2, 0) * math.log(self.share_per_more)

    def on(self, site: Site, before: FaultyChannel) -> FaultyChannel:
        """A channel with this fault on top of what others made of it."""
        said = self.odds_on.get(before.load.kind, self.odds)
        return self.effect(site, replace(before, odds=before.odds.under(said)))

    def title(self, places: Sequence[str]) -> str:
        """Where and what."""
        return self.heading(places) if self.heading is not None else f"{'; '.join(places)}: {self.name}"
