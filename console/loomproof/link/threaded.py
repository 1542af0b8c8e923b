"""The link for real time: one thread owns the port, reads it, repeats requests and sends the heartbeat."""

import contextlib
import threading
import time
from collections.abc import Callable

from loomproof.link.address import AddressKind, kind_of
from loomproof.link.base import PORT_ERRORS, Link, Port, describe, read_some, read_some_of_a_socket
from loomproof.link.protocol import GATE_S

READ_TIMEOUT_S = 0.02
"""How long one read blocks, and so how late a heartbeat or a repeat can be."""
_CALL_IN_SLICE_S = 0.05
_JOIN_S = 2.0


class ThreadedLink(Link):
    """A link with a thread that reads; the caller's thread writes, under a lock held for that one write."""

    def __init__(self, port: Port, url: str, *, auto_call_in: bool = False, gate_s: float = GATE_S) -> None:
        self._read_some = read_some_of_a_socket if kind_of(url) is AddressKind.SOCKET else read_some
        super().__init__(port, url, auto_call_in=auto_call_in, gate_s=gate_s)
        self._closing = threading.Event()
        self._port.timeout = READ_TIMEOUT_S
        self._thread = threading.Thread(target=self._run, name=f"link {url}", daemon=True)
        self._thread.start()

    def now_s(self) -> float:
        """Return monotonic seconds."""
        return time.monotonic()

    def close(self) -> None:
        """Make the I/O thread close the port, which no other thread may do during its read, and wait for it."""
        self._closing.set()
        cancel_read = getattr(self._port, "cancel_read", None)
        if cancel_read is not None:
            with contextlib.suppress(*PORT_ERRORS):
                cancel_read()
        if threading.current_thread() is not self._thread:
            self._thread.join(_JOIN_S)

    def _wait(self, ready: Callable[[], bool], deadline_s: float | None) -> bool:
        with self._changed:
            while not ready():
                left_s = _CALL_IN_SLICE_S if deadline_s is None else deadline_s - self.now_s()
                if left_s <= 0:
                    return False
                if self._auto_call_in:
                    self.call_in()
                self._changed.wait(min(left_s, _CALL_IN_SLICE_S))
            return True

    def _run(self) -> None:
        cause = "the link failed inside the console"
        try:
            while not self._closing.is_set():
                self._step()
            cause = "closed"
        except PORT_ERRORS as error:
            cause = "closed" if self._closing.is_set() else describe(error)
        finally:
            with contextlib.suppress(*PORT_ERRORS), self._port_lock:
                self._port.close()
            self._lose(cause)

    def _step(self) -> None:
        data = self._read_some(self._port)
        with self._changed:
            after = self._core.last_stop
            events = self._core.receive(data)
            due = self._core.poll(self.now_s())
            self._changed.notify_all()
        if due:
            self._write(due, after)
        for event in events:
            self._publish(event)
