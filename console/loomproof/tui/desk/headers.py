"""From a job's connectors to what the header picture shows. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.job.face import face_of
from loomproof.job.model import Job
from loomproof.job.wire import colour_words
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.header import CavityView, HeaderView


def header_views(job: Job, channels: Sequence[ChannelView]) -> tuple[HeaderView, ...]:
    """Return every connector's face with what is in its cavities."""
    return tuple(
        HeaderView(
            connector.id,
            connector.name,
            face_of(connector),
            connector.seen_from or "",
            tuple(sorted(_cavities(job, connector.id, channels), key=lambda cavity: cavity.number)),
        )
        for connector in job.connectors
    )


def _cavities(job: Job, connector: str, channels: Sequence[ChannelView]) -> list[CavityView]:
    found = []
    for channel in channels:
        owner, number = channel.cavity.rsplit("-", 1)
        if owner == connector:
            found.append(
                CavityView(
                    int(number),
                    channel.wire,
                    channel.channel,
                    channel.name,
                    verdict=channel.verdict,
                    live=channel.live,
                    colours=colour_words(channel.wire) if channel.wire else "",
                )
            )
    for feed in job.feeds:
        if feed.cavity is not None and feed.cavity.rsplit("-", 1)[0] == connector:
            wire = feed.wire or ""
            place = int(feed.cavity.rsplit("-", 1)[1])
            words = colour_words(wire) if wire else ""
            found.append(CavityView(place, wire, name=feed.name, feed=feed.terminal, colours=words))
    return found
