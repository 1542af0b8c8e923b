"""What the operator enters on a page for something that runs in the session's thread, in order."""

from __future__ import annotations

import queue
from typing import Generic, TypeVar

T = TypeVar("T")


class Inbox(Generic[T]):
    """Entries of the interface's thread, read by the session's thread."""

    def __init__(self) -> None:
        self._entries: queue.SimpleQueue[T] = queue.SimpleQueue()

    def put(self, entry: T) -> None:
        """Add an entry; never waits."""
        self._entries.put(entry)

    def next(self) -> T | None:
        """Return the oldest entry, if there is one; never waits."""
        try:
            return self._entries.get_nowait()
        except queue.Empty:
            return None

    def clear(self) -> None:
        """Drop every entry: they were meant for what ran before."""
        while self.next() is not None:
            pass
