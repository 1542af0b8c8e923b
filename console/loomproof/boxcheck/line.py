"""A raw line to a box: it sends any frame, right or wrong, and keeps every message with its time.

Unlike `loomproof.link` it adds nothing: no repeats, no sequence numbers of its own. It is for one thread only.
"""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar, cast

from loomproof.link.base import PORT_ERRORS, Port, describe
from loomproof.link.errors import LinkLost
from loomproof.link.ports import open_port
from loomproof_wire.frames import BadFrame, FrameReader, decode, encode_frame, encode_raw_frame
from loomproof_wire.messages import FRAME, TIMING, Direction, Heartbeat, Message, WireError

SLICE_S = 0.02
"""Longest read in real time, and so how late a heartbeat can be."""
_SHORTEST_READ_S = 1e-6

MessageT = TypeVar("MessageT", bound=Message)


class RawPort(Port, Protocol):
    """The part of a pyserial port that a line needs. With `virtual_clock`, the time of `now_s()` passes in `read` only."""


class LineLostError(Exception):
    """The port went away or could not be opened."""


@dataclass(frozen=True)
class Received:
    """A message from the box.

    Attributes:
        at_s: time of arrival by the line's clock.
        sequence: number in its frame: the request's for a reply, the box's counter for an event.
        message: the decoded message.
        order: its place on the line, counted from 1.
    """

    at_s: float
    sequence: int
    message: Message
    order: int


class RawLine:
    """A line to a box; while `beating`, heartbeats of `session` go out whenever time passes.

    `replied` is the place on the line of the reply that was taken out last.

    Args:
        port: an open port; the line owns it.
        url: names the port in error messages.
    """

    def __init__(self, port: RawPort, url: str = "?") -> None:
        self.port = port
        self.url = url
        self.virtual = bool(getattr(port, "virtual_clock", False))
        self.session = 0
        self.beating = False
        self.events: deque[Received] = deque()
        self.replies: deque[Received] = deque()
        self.unreadable: list[str] = []
        self._reader = FrameReader()
        self._beat_due_s = 0.0
        self._received_count = 0
        self.replied = 0

    def now_s(self) -> float:
        """Return the line's time: the box's own in virtual time, else monotonic seconds."""
        return float(self.port.now_s()) if self.virtual else time.monotonic()  # type: ignore[attr-defined]

    def close(self) -> None:
        """Close the port."""
        try:
            self.port.close()
        except PORT_ERRORS as error:
            raise LineLostError(f"{self.url}: {describe(error)}") from error

    def write(self, data: bytes) -> None:
        """Send bytes as they are.

        Raises:
            LineLostError: the port is gone.
        """
        try:
            self.port.write(data)
        except PORT_ERRORS as error:
            raise LineLostError(f"{self.url}: {describe(error)}") from error

    def send(self, message: Message, sequence: int) -> None:
        """Send a well-formed message."""
        self.write(encode_frame(sequence, message))

    def send_raw(self, kind: int, sequence: int, body: bytes) -> None:
        """Send a well-formed frame around any body."""
        self.write(encode_raw_frame(kind, sequence, body))

    def beat(self) -> float:
        """Send one heartbeat of the session and return the time."""
        now_s = self.now_s()
        self.send(Heartbeat(self.session), 0)
        self._beat_due_s = now_s + TIMING.heartbeat_period_ms / 1000
        return now_s

    def until(self, ready: Callable[[], bool], within_s: float) -> bool:
        """Let time pass until `ready()` or for `within_s`; return `ready()`."""
        end_s = self.now_s() + within_s
        while not ready():
            now_s = self.now_s()
            if now_s >= end_s:
                return False
            self._step(min(end_s - now_s, self._until_beat_s(now_s)))
        return True

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.until(lambda: False, seconds)

    def _until_beat_s(self, now_s: float) -> float:
        if not self.beating:
            return 0.1 if self.virtual else SLICE_S
        return max(self._beat_due_s - now_s, _SHORTEST_READ_S)

    def _step(self, longest_s: float) -> None:
        self.port.timeout = max(_SHORTEST_READ_S, longest_s if self.virtual else min(longest_s, SLICE_S))
        try:
            data = self.port.read(1)
            if data and (more := self.port.in_waiting):
                data += self.port.read(more)
        except PORT_ERRORS as error:
            raise LineLostError(f"{self.url}: {describe(error)}") from error
        self._take(data)
        if self.beating and self.now_s() >= self._beat_due_s - 1e-9:
            self.beat()

    def _take(self, data: bytes) -> None:
        for found in self._reader.feed(data):
            if isinstance(found, BadFrame):
                self.unreadable.append(f"a malformed frame ({found.reason})")
                continue
            try:
                message = decode(found)
            except WireError as error:
                self.unreadable.append(str(error))
                continue
            queue = self.events if message.DIRECTION is Direction.EVENT else self.replies
            self._received_count += 1
            queue.append(Received(self.now_s(), found.sequence, message, self._received_count))

    def reply_to(self, sequence: int, within_s: float) -> Message | None:
        """Take out the reply with a sequence number, and older replies, and return it; None when it does not come."""

        def found() -> bool:
            return any(received.sequence == sequence for received in self.replies)

        if not self.until(found, within_s):
            return None
        while (received := self.replies.popleft()).sequence != sequence:
            pass
        self.replied = received.order
        return received.message

    def event(
        self, kind: type[MessageT], within_s: float, where: Callable[[MessageT], bool] = lambda _: True
    ) -> Received | None:
        """Take out and return the first event of a kind for which `where` holds, or None."""

        def first() -> Received | None:
            for received in self.events:
                if isinstance(received.message, kind) and where(received.message):
                    return received
            return None

        self.until(lambda: first() is not None, within_s)
        received = first()
        if received is not None:
            self.events.remove(received)
        return received

    def clear(self) -> None:
        """Drop everything received so far."""
        self.until(lambda: False, 0.0)
        self.events.clear()
        self.replies.clear()
        self.unreadable.clear()


def open_line(url: str, baud: int = FRAME.default_baud) -> RawLine:
    """Open a port and send nothing yet.

    Raises:
        LineLostError: the port cannot be opened.
    """
    try:
        return RawLine(cast(RawPort, open_port(url, baud)), url)
    except LinkLost as error:
        raise LineLostError(str(error)) from error
