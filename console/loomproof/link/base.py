"""The interface of a link to one box, and what the threaded and the pumped link share."""

import logging
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from serial import SerialTimeoutException

from loomproof.link.errors import LinkLost, StopSent
from loomproof.link.protocol import GATE_S, Counters, LinkCore, StopMark
from loomproof_wire.messages import Event, Reply, Request, Stop

log = logging.getLogger(__name__)

WRITE_TIMEOUT_S = 0.25
"""The longest that a write may take on a port that accepts nothing, and so the longest that a stop waits behind it."""

PORT_ERRORS = (OSError, TypeError, AttributeError, ValueError)
"""The errors that pyserial raises when a port goes away: SerialException and plain OSError, or TypeError,
AttributeError and ValueError when the file or socket vanishes during a call."""


class Port(Protocol):
    """The part of a pyserial port that a link needs."""

    timeout: float | None

    def read(self, size: int = 1, /) -> bytes: ...  # noqa: D102
    def write(self, data: bytes, /) -> int | None: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102
    @property
    def in_waiting(self) -> int: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class LinkDown:
    """Sent to subscribers once, when the port goes away."""

    cause: str


Subscriber = Callable[[Event | LinkDown], None]

DRAIN_LIMIT_BYTES = 4096


def read_some(port: Port) -> bytes:
    """Wait for one byte up to the port's timeout, then take the bytes that are there.

    The number of bytes is limited, so that heartbeats stay on time in a flood.
    """
    data = bytearray(port.read(1))
    while data and len(data) < DRAIN_LIMIT_BYTES and (waiting := port.in_waiting):
        data += port.read(min(waiting, DRAIN_LIMIT_BYTES))
    return bytes(data)


def read_some_of_a_socket(port: Port) -> bytes:
    """Read like `read_some` from a port whose `in_waiting` is never above 1, where byte by byte is too slow."""
    wait_s = port.timeout
    first = port.read(1)
    if not first:
        return first
    try:
        port.timeout = 0
        return first + port.read(DRAIN_LIMIT_BYTES)
    finally:
        port.timeout = wait_s


