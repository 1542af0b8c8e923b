"""From the verdicts and measurements of a session to the channels as the pages show them. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import HasMoved, Signature
from loomproof.facts.verdict import PropertyVerdict, Verdict, channel_verdict
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.model import Job
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.words import Live


def place_name(job: Job, channel: int | None) -> str:
    """Return what the place of a channel's connector is called: its location, else the channel itself."""
    if channel is None:
        return ""
    location = job.location_of(channel)
    return location.name if location is not None else job.channel(channel).name


def with_uncertainty(estimate: Estimate, factor: float, unit: str) -> str:
    """Return a value with its expanded uncertainty (k = 2), both to the uncertainty's second figure."""
    value, u2 = estimate.value * factor, 2.0 * estimate.u * factor
    digits = 0
    while digits < 4 and u2 < 10 ** (1 - digits):
        digits += 1
    return f"{value:.{digits}f} ± {u2:.{digits}f} {unit}"


def measured_text(signature: Signature | None) -> str:
    """Return a signature in a few words."""
    if signature is None:
        return ""
    parts = []
    if signature.resistance_ohm is not None:
        parts.append(with_uncertainty(signature.resistance_ohm, 1.0, "Ω"))
    if signature.inductance_h is not None:
        parts.append(with_uncertainty(signature.inductance_h, 1e3, "mH"))
    if not parts and signature.final_current_a is not None:
        parts.append(with_uncertainty(signature.final_current_a, 1.0, "A"))
    if signature.moved is not HasMoved.CANNOT_TELL:
        parts.append("moved" if signature.moved is HasMoved.YES else "did NOT move")
    return ", ".join(parts)


def channel_views(
    job: Job,
    verdicts: Sequence[PropertyVerdict] = (),
    signatures: Mapping[int, Signature] | None = None,
    live: Mapping[int, Live] | None = None,
) -> tuple[ChannelView, ...]:
    """Return every channel of a job as it stands.

    Args:
        job: the job.
        verdicts: of every property so far.
        signatures: the newest measurement, by channel.
        live: what a channel does now, by channel; those left out are off.
    """
    signatures, live = signatures or {}, live or {}
    found = []
    for channel in sorted(job.channels, key=lambda c: c.channel):
        number = channel.channel
        load, location, feed = job.load_type(number), job.location_of(number), job.feed_of(number)
        verdict = channel_verdict(verdicts, number) if channel.fitted else Verdict.NOT_FITTED
        wrong = [
            p.reason for p in verdicts if p.channel == number and p.verdict in (Verdict.FAIL, Verdict.UNSURE)
        ]
        found.append(
            ChannelView(
                channel=number,
                name=channel.name,
                load=load.name,
                cavity=channel.cavity,
                wire=channel.wire or "",
                location=location.name if location else "",
                feed=feed.name if feed else "",
                hazard=load.hazard,
                live=live.get(number, Live.OFF),
                verdict=verdict,
                measured=measured_text(signatures.get(number)),
                reason="; ".join(reason for reason in wrong if reason),
                fitted=channel.fitted,
                cylinder=location.cylinder if location else None,
                role=LOAD_TRAITS[load.kind].engine_letter,
            )
        )
    return tuple(found)
