"""What can go wrong in working with a box, over and above what the link knows."""

from collections.abc import Iterable

from loomproof.link.base import LinkDown
from loomproof.link.errors import BoxError, LinkLost, NoReply, RequestRefused, StopSent, Unreadable
from loomproof.link.protocol import Counters
from loomproof_wire.messages import PROTOCOL_MAJOR, STOP_REASON_TEXT, Refusal, StopReason

__all__ = [
    "BoxError",
    "BoxStopped",
    "ConfigurationMismatch",
    "Counters",
    "EventLost",
    "Incompatible",
    "LinkDown",
    "LinkLost",
    "NoReply",
    "RequestRefused",
    "StopSent",
    "Unreadable",
    "other_version",
]


class Incompatible(BoxError):  # noqa: N818 - the name says what happened
    """The box speaks another major protocol version, or is not the box expected. `remedy` says what to do."""

    def __init__(self, text: str, remedy: str) -> None:
        self.remedy = remedy
        super().__init__(f"{text}; {remedy}")


def other_version(theirs: int) -> Incompatible:
    """Return the error for a box of major version `theirs`."""
    older = "box firmware" if theirs < PROTOCOL_MAJOR else "console"
    return Incompatible(
        f"the box speaks protocol version {theirs}, this console version {PROTOCOL_MAJOR}",
        f"update the {older}",
    )


class BoxStopped(RequestRefused):
    """The box will not do this because it is stopped, or its stop input is open.

    Attributes:
        stop_reason: why it stopped, None if it could not be asked.
    """

    def __init__(
        self, request_kind: int, reason: Refusal, detail: int = 0, stop_reason: StopReason | None = None
    ) -> None:
        super().__init__(request_kind, reason, detail)
        self.stop_reason = stop_reason

    def __str__(self) -> str:
        why = f" (why: {STOP_REASON_TEXT[self.stop_reason]})" if self.stop_reason else ""
        return super().__str__() + why


class EventLost(BoxError):  # noqa: N818 - the name says what happened
    """The box is idle again but its report on the drive never arrived: how it ended is unknown."""

    def __init__(self, channel: int) -> None:
        self.channel = channel
        super().__init__(
            f"the drive of channel {channel} is over, but the box's report on it was lost on the way; "
            "repeat it"
        )


class ConfigurationMismatch(BoxError):  # noqa: N818 - the name says what happened
    """The box does not hold the configuration that it was given.

    Attributes:
        channels: the channels that differ, in order.
    """

    def __init__(self, channels: Iterable[int]) -> None:
        self.channels = tuple(sorted(channels))
        listed = ", ".join(str(channel) for channel in self.channels)
        super().__init__(
            f"the box does not hold what it was told about channel {listed}; "
            "configure it again before driving"
        )
