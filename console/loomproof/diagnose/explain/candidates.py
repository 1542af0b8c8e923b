"""Which faults are worth considering on a loom, and how probable each is before anything was measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import combinations

from loomproof.diagnose.faults.definition import FaultDefinition, Hypothesis, Scope
from loomproof.diagnose.faults.registry import definition_of, of_scope
from loomproof.diagnose.faults.swapped import exchanged_windings, swap_cycles
from loomproof.diagnose.observed.features import Conduct, Features
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job
from loomproof.job.shift import wires_shifted


def log_prior(fault: Hypothesis) -> float:
    """Natural logarithm of a fault's prior odds."""
    return definition_of(fault).log_prior(len(fault.channels)) + math.log(fault.likelier)


def single_faults(job: Job, channel: int) -> list[Hypothesis]:
    """Every fault that one channel can have by itself; a half-bridge's load and its two wires are one thing."""
    load, partner = job.load_type(channel), job.channel(channel).partner
    whole = (channel,) if partner is None else tuple(sorted((channel, partner)))
    return [
        Hypothesis(fault.kind, (channel,) if fault.one_side else whole)
        for fault in of_scope(Scope.CHANNEL)
        if fault.fits(load)
    ]


def candidates(job: Job, features: Mapping[int, Features], suspects: Iterable[int]) -> list[Hypothesis]:
    """Every hypothesis worth scoring, shared causes first."""
    doubted = sorted(set(suspects))
    found = [Hypothesis(fault.kind, ()) for fault in of_scope(Scope.SUPPLY)]
    for feed in job.feeds:
        fed = tuple(
            c.channel for c in job.channels if c.fitted and c.feed == feed.id and c.channel in features
        )
        if fed:
            found += [Hypothesis(fault.kind, fed, feed.id) for fault in of_scope(Scope.FEED)]
    cycles = swap_cycles(features)
    found += cycles
    found += exchanged_windings(job)
    found += [
        Hypothesis(kind.kind, group) for kind in of_scope(Scope.SET) for group in _sets(job, features, kind)
    ]
    found += _shifted(job, features)
    found += [
        Hypothesis(kind.kind, inputs)
        for kind in of_scope(Scope.GROUND)
        for inputs in _grounded(job, features)
    ]
    for pair in combinations(doubted, 2):
        loads = [job.load_type(channel) for channel in pair]
        fits = [fault for fault in of_scope(Scope.PAIR) if fault.fits(*loads)]
        ways = [(fault, way) for fault in fits for way in (pair, pair[::-1]) if fault.ordered or way == pair]
        fitting = [
            Hypothesis(fault.kind, way)
            for fault, way in ways
            # Of an ordered one the second is without its load.
            if not fault.ordered or features[way[1]].conduct is not Conduct.FLOWS
        ]
        found += [fault for fault in fitting if fault not in cycles]
    for channel in doubted:
        found += [fault for fault in single_faults(job, channel) if fault not in found]
    return found


def _sets(job: Job, features: Mapping[int, Features], kind: FaultDefinition) -> list[tuple[int, ...]]:
    """The channels of each load type of which there are several; what hangs between two half-bridges is one load."""
    by_type: dict[str, list[int]] = {}
    for channel in sorted(c for c in features if job.channel(c).partner is None):
        by_type.setdefault(f"{job.channel(channel).load}|{job.channel(channel).override}", []).append(channel)
    return [tuple(s) for s in by_type.values() if len(s) > 1 and kind.fits(job.load_type(s[0]))]


def _grounded(job: Job, features: Mapping[int, Features]) -> list[tuple[int, ...]]:
    """Inputs that may share a ground: those of one kind, and all of them."""
    inputs = sorted(c for c in features if job.load_type(c).kind in LOGIC_KINDS)
    by_kind = [tuple(c for c in inputs if job.load_type(c).kind is kind) for kind in LOGIC_KINDS]
    return sorted({group for group in (*by_kind, tuple(inputs)) if len(group) > 1})


def _shifted(job: Job, features: Mapping[int, Features]) -> list[Hypothesis]:
    """Each connector, one cavity on and one back."""
    found = []
    for connector in job.connectors:
        touched = sorted(c for c in wires_shifted(job, connector.id, 1) if c in features)
        if len(touched) > 1:
            found += [
                Hypothesis(what.kind, tuple(touched), cavities_on=by)
                for what in of_scope(Scope.CONNECTOR)
                for by in (1, -1)
            ]
    return found
