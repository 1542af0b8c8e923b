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


class RealClock:
    """The machine's monotonic clock."""

    virtual = False

    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        """Return the time."""
        return time.monotonic_ns() - self._start_ns
