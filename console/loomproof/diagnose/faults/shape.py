"""What a set of faults makes of one channel: which load is seen, through what, and in which words it shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from loomproof.diagnose.expected.temperature import direct_ohm
from loomproof.diagnose.faults.features import Conduct
from loomproof.diagnose.faults.hypotheses import Hypothesis
from loomproof.diagnose.faults.tables import TABLES, WordTable, fault_table, sound_table
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import Suppression
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS, REFERENCE_V
from loomproof.job.model import Job


@dataclass(frozen=True)
class Shape:
    """What one set of faults makes of one channel."""

    words: WordTable
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


_FLAGS: Mapping[FaultKind, str] = {
    FaultKind.ADDED_RESISTANCE: "added",
    FaultKind.SHORTED_TURNS: "lost_turns",
    FaultKind.SHORT_TO_SUPPLY: "low",
    FaultKind.SHORT_ACROSS_LOAD: "low",
    FaultKind.SUPPRESSION_REVERSED: "low",
    FaultKind.WRONG_LOAD: "unknown_type",
    FaultKind.SHORT_TO_GROUND: "garbled",
}
# An input hangs between pin and ground and is driven high: its shorts are the other way round.
_LOGIC_FLAGS: Mapping[FaultKind, str] = {
    FaultKind.SHORT_TO_SUPPLY: "garbled",
    FaultKind.SHORT_TO_GROUND: "low",
}


def shape_of(job: Job, channel: int, faults: tuple[Hypothesis, ...]) -> Shape:
    """What these faults together make of a channel; the ones that hide the others last."""
    load = job.load_type(channel)
    shape = Shape(sound_table(load), load)
    for fault in faults:
        shape = _apply(job, channel, shape, fault)
    return shape


def _apply(job: Job, channel: int, shape: Shape, fault: Hypothesis) -> Shape:
    kind = fault.kind
    if kind is FaultKind.SWAPPED:
        return _swapped(job, channel, shape, fault)
    words = shape.words.under(fault_table(kind, shape.load))
    if kind is FaultKind.BRIDGED:
        other = next(c for c in fault.channels if c != channel)
        beside = job.load_type(other)
        both = _conduct(job, channel, shape.load, beside)
        if both[Conduct.EXCESS] > 0.5:
            words = replace(words, conduct=both, noticed=None)
        return replace(shape, words=words, beside=beside)
    if kind is FaultKind.SUPPRESSION_MISSING:
        # Without its resistor beside it the winding alone is measured.
        bare = shape.load.model_copy(update={"suppression": Suppression.NONE})
        return replace(shape, words=words, load=bare)
    logic = shape.load.kind in LOGIC_KINDS
    flag = (_LOGIC_FLAGS.get(kind) if logic else None) or _FLAGS.get(kind)
    said: dict[str, bool] = {flag: True} if flag is not None else {}
    return replace(shape, words=words, **said)  # type: ignore[arg-type]


def _swapped(job: Job, channel: int, shape: Shape, fault: Hypothesis) -> Shape:
    """Another channel's load is seen here, and this one's connector opens a third."""
    k = fault.channels.index(channel)
    source, target = fault.channels[k - 1], fault.channels[(k + 1) % len(fault.channels)]
    load = job.load_type(source)
    words = replace(sound_table(load), pull=TABLES[FaultKind.SWAPPED].pull)
    foreign = load.kind is not shape.load.kind
    if foreign:
        words = replace(words, moved=None, off_shape=None, noticed=None, conduct=_conduct(job, channel, load))
    return replace(
        shape,
        words=words,
        load=load,
        own_batch=load.key == shape.load.key,
        moved_elsewhere=target,
        foreign=foreign,
    )


def _conduct(job: Job, channel: int, *loads: LoadType) -> Mapping[str, float]:
    """Loads on a channel set up for another may together draw more than that channel's limit."""
    most = sum(REFERENCE_V / ohm.value for load in loads if (ohm := direct_ohm(load)))
    if most > job.load_type(channel).limits.max_current_a:
        return {Conduct.EXCESS: 0.9, Conduct.FLOWS: 0.09, Conduct.NONE: 0.01}
    return {Conduct.FLOWS: 0.95, Conduct.EXCESS: 0.03, Conduct.NONE: 0.02}


def rank(fault: Hypothesis) -> tuple[int, str, tuple[int, ...]]:
    """Order of composing: what is wired where, then the load, then the path, then what hides everything."""
    order = {
        FaultKind.SWAPPED: 0,
        FaultKind.WRONG_LOAD: 1,
        FaultKind.SHORTED_TURNS: 2,
        FaultKind.STUCK_ARMATURE: 3,
        FaultKind.SUPPRESSION_MISSING: 4,
        FaultKind.ADDED_RESISTANCE: 5,
        FaultKind.INTERMITTENT: 6,
        FaultKind.BRIDGED: 7,
        FaultKind.FEED_WEAK: 8,
        FaultKind.OPEN: 10,
        FaultKind.FEED_OPEN: 11,
    }
    return order.get(fault.kind, 9), fault.kind.value, fault.channels
