"""What the operator says to something that runs in the session's thread, in order."""

from __future__ import annotations

import queue
from typing import Generic, TypeVar

T = TypeVar("T")


class Spoken(Generic[T]):
    """Said in the interface's thread, heard in the session's."""

    def __init__(self) -> None:
        self._said: queue.SimpleQueue[T] = queue.SimpleQueue()

    def say(self, what: T) -> None:
        """Say it; never waits."""
        self._said.put(what)

    def hear(self) -> T | None:
        """What was said next, if anything."""
        try:
            return self._said.get_nowait()
        except queue.Empty:
            return None

    def forget(self) -> None:
        """Hear no more of what was said so far: it was meant for what ran before."""
        while self.hear() is not None:
            pass
