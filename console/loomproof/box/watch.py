"""A watch: a load held or left alone while the loom is flexed, each dropout reported."""

from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self

from loomproof.box.drive_log import events_until_end
from loomproof.link.base import Link
from loomproof_wire import messages


class WatchRun:
    """A watch under way. Iterate over its dropouts; leaving the `with` block early cancels it.

    Attributes:
        ended: how it ended, None while it has not.
    """

    def __init__(
        self, link: Link, channel: int, cancel: Callable[[], None], release: Callable[[], None]
    ) -> None:
        self.channel = channel
        self.ended: messages.DriveEnded | None = None
        self._events: Iterator[messages.Event] = events_until_end(link, (channel,))
        self._cancel = cancel
        self._release = release

    def __iter__(self) -> Iterator[messages.Dropout]:
        for event in self._events:
            if isinstance(event, messages.Dropout) and event.channel == self.channel:
                yield event
            elif isinstance(event, messages.DriveEnded) and event.channel == self.channel:
                self.ended = event

    def collect(self) -> tuple[messages.Dropout, ...]:
        """Wait until the watch is over and return its dropouts."""
        return tuple(self)

    def cancel(self) -> None:
        """End the watch early; safe from any thread."""
        self._cancel()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self.ended is None and kind is None:
                self._cancel()
                self.collect()
        finally:
            self._release()
