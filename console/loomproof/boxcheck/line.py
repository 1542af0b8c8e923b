"""A bare line to a box: frames as a case wants them, right or wrong, and all the box says, with its time.

Unlike `loomproof.link` it hides nothing: no repeats, no sequence numbers but those asked for. For one thread.
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
    """What a line needs of a pyserial port. With `virtual_clock` set, its `now_s()` passes only in `read`."""


class LineLostError(Exception):
    """The port went away or could not be opened."""


@dataclass(frozen=True)
class Heard:
    """A message of the box.

    Attributes:
        at_s: when it came, by the line's clock.
        sequence: of its frame: the request's for a reply, the box's counter for an event.
        message: decoded.
        order: one more than that of the message before it on the line.
    """

    at_s: float
    sequence: int
    message: Message
    order: int


class Line:
    """See the module. `session` above 0 and `beating` make heartbeats go out whenever time passes.

    `replied` is the order on the line of the reply taken out last.

    Args:
        port: an open port; the line owns it.
        url: for error texts.
    """

    def __init__(self, port: RawPort, url: str = "?") -> None:
        self.port = port
        self.url = url
        self.virtual = bool(getattr(port, "virtual_clock", False))
        self.session = 0
        self.beating = False
        self.events: deque[Heard] = deque()
        self.replies: deque[Heard] = deque()
        self.unreadable: list[str] = []
        self._reader = FrameReader()
        self._beat_due_s = 0.0
        self._heard = 0
        self.replied = 0

    def now_s(self) -> float:
        """Return the line's time: the box's own in virtual time, else monotonic seconds."""
        return float(self.port.now_s()) if self.virtual else time.monotonic()  # type: ignore[attr-defined]

    def close(self) -> None:
        """Let go of the port."""
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
        """Send one heartbeat of the session; return when."""
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
                self.unreadable.append(f"a frame that is none ({found.reason})")
                continue
            try:
                message = decode(found)
            except WireError as error:
                self.unreadable.append(str(error))
                continue
            queue = self.events if message.DIRECTION is Direction.EVENT else self.replies
            self._heard += 1
            queue.append(Heard(self.now_s(), found.sequence, message, self._heard))

    def reply_to(self, sequence: int, within_s: float) -> Message | None:
        """Return the reply that carries a sequence number, or None; it and older replies are taken out."""

        def found() -> bool:
            return any(heard.sequence == sequence for heard in self.replies)

        if not self.until(found, within_s):
            return None
        while (heard := self.replies.popleft()).sequence != sequence:
            pass
        self.replied = heard.order
        return heard.message

    def event(
        self, kind: type[MessageT], within_s: float, where: Callable[[MessageT], bool] = lambda _: True
    ) -> Heard | None:
        """Take out and return the first event of a kind for which `where` holds, or None."""

        def first() -> Heard | None:
            for heard in self.events:
                if isinstance(heard.message, kind) and where(heard.message):
                    return heard
            return None

        self.until(lambda: first() is not None, within_s)
        heard = first()
        if heard is not None:
            self.events.remove(heard)
        return heard

    def forget(self) -> None:
        """Forget what was heard so far."""
        self.until(lambda: False, 0.0)
        self.events.clear()
        self.replies.clear()
        self.unreadable.clear()


def open_line(url: str, baud: int = FRAME.default_baud) -> Line:
    """Open a port; nothing is said to the box yet.

    Raises:
        LineLostError: it cannot be opened.
    """
    try:
        return Line(cast(RawPort, open_port(url, baud)), url)
    except LinkLost as error:
        raise LineLostError(str(error)) from error
