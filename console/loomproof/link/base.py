"""What every link offers, and what threaded and pumped links share."""

import logging
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from serial import SerialTimeoutException

from loomproof.link.errors import LinkLost
from loomproof.link.protocol import GATE_S, STOP_BYTES, Counters, LinkCore
from loomproof_wire.messages import Event, Reply, Request

log = logging.getLogger(__name__)

WRITE_TIMEOUT_S = 0.25
"""The longest that one write, and so a stop waiting behind it, may take on a port that accepts nothing."""

PORT_ERRORS = (OSError, TypeError, AttributeError, ValueError)
"""What pyserial raises when a port goes away: SerialException and plain OSError, or TypeError, AttributeError
and ValueError when the file or socket is taken away beneath a call."""


class Port(Protocol):
    """What a link needs of a pyserial port."""

    timeout: float | None

    def read(self, size: int = 1, /) -> bytes: ...  # noqa: D102
    def write(self, data: bytes, /) -> int | None: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102
    @property
    def in_waiting(self) -> int: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class LinkDown:
    """Told to subscribers once, when the port goes away."""

    cause: str


Subscriber = Callable[[Event | LinkDown], None]

DRAIN_LIMIT_BYTES = 4096


def read_some(port: Port) -> bytes:
    """Wait for one byte up to the port's timeout, then take what else is there.

    A flood is cut off so that heartbeats stay on time.
    """
    data = bytearray(port.read(1))
    while data and len(data) < DRAIN_LIMIT_BYTES and (waiting := port.in_waiting):
        data += port.read(min(waiting, DRAIN_LIMIT_BYTES))
    return bytes(data)


def read_some_of_a_socket(port: Port) -> bytes:
    """As `read_some`, for ports whose `in_waiting` is never above 1: byte by byte is too slow there."""
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
    """A way to one box. Methods may be called from any thread, except from within a subscriber's callback.

    Args:
        port: an open port; the link owns it from here on.
        url: where it leads, for error texts.
        auto_call_in: count waiting in this link as the interface being alive.
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
        self._down_told = False

    def request(self, message: Request, timeout_s: float | None = None, tries: int | None = None) -> Reply:
        """Send a request and wait for its answer, repeating it with the same sequence number when none comes.

        Args:
            message: what to ask.
            timeout_s: seconds to wait before each repeat; the protocol's own by default.
            tries: how often to send it in all; the protocol's own by default.

        Raises:
            RangeError: a field is out of range; nothing was sent.
            Refused: the box said no.
            NoReply: nothing came back; the box may have carried it out.
            Unreadable: the answer is of another protocol version.
            LinkLost: the port is gone.
        """
        if threading.get_ident() == self._dispatching_thread:
            raise RuntimeError("a subscriber must not send requests: it would wait for itself")
        with self._request_lock:
            with self._changed:
                pending = self._core.begin(message, self.now_s(), timeout_s=timeout_s, tries=tries)
            try:
                self._write(pending.frame)
                self._wait(lambda: pending.finished, None)
                return pending.result()
            finally:
                with self._changed:
                    self._core.abandon(pending)

    def next_event(self, timeout_s: float) -> Event | None:
        """Return the oldest event not yet taken, waiting up to `timeout_s`; None when there is none.

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
        """Forget the events not yet taken."""
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
        """Have every event, and the loss of the link, told to `callback`; returns what ends that.

        The callback runs in the thread that reads the port: it must be quick and must not send requests.
        """
        self._subscribers = (*self._subscribers, callback)

        return lambda: self.unsubscribe(callback)

    def unsubscribe(self, callback: Subscriber) -> None:
        """Tell `callback` nothing more."""
        self._subscribers = tuple(other for other in self._subscribers if other != callback)

    def call_in(self) -> None:
        """Show that the interface is alive; without this for `gate_s` heartbeats cease and the box stops."""
        self._core.call_in(self.now_s())

    def stop_now(self) -> None:
        """Write a stop frame at once, from any thread or signal handler, without waiting for an answer.

        It waits for no request: only for another thread's write of one frame to end.

        Raises:
            LinkLost: the port is gone (the box then stops by itself for want of heartbeats).
        """
        self._write(STOP_BYTES)

    @property
    def connected(self) -> bool:
        """Whether the port is there."""
        return self._core.lost is None

    @property
    def counters(self) -> Counters:
        """What the link had to put up with; live."""
        return self._core.counters

    @abstractmethod
    def now_s(self) -> float:
        """Return the time of the link's clock, in seconds."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the port. Safe to call twice."""

    @abstractmethod
    def _wait(self, ready: Callable[[], bool], deadline_s: float | None) -> bool:
        """Let things happen until `ready()` (asked under the lock) or the deadline; returns `ready()`."""

    def _raise_if_lost(self) -> None:
        if self._core.lost is not None:
            raise LinkLost(self.url, self._core.lost)

    def _write(self, data: bytes) -> None:
        if self._core.lost is not None:
            raise LinkLost(self.url, self._core.lost)
        try:
            with self._port_lock:
                self._port.write(data)
        except SerialTimeoutException:
            # A port that accepts nothing: the frame counts as lost on the way; requests are repeated.
            log.warning("the port at %s accepted no data for %.2f s", self.url, WRITE_TIMEOUT_S)
        except PORT_ERRORS as error:
            self._lose(describe(error))
            raise LinkLost(self.url, describe(error)) from error

    def _lose(self, cause: str) -> None:
        with self._changed:
            self._core.lose(cause)
            first, self._down_told = not self._down_told, True
            self._changed.notify_all()
        if first:
            self._tell(LinkDown(cause))

    def _tell(self, event: Event | LinkDown) -> None:
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