class Link(ABC):
    """A link to one box. Any thread may call its methods, but a subscriber's callback must not.

    Args:
        port: an open port, which the link owns from now on.
        url: names the box in error messages.
        auto_call_in: whether waiting in this link counts as a sign of life of the interface.
        gate_s: how long after the last sign of life heartbeats still go out.
    """

    def __init__(self, port: Port, url: str, *, auto_call_in: bool = False, gate_s: float = GATE_S) -> None:
        self.url = url
        self._port = port
        self._auto_call_in = auto_call_in
        self._core = LinkCore(url=url, gate_s=gate_s)
        self._changed = threading.Condition(threading.RLock())
        self._request_lock = threading.RLock()
        # Re-entrant: a signal handler may stop the box in the thread that is in the middle of a write.
        self._port_lock = threading.RLock()
        self._subscribers: tuple[Subscriber, ...] = ()
        self._dispatching_thread: int | None = None
        self._down_published = False

    def request(self, message: Request, timeout_s: float | None = None, tries: int | None = None) -> Reply:
        """Send a request and return its answer; repeat it with the same sequence number while none comes.

        Args:
            message: the request.
            timeout_s: seconds to wait before each repeat; None = the protocol's own.
            tries: how often to send it in all; None = the protocol's own.

        Raises:
            RangeError: a field is out of range; nothing was sent.
            RequestRefused: the box refused it.
            NoReply: no answer came; the box may have carried it out.
            Unreadable: the answer is of another protocol version.
            StopSent: a stop was sent meanwhile and no answer came; the request is not repeated.
            LinkLost: the port is gone.
        """
        if threading.get_ident() == self._dispatching_thread:
            raise RuntimeError("a subscriber must not send requests: it would wait for itself")
        after = None if isinstance(message, Stop) else self._core.last_stop
        with self._request_lock:
            with self._changed:
                pending = self._core.begin(
                    message, self.now_s(), after=after, timeout_s=timeout_s, tries=tries
                )
            try:
                if not self._write(pending.frame, after):
                    raise StopSent(message.KIND)
                self._wait(lambda: pending.finished, None)
                return pending.result()
            finally:
                with self._changed:
                    self._core.abandon(pending)

    def next_event(self, timeout_s: float) -> Event | None:
        """Return the oldest event that was not taken yet, after up to `timeout_s`; None when there is none.

        Raises:
            LinkLost: the port is gone and no event is left.
        """
        deadline_s = self.now_s() + timeout_s
        self._wait(lambda: bool(self._core.events) or self._core.lost is not None, deadline_s)
        with self._changed:
            if self._core.events:
                return self._core.events.popleft()
            self._raise_if_lost()
        return None

    def clear_events(self) -> None:
        """Drop the events that were not taken yet."""
        with self._changed:
            self._core.events.clear()

    def sleep(self, seconds: float) -> None:
        """Let time pass, in the link's own clock.

        Raises:
            LinkLost: the port went away meanwhile.
        """
        self._wait(lambda: self._core.lost is not None, self.now_s() + seconds)
        with self._changed:
            self._raise_if_lost()

    def subscribe(self, callback: Subscriber) -> Callable[[], None]:
        """Call `callback` with every event and with the loss of the link; return a function that ends this.

        The callback runs in the thread that reads the port. It must be quick and must not send requests.
        """
        self._subscribers = (*self._subscribers, callback)

        return lambda: self.unsubscribe(callback)

    def unsubscribe(self, callback: Subscriber) -> None:
        """Stop calling `callback`."""
        self._subscribers = tuple(other for other in self._subscribers if other != callback)

    def call_in(self) -> None:
        """Show that the interface is alive; after `gate_s` without this heartbeats cease and the box stops."""
        self._core.call_in(self.now_s())

    def stop_now(self) -> None:
        """Write a stop frame at once, from any thread or signal handler, without waiting for an answer.

        It waits for no request, only for another thread's write of one frame. Every request begun before is abandoned:
        it is not sent any more, nor repeated, and ends with its answer, if that still comes, or with StopSent.

        Raises:
            LinkLost: the port is gone; the box then stops by itself when heartbeats are missing.
        """
        self._write(self._core.stop())

    @property
    def connected(self) -> bool:
        """Whether the port is there."""
        return self._core.lost is None

    @property
    def counters(self) -> Counters:
        """The faults and repeats that the link has counted so far."""
        return self._core.counters

    @abstractmethod
    def now_s(self) -> float:
        """Return the time of the link's clock, in seconds."""

    @abstractmethod
    def close(self) -> None:
        """Close the port. Safe to call twice."""

    @abstractmethod
    def _wait(self, ready: Callable[[], bool], deadline_s: float | None) -> bool:
        """Let time pass until `ready()`, evaluated under the lock, or the deadline; return `ready()`."""

    def _raise_if_lost(self) -> None:
        if self._core.lost is not None:
            raise LinkLost(self.url, self._core.lost)

    def _write(self, data: bytes, after: StopMark | None = None) -> bool:
        """Write, unless a stop was sent after the one that `after` marks; return whether that was so."""
        if self._core.lost is not None:
            raise LinkLost(self.url, self._core.lost)
        try:
            with self._port_lock:
                if self._core.stopped_since(after):
                    return False
                self._port.write(data)
        except SerialTimeoutException:
            # A port that accepts nothing: the frame counts as lost on the way; requests are repeated.
            log.warning("the port at %s accepted no data for %.2f s", self.url, WRITE_TIMEOUT_S)
        except PORT_ERRORS as error:
            self._lose(describe(error))
            raise LinkLost(self.url, describe(error)) from error
        return True

    def _lose(self, cause: str) -> None:
        with self._changed:
            self._core.lose(cause)
            first, self._down_published = not self._down_published, True
            self._changed.notify_all()
        if first:
            self._publish(LinkDown(cause))

    def _publish(self, event: Event | LinkDown) -> None:
        before, self._dispatching_thread = self._dispatching_thread, threading.get_ident()
        try:
            for callback in self._subscribers:
                try:
                    callback(event)
                except Exception:  # a subscriber's mistake must not silence the heartbeat
                    log.exception("a subscriber failed on %r", event)
        finally:
            self._dispatching_thread = before


def describe(error: BaseException) -> str:
    """Return a port error in words."""
    return str(error) or type(error).__name__
