"""Two clocks with one face: real time for people, virtual time for tests."""

import time
from typing import Protocol


class Clock(Protocol):
    """Time of a simulated box, in nanoseconds since it was powered.

    Attributes:
        virtual: whether `wait_until` makes the time itself.
    """

    virtual: bool

    def now_ns(self) -> int:
        """Return the time."""


class VirtualClock:
    """Time that passes only when told to."""

    virtual = True

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        """Return the time."""
        return self._now_ns

    def set_ns(self, time_ns: int) -> None:
        """Let time pass up to `time_ns`; a time gone by is ignored."""
        self._now_ns = max(self._now_ns, time_ns)


COMPUTING_NS = 2_000_000
"""Computing that takes less than this is not taken out of the time."""


class RealClock:
    """The machine's monotonic clock, less the time that computing the physics takes.

    A machine slower than the physics makes the box slow, like one seen in slow motion. Without this the box
    would miss heartbeats that the computing itself held up.
    """

    virtual = False

    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        """Return the time."""
        return time.monotonic_ns() - self._start_ns

    def stand_still_since(self, time_ns: int) -> None:
        """Take the time since `time_ns` back, if it was long; called by whoever holds the box meanwhile."""
        late_ns = self.now_ns() - time_ns
        if late_ns > COMPUTING_NS:
            self._start_ns += late_ns
