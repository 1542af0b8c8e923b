"""What stops the box by itself (heartbeat, supply, stop input), and when telemetry is due."""

from loomproof_sim.controller.ports import NEVER_NS
from loomproof_wire.messages import TIMING, StopReason

HEARTBEAT_TIMEOUT_NS = TIMING.heartbeat_timeout_ms * 1_000_000
TELEMETRY_NS = TIMING.telemetry_period_ms * 1_000_000
_OF_THE_BOARD = (StopReason.DRIVER_ON, StopReason.CURRENT_PATH, StopReason.TIMER, StopReason.CONVERTER)


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
        """Latch a stop; return whether none was latched before."""
        if self.stopped:
            return False
        self.reason = reason
        return True

    @property
    def faulty(self) -> bool:
        """Whether the board itself is faulty, which nothing clears."""
        return self.reason in _OF_THE_BOARD

    def fault(self, reason: StopReason) -> bool:
        """Put a fault of the board in the place of another reason; return whether there was another."""
        other, self.reason = self.reason is not reason, reason
        return other

    def clear(self) -> None:
        """Clear the stop."""
        self.reason = StopReason.NONE

    def greeted(self) -> None:
        """Note the first hello, which ends the state after power-up."""
        if self.reason is StopReason.BOOT:
            self.reason = StopReason.NONE


class HeartbeatTimer:
    """Times the heartbeats of this session."""

    def __init__(self) -> None:
        self._last_ns: int | None = None

    def beat(self, now_ns: int) -> None:
        """Take a heartbeat."""
        self._last_ns = now_ns

    def forget(self) -> None:
        """Wait for a first heartbeat: the session is new, or the last heartbeat is too old."""
        self._last_ns = None

    @property
    def alive(self) -> bool:
        """Whether a heartbeat came and still counts."""
        return self._last_ns is not None

    def next_ns(self) -> int:
        """Return when the heartbeat will have been missing for too long."""
        return NEVER_NS if self._last_ns is None else self._last_ns + HEARTBEAT_TIMEOUT_NS

    def lost(self, now_ns: int) -> bool:
        """Return True once when the heartbeat has been missing for too long."""
        if now_ns < self.next_ns():
            return False
        self.forget()
        return True


class SupplyWatch:
    """Keeps whether the supply is present and in range."""

    def __init__(self, low_v: float, high_v: float) -> None:
        self._low_v = low_v
        self._high_v = high_v
        self.supply_v = 0.0
        self.good = False

    @property
    def supply_mv(self) -> int:
        """The last measured supply."""
        return max(0, min(0xFFFF, round(self.supply_v * 1000)))

    def measured(self, supply_v: float) -> bool:
        """Take a measurement; return whether it made the supply good or bad."""
        before, self.supply_v = self.good, supply_v
        self.good = self._low_v <= supply_v <= self._high_v
        return self.good != before


class TelemetryTimer:
    """Times the telemetry, the status that is sent unasked."""

    def __init__(self) -> None:
        self._due_ns = NEVER_NS

    def begin(self, now_ns: int) -> None:
        """Start the period: a session was opened."""
        self._due_ns = now_ns + TELEMETRY_NS

    def next_ns(self) -> int:
        """Return when the next telemetry is due."""
        return self._due_ns

    def due(self, now_ns: int) -> bool:
        """Return True once in each period."""
        if now_ns < self._due_ns:
            return False
        self._due_ns += TELEMETRY_NS
        return True
