"""What can stop the box on its own: heartbeat, supply, stop input. And the telemetry that says so."""

from loomproof_sim.controller.ports import NEVER_NS
from loomproof_wire.messages import TIMING, StopReason

HEARTBEAT_TIMEOUT_NS = TIMING.heartbeat_timeout_ms * 1_000_000
TELEMETRY_NS = TIMING.telemetry_period_ms * 1_000_000


class StopLatch:
    """The latched stop. The first reason stays until it is cleared."""

    def __init__(self) -> None:
        self.reason = StopReason.BOOT
        self.input_open = False

    @property
    def stopped(self) -> bool:
        """Whether the box is stopped."""
        return self.reason not in (StopReason.NONE, StopReason.BOOT)

    def latch(self, reason: StopReason) -> bool:
        """Latch; return whether it was not latched before."""
        if self.stopped:
            return False
        self.reason = reason
        return True

    def clear(self) -> None:
        """Leave the stop."""
        self.reason = StopReason.NONE

    def greeted(self) -> None:
        """Something was said to the box."""
        if self.reason is StopReason.BOOT:
            self.reason = StopReason.NONE


class Heartbeat:
    """The last heartbeat of this session."""

    def __init__(self) -> None:
        self._last_ns: int | None = None

    def beat(self, now_ns: int) -> None:
        """Take a heartbeat."""
        self._last_ns = now_ns

    def forget(self) -> None:
        """None yet: a new session, or the last one is too old."""
        self._last_ns = None

    @property
    def alive(self) -> bool:
        """Whether there was one and it still counts."""
        return self._last_ns is not None

    def next_ns(self) -> int:
        """When it will have been missing for too long."""
        return NEVER_NS if self._last_ns is None else self._last_ns + HEARTBEAT_TIMEOUT_NS

    def lost(self, now_ns: int) -> bool:
        """Whether it has been missing for too long, told once."""
        if now_ns < self.next_ns():
            return False
        self.forget()
        return True


class SupplyWatch:
    """Whether the supply is there and in range."""

    def __init__(self, low_v: float, high_v: float) -> None:
        self._low_v = low_v
        self._high_v = high_v
        self.supply_v = 0.0
        self.good = False

    @property
    def supply_mv(self) -> int:
        """Last measured supply."""
        return max(0, min(0xFFFF, round(self.supply_v * 1000)))

    def measured(self, supply_v: float) -> bool:
        """Take a measurement; return whether the supply came or went with it."""
        before, self.supply_v = self.good, supply_v
        self.good = self._low_v <= supply_v <= self._high_v
        return self.good != before


class Telemetry:
    """When to send the next status unasked."""

    def __init__(self) -> None:
        self._due_ns = NEVER_NS

    def begin(self, now_ns: int) -> None:
        """A session was opened."""
        self._due_ns = now_ns + TELEMETRY_NS

    def next_ns(self) -> int:
        """When it is due."""
        return self._due_ns

    def due(self, now_ns: int) -> bool:
        """Whether it is due, and then not again for a period."""
        if now_ns < self._due_ns:
            return False
        self._due_ns += TELEMETRY_NS
        return True
