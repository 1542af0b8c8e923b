"""Faults as hypotheses: which channels each one touches, and how probable it is before anything was measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

from loomproof.diagnose.faults.features import Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import Suppression
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS, MOVING_KINDS, WOUND_KINDS
from loomproof.job.model import Job

# How often each fault is met on one channel (one feed, one pair, one loom) of a new loom. Order of magnitude only;
# common practice, no source. The evidence outweighs them wherever it says anything.
PRIOR: Mapping[FaultKind, float] = {
    FaultKind.OPEN: 1e-2,
    FaultKind.SHORT_TO_GROUND: 3e-3,
    FaultKind.SHORT_TO_SUPPLY: 2e-3,
    FaultKind.SHORT_ACROSS_LOAD: 2e-3,
    FaultKind.ADDED_RESISTANCE: 1e-2,
    FaultKind.SWAPPED: 2e-3,
    FaultKind.BRIDGED: 5e-4,
    FaultKind.FEED_OPEN: 5e-3,
    FaultKind.FEED_WEAK: 3e-3,
    FaultKind.SHORTED_TURNS: 2e-3,
    FaultKind.STUCK_ARMATURE: 5e-3,
    FaultKind.SUPPRESSION_MISSING: 5e-3,
    FaultKind.SUPPRESSION_REVERSED: 2e-3,
    FaultKind.WRONG_LOAD: 5e-3,
    FaultKind.INTERMITTENT: 5e-3,
    FaultKind.WEAK_SUPPLY: 1e-2,
}

_SINGLES = (
    FaultKind.OPEN,
    FaultKind.SHORT_TO_GROUND,
    FaultKind.SHORT_TO_SUPPLY,
    FaultKind.SHORT_ACROSS_LOAD,
    FaultKind.ADDED_RESISTANCE,
    FaultKind.WRONG_LOAD,
    FaultKind.INTERMITTENT,
)


@dataclass(frozen=True)
class Hypothesis:
    """One fault. For a swap `channels` is the cycle: the load of each sits on the next one."""

    kind: FaultKind
    channels: tuple[int, ...]
    feed: str | None = None

    @property
    def log_prior(self) -> float:
        """Natural logarithm of its prior odds; longer cycles are rarer."""
        extra = max(len(self.channels) - 2, 0) if self.kind is FaultKind.SWAPPED else 0
        return math.log(PRIOR[self.kind]) + extra * math.log(0.1)


def single_faults(channel: int, load: LoadType) -> list[Hypothesis]:
    """Every fault that one channel with this load can have by itself."""
    kinds = list(_SINGLES)
    if load.kind in LOGIC_KINDS:
        kinds.remove(FaultKind.SHORT_ACROSS_LOAD)  # an input lies between its pin and ground
    if load.kind in WOUND_KINDS:
        kinds.append(FaultKind.SHORTED_TURNS)
    if load.kind in MOVING_KINDS:
        kinds.append(FaultKind.STUCK_ARMATURE)
    if load.suppression is not Suppression.NONE:
        kinds.append(FaultKind.SUPPRESSION_MISSING)
    if load.suppression is Suppression.DIODE:
        kinds.append(FaultKind.SUPPRESSION_REVERSED)
    return [Hypothesis(kind, (channel,)) for kind in kinds]


def swap_cycles(features: Mapping[int, Features]) -> list[Hypothesis]:
    """Cycles that the pull checks draw: pulling the load of A opened B, so B's cavity holds A's wire, and so on."""
    onward: dict[int, int] = {}
    for channel, seen in features.items():
        pull = seen.pull
        if pull is not None and pull.outcome == "other" and len(pull.moved_channels) == 1:
            onward[channel] = pull.moved_channels[0]
    cycles: set[tuple[int, ...]] = set()
    for start in onward:
        path = [start]
        while onward.get(path[-1]) is not None and onward[path[-1]] not in path:
            path.append(onward[path[-1]])
        closing = onward.get(path[-1])
        if (closing == start and len(path) > 1) or (closing is None and len(path) == 2):
            cycles.add(_canonical(path))
    return [Hypothesis(FaultKind.SWAPPED, cycle) for cycle in sorted(cycles)]


def _canonical(path: list[int]) -> tuple[int, ...]:
    k = path.index(min(path))
    return tuple(path[k:] + path[:k])


def candidates(job: Job, features: Mapping[int, Features], suspects: Iterable[int]) -> list[Hypothesis]:
    """Every hypothesis worth scoring, shared causes first."""
    wary = sorted(set(suspects))
    found = [Hypothesis(FaultKind.WEAK_SUPPLY, ())]
    for feed in job.feeds:
        fed = tuple(
            c.channel for c in job.channels if c.fitted and c.feed == feed.id and c.channel in features
        )
        if fed:
            found += [Hypothesis(k, fed, feed.id) for k in (FaultKind.FEED_OPEN, FaultKind.FEED_WEAK)]
    cycles = swap_cycles(features)
    found += cycles
    for a, b in combinations(wary, 2):
        kinds = {job.load_type(a).kind, job.load_type(b).kind}
        if not kinds & LOGIC_KINDS:
            found.append(Hypothesis(FaultKind.BRIDGED, (a, b)))
        swap = Hypothesis(FaultKind.SWAPPED, (a, b))
        if job.load_type(a).key != job.load_type(b).key and swap not in cycles:
            found.append(swap)
    for channel in wary:
        found += single_faults(channel, job.load_type(channel))
    return found
