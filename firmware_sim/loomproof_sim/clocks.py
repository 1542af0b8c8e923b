"""Two clocks with one interface: real time for people, virtual time for tests."""

import time
from typing import Protocol


class Clock(Protocol):
    """Time of a simulated box, in nanoseconds since it was powered.

    Attributes:
        virtual: whether time passes only when the box sets it.
    """

    virtual: bool

    def now_ns(self) -> int:
        """Return the time."""


class VirtualClock:
    """Time that passes only when `set_ns` is called."""

    virtual = True

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        """Return the time."""
        return self._now_ns

    def set_ns(self, time_ns: int) -> None:
        """Let time pass up to `time_ns`; an earlier time changes nothing."""
        self._now_ns = max(self._now_ns, time_ns)


COMPUTING_NS = 2_000_000
"""Computing time below this counts as the box's own time."""


class RealClock:
    """The machine's monotonic clock, less the time that computing the physics takes.

    A machine that computes the physics slower than real time runs the box in slow motion. Otherwise the box
    would miss heartbeats that the computing itself delayed.
    """

    virtual = False

    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        """Return the time."""
        return time.monotonic_ns() - self._start_ns

    def stand_still_since(self, time_ns: int) -> None:
        """Take back the time since `time_ns` when it was long; only the holder of the box calls this."""
        late_ns = self.now_ns() - time_ns
        if late_ns > COMPUTING_NS:
            self._start_ns += late_ns
