"""Python's full garbage collections, kept to moments when nothing is driven.

A full collection looks at every object of the program and lets no other thread run meanwhile: here 100 to 250 ms, in
which a stop key goes unread. So the interpreter is kept from starting one by itself. What a start leaves is set
aside (`gc.freeze`), so that a sweep has little to look at; all of it is only looked at now and then, when nothing runs.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable

FIRST_S = 3.0
"""The first sweep comes when what a start imports is there."""
SWEEP_S = 60.0
"""Between sweeps of what came since, at work or not, so that memory stays bounded in an hour's walk."""
ASIDE_S = 900.0
"""Between looks at what was set aside, some of which has become garbage."""
NEVER = 1_000_000
"""Younger generations gathered before the interpreter would make a full collection by itself."""


class Sweeper:
    """Makes the full collections. All methods in one thread.

    Args:
        now_s: a monotonic clock, in seconds.
    """

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._before: tuple[int, int, int] | None = None
        self._sweep_due_s = self._aside_due_s = 0.0

    def begin(self) -> None:
        """Keep the interpreter from full collections of its own."""
        if self._before is None:
            self._before = gc.get_threshold()
            gc.set_threshold(*self._before[:2], NEVER)
        self._aside_due_s = self._now_s() + FIRST_S
        self._sweep_due_s = self._now_s() + SWEEP_S

    def tick(self, *, working: bool) -> None:
        """Sweep if it is time to. Call it often.

        Args:
            working: something runs, so that a stop key must not wait.
        """
        now_s = self._now_s()
        if self._before is None:
            return
        if not working and now_s >= self._aside_due_s:
            gc.unfreeze()
            gc.collect()
            gc.freeze()
            self._aside_due_s, self._sweep_due_s = now_s + ASIDE_S, now_s + SWEEP_S
        elif now_s >= self._sweep_due_s:
            gc.collect()
            self._sweep_due_s = now_s + SWEEP_S

    def end(self) -> None:
        """Leave all to the interpreter again."""
        if self._before is not None:
            gc.unfreeze()
            gc.set_threshold(*self._before)
            self._before = None
