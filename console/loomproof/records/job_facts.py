"""The job's facts of each channel, copied so that the record does not depend on the job file."""

from __future__ import annotations

from loomproof.job.model import Channel, Job
from loomproof.job.quantity import Quantity
from loomproof.records.models import ChannelFact, IdentityFact, RangeFact


def identity_of(job: Job) -> IdentityFact:
    """Return the identity of the loom."""
    facts = {name: getattr(job.identity, name, "") or "" for name in IdentityFact.model_fields}
    return IdentityFact(**facts)


def channels_of(job: Job) -> tuple[ChannelFact, ...]:
    """Return the facts of every channel, in order of channel numbers."""
    return tuple(_channel(job, channel) for channel in sorted(job.channels, key=lambda c: c.channel))


def _channel(job: Job, channel: Channel) -> ChannelFact:
    number = channel.channel
    load = job.load_type(number)
    location, feed = job.location_of(number), job.feed_of(number)
    return ChannelFact(
        channel=number,
        name=channel.name,
        cavity=channel.cavity,
        wire=channel.wire or "",
        load_key=load.key,
        load_name=load.name,
        kind=str(load.kind),
        hazard=str(load.hazard),
        location=location.name if location else "",
        feed=feed.name if feed else "",
        fitted=channel.fitted,
        wire_ohm=job.wire_ohm(number),
        moves=load.moves,
        resistance_ohm=_range(load.resistance_ohm),
        inductance_h=_range(load.inductance_mh, 1e-3),
        saturation_a=load.saturation_a.low if load.saturation_a else None,
        steady_current_a=_range(load.steady_current_a),
    )


def _range(quantity: Quantity | None, scale: float = 1.0) -> RangeFact | None:
    if quantity is None:
        return None
    return RangeFact(
        low=quantity.low * scale,
        nominal=quantity.value * scale,
        high=quantity.high * scale,
        source=quantity.source,
    )
