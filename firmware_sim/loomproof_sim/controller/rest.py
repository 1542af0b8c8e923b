"""The rest that a drive owes its channel, so that no order of drives exceeds the duty. Only a reset forgets it."""

from collections.abc import Callable

from loomproof_sim.controller.limits import RefuseError
from loomproof_wire.messages import Refusal

MS = 1_000_000
ROUNDED_MS = 2
"""The box knows both ends to the millisecond: it takes rather too much than too little."""


class RestLedger:
    """Until when each channel rests, in milliseconds since the start.

    Args:
        duty_permille: the configured duty of a channel.
        booted_ns: when the box started; it counts its milliseconds from there.
    """

    def __init__(self, duty_permille: Callable[[int], int], booted_ns: int) -> None:
        self._duty_permille = duty_permille
        self._booted_ns = booted_ns
        self._until_ms: dict[int, int] = {}

    def owe(self, channel: int, on_ns: int, since_ns: int, now_ns: int) -> None:
        """Note that a channel was last on for `on_ns`, beginning at `since_ns`.

        Args:
            channel: which one.
            on_ns: length of its last stretch on.
            since_ns: begin of that stretch.
            now_ns: the present.
        """
        whole_ms = on_ns // 1000 // self._duty_permille(channel) + ROUNDED_MS
        until_ms = self._uptime_ms(now_ns) + whole_ms - (now_ns - since_ns) // MS
        self._until_ms[channel] = max(until_ms, self._until_ms.get(channel, 0))

    def check(self, channel: int, now_ns: int) -> None:
        """Refuse a channel that still rests."""
        left_ms = self._until_ms.get(channel, 0) - self._uptime_ms(now_ns)
        if left_ms > 0:
            raise RefuseError(Refusal.RESTING, left_ms)

    def _uptime_ms(self, now_ns: int) -> int:
        return (now_ns - self._booted_ns) // MS
