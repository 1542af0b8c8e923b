"""A box that is only looked at: what would drive a load is refused here, before a byte of it leaves."""

from collections.abc import Iterable
from typing import Any

from loomproof.box.client import Box
from loomproof.link.errors import BoxError

LOOKS = frozenset(
    {
        "identity",
        "channels",
        "url",
        "warnings",
        "config",
        "configure",
        "verify_configuration",
        "disarm",
        "clear_stop",
        "status",
        "subscribe",
        "now_s",
        "sleep",
        "call_in",
        "watch",
        "stop_now",
        "cancel",
        "reconnect",
        "close",
    }
)
"""What may be asked of it besides sensing. Whatever is not here is refused, also what is added to a box later."""
LONGEST_SENSE_US = 200
"""The longest sense pulse any load type allows: it moves nothing and sparks nothing."""


class LookingOnlyError(BoxError):
    """Something that would drive a load was asked of a box that is only looked at."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"nothing is driven from here, so {what} is refused: this console only reads and senses; "
            "drive the load at the console beside the box"
        )


class LookingBox:
    """Wraps a connected box and lets through what reads it, senses and stops.

    Args:
        box: the box.
    """

    def __init__(self, box: Box) -> None:
        self._box = box

    def sense(self, channel: int, on_time_us: int, samples: int) -> Any:  # noqa: ANN401 - as the box gives it
        """Sense one channel.

        Raises:
            LookingOnlyError: The pulse is longer than any sense pulse.
        """
        self._check(on_time_us)
        return self._box.sense(channel, on_time_us, samples)

    def scan(self, channels: Iterable[int], on_time_us: int) -> Any:  # noqa: ANN401
        """Sense several channels.

        Raises:
            LookingOnlyError: The pulse is longer than any sense pulse.
        """
        self._check(on_time_us)
        return self._box.scan(channels, on_time_us)

    @staticmethod
    def _check(on_time_us: int) -> None:
        if on_time_us > LONGEST_SENSE_US:
            raise LookingOnlyError(f"a pulse of {on_time_us} us")

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        """Hand on what only looks; refuse the rest when it is called."""
        if name in LOOKS:
            return getattr(self._box, name)
        if name.startswith("_"):
            raise AttributeError(name)

        def refuse(*_given: object, **_named: object) -> Any:  # noqa: ANN401
            raise LookingOnlyError(name.replace("_", " "))

        return refuse
