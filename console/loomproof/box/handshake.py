"""Opening a session: hello, version negotiation, and reading what the box is."""

import secrets
from dataclasses import dataclass

from loomproof.box.errors import Incompatible, other_version
from loomproof.box.requests import ask
from loomproof.link.base import Link
from loomproof.link.errors import RequestRefused, Unreadable
from loomproof_wire import messages

BOOT_S = 4.0
"""How long a board may take to answer after opening its port reset it."""


@dataclass(frozen=True, slots=True)
class Capabilities:
    """What a box said of itself on connecting.

    Attributes:
        identity: who it is.
        channels: channel number -> driver, ceilings, calibration.
        configurations: channel number -> configuration it already held.
    """

    identity: messages.Identity
    channels: dict[int, messages.ChannelInfo]
    configurations: dict[int, messages.ChannelConfig]


def greet(link: Link, patience_s: float = BOOT_S) -> messages.Identity:
    """Open a new session and return who answers.

    Raises:
        Incompatible: the box speaks another major version.
        NoReply: nothing answers within about `patience_s`.
    """
    hello = messages.Hello(
        protocol_major=messages.PROTOCOL_MAJOR,
        protocol_minor=messages.PROTOCOL_MINOR,
        session=secrets.randbelow(2**32 - 1) + 1,
        spec_hash=messages.SPEC_HASH,
    )
    tries = max(1, round(patience_s * 1000 / messages.TIMING.request_timeout_ms))
    try:
        identity = ask(link, hello, messages.Identity, tries=tries)
    except RequestRefused as refused:
        if refused.reason is messages.Refusal.BAD_VERSION:
            raise other_version(refused.detail) from refused
        raise
    except Unreadable as unreadable:
        if unreadable.body and unreadable.body[0] != messages.PROTOCOL_MAJOR:
            raise other_version(unreadable.body[0]) from unreadable
        raise
    if identity.protocol_major != messages.PROTOCOL_MAJOR:
        raise other_version(identity.protocol_major)
    return identity


def read_capabilities(link: Link, identity: messages.Identity) -> Capabilities:
    """Read every channel's driver and configuration."""
    numbers = range(1, identity.channel_count + 1)
    infos = {n: ask(link, messages.GetChannel(n), messages.ChannelInfo) for n in numbers}
    configurations = read_configurations(link, len(numbers))
    if any(infos[n].channel != n or configurations[n].channel != n for n in numbers):
        raise Incompatible(
            "the box answers for other channels than it was asked for", "update the box firmware"
        )
    return Capabilities(identity, infos, configurations)


def read_configurations(link: Link, channel_count: int) -> dict[int, messages.ChannelConfig]:
    """Read back what the box was told of each channel."""
    return {n: ask(link, messages.GetConfig(n), messages.ChannelConfig) for n in range(1, channel_count + 1)}


def warnings_about(identity: messages.Identity) -> tuple[str, ...]:
    """Return what the operator should know of a box that may be worked with all the same."""
    found = []
    if identity.spec_hash != messages.SPEC_HASH:
        found.append(
            "The box was built from another edition of the same protocol version "
            f"({identity.spec_hash:08X}, this console {messages.SPEC_HASH:08X})."
        )
    if identity.protocol_minor != messages.PROTOCOL_MINOR:
        found.append(
            f"The box speaks protocol {identity.protocol_major}.{identity.protocol_minor}, this console "
            f"{messages.PROTOCOL_MAJOR}.{messages.PROTOCOL_MINOR}; what only the newer one has is not used."
        )
    return tuple(found)
