"""The places of a walk, from a job and its run sheet."""

from __future__ import annotations

from collections.abc import Collection

from loomproof.facts.step import StepKind
from loomproof.job.model import Job
from loomproof.procedure.step import RunSheet
from loomproof.procedure.walk.model import Channels, Place


def places_of(job: Job, sheet: RunSheet, blind: Collection[int] = ()) -> tuple[Place, ...]:
    """Every connector of a job in the order of its run sheet.

    Args:
        job: the job.
        sheet: its run sheet.
        blind: channels whose load cannot be seen to go.
    """
    found = []
    for step in sheet.steps:
        if step.kind is not StepKind.PULL_CHECK:
            continue
        location = job.location_of(step.channels[0])
        found.append(
            Place(
                id=location.id if location is not None else f"channel-{step.channels[0]}",
                name=location.name if location is not None else job.channel(step.channels[0]).name,
                where=(location.place or "") if location is not None else "",
                expected=step.channels,
                visible=frozenset(step.channels) - frozenset(blind),
                step_id=step.id,
            )
        )
    return tuple(found)


def feeds_of(job: Job) -> dict[str, Channels]:
    """The channels on each feed, by the feed's name."""
    found: dict[str, set[int]] = {}
    for entry in job.channels:
        feed = job.feed_of(entry.channel)
        if entry.fitted and feed is not None:
            found.setdefault(feed.name, set()).add(entry.channel)
    return {name: frozenset(channels) for name, channels in found.items()}
