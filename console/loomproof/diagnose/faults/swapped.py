"""Loads in each other's place: two exchanged, or more rotated among themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from loomproof.diagnose.faults.definition import (
    Advice,
    FaultDefinition,
    FaultyChannel,
    Hypothesis,
    Scope,
    Site,
)
from loomproof.diagnose.faults.elsewhere import seeing
from loomproof.diagnose.faults.odds import DEAD, OddsTable, sound_odds
from loomproof.diagnose.observed.features import Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.job.catalogue import LoadType
from loomproof.job.model import Job

_NAME = "swapped"
WINDINGS = 4
"""Of a stepper."""
_WINDINGS_LIKELIER = 500.0
"""Any two of them exchanged, on one stepper in a hundred, against a ring of four; common practice, no source."""


def _fits(one: LoadType, other: LoadType) -> bool:
    """Loads of one type measure the same in each other's place: only the pull checks show those."""
    return one.key != other.key


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    """Another channel's load is seen here, and this one's connector opens a third."""
    ring = site.fault.channels
    if is_one_stepper(site.job, ring):
        return replace(before, odds=replace(before.odds, noticed=DEAD, pull=sound_odds(before.load).pull))
    k = ring.index(site.channel)
    return seeing(site, before, site.job.load_type(ring[k - 1]), ring[(k + 1) % len(ring)])


def is_one_stepper(job: Job, channels: Sequence[int]) -> bool:
    """Whether these are all windings of one stepper: each measures right in any order, and the rotor does not turn.

    Which of them are exchanged cannot be seen.
    """
    groups = {job.channel(c).group for c in channels}
    return len(channels) == WINDINGS and len(groups) == 1 and None not in groups


def exchanged_windings(job: Job) -> list[Hypothesis]:
    """Of each stepper, that some of its windings are exchanged: four like wires in one connector."""
    by_group: dict[str, list[int]] = {}
    for c in sorted(job.channels, key=lambda one: one.channel):
        if c.group is not None and c.fitted:
            by_group.setdefault(c.group, []).append(c.channel)
    return [
        Hypothesis(FaultKind.SWAPPED, tuple(found), likelier=_WINDINGS_LIKELIER)
        for found in by_group.values()
        if len(found) == WINDINGS
    ]


def _heading(places: Sequence[str]) -> str:
    if len(places) == 2:
        return f"{' and '.join(places)}: {_NAME}"
    return f"{'; '.join(places)}: rotated among themselves"


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


SWAPPED = FaultDefinition(
    kind=FaultKind.SWAPPED,
    scope=Scope.PAIR,
    prior=2e-3,
    name=_NAME,
    advice=Advice(
        likely="the terminals sit in each other's cavity",
        remedy="move the terminals in the header, as the walk's map lists them",
        next_measurement="pull the connectors named here once more, one at a time",
    ),
    order=0,
    odds=OddsTable(pull={"other": 0.986, "none": 0.004, "matched": 0.005, "several": 0.005}),
    fits=_fits,
    effect=_effect,
    separated_by={
        FaultKind.WRONG_LOAD: "pull both connectors named here, one at a time, and see which pin lets go",
    },
    heading=_heading,
    share_per_more=0.1,
)
