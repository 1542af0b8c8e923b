"""While nothing is driven: whether every driver is really off, and every current reading alive."""

from loomproof_sim.controller.activity import BoxParts
from loomproof_wire.messages import StopReason

BAND_A = 0.024
"""Current about zero that is none: the reference board's twelve counts of its fine range."""
SETTLED_NS = 20_000_000
"""After this the current of any load has decayed."""


class RestLook:
    """Looks at the channels at rest.

    Args:
        parts: the parts of the box.
        now_ns: the present.
    """

    def __init__(self, parts: BoxParts, now_ns: int) -> None:
        self._parts = parts
        self._resting_ns = now_ns

    def driven(self, now_ns: int) -> None:
        """Note that something was driven until now."""
        self._resting_ns = now_ns

    def fault(self, now_ns: int) -> tuple[int, float, StopReason] | None:
        """Return channel, current and kind of the first fault of the board; None while currents may still decay."""
        if now_ns < self._resting_ns + SETTLED_NS:
            return None
        for channel in self._parts.table.kinds:
            current_a = self._parts.plant.sample(channel, now_ns / 1e9).current_a
            if current_a > BAND_A:
                return channel, current_a, StopReason.DRIVER_ON
            if current_a < -BAND_A:
                return channel, 0.0, StopReason.CURRENT_PATH
        return None
