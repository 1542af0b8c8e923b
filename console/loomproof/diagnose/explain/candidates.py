"""Which faults are worth considering on a loom, and how probable each is before anything was measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations

from loomproof.diagnose.faults.definition import Hypothesis, Scope
from loomproof.diagnose.faults.registry import definition_of, of_scope
from loomproof.diagnose.faults.swapped import swap_cycles
from loomproof.diagnose.observed.features import Features
from loomproof.job.catalogue import LoadType
from loomproof.job.model import Job


def log_prior(fault: Hypothesis) -> float:
    """Natural logarithm of a fault's prior odds."""
    return definition_of(fault).log_prior(len(fault.channels))


def single_faults(channel: int, load: LoadType) -> list[Hypothesis]:
    """Every fault that one channel with this load can have by itself."""
    return [Hypothesis(fault.kind, (channel,)) for fault in of_scope(Scope.CHANNEL) if fault.fits(load)]


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
    for pair in combinations(doubted, 2):
        loads = [job.load_type(channel) for channel in pair]
        fitting = [Hypothesis(fault.kind, pair) for fault in of_scope(Scope.PAIR) if fault.fits(*loads)]
        found += [fault for fault in fitting if fault not in cycles]
    for channel in doubted:
        found += single_faults(channel, job.load_type(channel))
    return found
