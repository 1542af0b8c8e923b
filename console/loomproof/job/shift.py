"""Which wire sits at which output when the plug of a header is one cavity on."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.job.model import Job


def connector_of(cavity: str) -> str:
    """`H1` of `H1-14`."""
    return cavity.rpartition("-")[0]


def wires_shifted(job: Job, connector: str, by: int) -> Mapping[int, int | None]:
    """Of each channel on a connector, the channel whose wire sits there; None where there is none.

    Args:
        job: the loom's.
        connector: its id.
        by: how many cavities every wire sits further on.
    """
    there = {c.cavity: c.channel for c in job.channels if connector_of(c.cavity) == connector}

    def from_cavity(cavity: str) -> int | None:
        return there.get(f"{connector}-{int(cavity.rpartition('-')[2]) - by}")

    return {channel: from_cavity(cavity) for cavity, channel in there.items()}


def feeds_shifted(job: Job, connector: str, by: int) -> Mapping[int, str]:
    """Of each channel on a connector, the feed whose wire sits there instead of a load's."""
    entering = {f.cavity: f.id for f in job.feeds if f.cavity and connector_of(f.cavity) == connector}
    there = {c.cavity: c.channel for c in job.channels if connector_of(c.cavity) == connector}
    found = {}
    for cavity, feed in entering.items():
        onto = there.get(f"{connector}-{int(cavity.rpartition('-')[2]) + by}")
        if onto is not None:
            found[onto] = feed
    return found
