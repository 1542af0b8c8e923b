"""What several faults together make of one channel."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import FaultyChannel, Hypothesis, Site
from loomproof.diagnose.faults.odds import sound_odds
from loomproof.diagnose.faults.registry import definition_of
from loomproof.job.model import Job


def compose(job: Job, channel: int, faults: tuple[Hypothesis, ...]) -> FaultyChannel:
    """What these faults together make of a channel; the ones that hide the others last (see `rank`)."""
    load = job.load_type(channel)
    found = FaultyChannel(sound_odds(load), load)
    for fault in faults:
        found = definition_of(fault).on(Site(job, channel, fault), found)
    return found


def rank(fault: Hypothesis) -> tuple[int, str, tuple[int, ...]]:
    """The order in which faults are composed."""
    return definition_of(fault).order, fault.kind.value, fault.channels
