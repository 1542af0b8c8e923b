"""The link for virtual time: it has no thread; a caller that waits reads the port, which advances its clock."""

import contextlib
import threading
from collections.abc import Callable
from typing import Protocol

from loomproof.link.base import PORT_ERRORS, Link, Port, describe, read_some
from loomproof.link.errors import LinkLost
from loomproof.link.protocol import GATE_S

_LONGEST_READ_S = 0.1
_SHORTEST_READ_S = 1e-6


class VirtualPort(Port, Protocol):
    """A port with a clock of its own: `read` advances it, up to the timeout, until a byte is there."""

    def now_s(self) -> float: ...  # noqa: D102


class PumpedLink(Link):
    """A link whose time passes only while a request, `sleep` or `next_event` waits."""

    def __init__(
        self, port: VirtualPort, url: str, *, auto_call_in: bool = False, gate_s: float = GATE_S
    ) -> None:
        super().__init__(port, url, auto_call_in=auto_call_in, gate_s=gate_s)
        self._virtual_port = port
        self._pump_lock = threading.RLock()

    def now_s(self) -> float:
        """Return the seconds of the port's clock."""
        return self._virtual_port.now_s()

    def close(self) -> None:
        """Close the port."""
        with contextlib.suppress(*PORT_ERRORS), self._pump_lock, self._port_lock:
            self._port.close()
        self._lose("closed")

    def _wait(self, ready: Callable[[], bool], deadline_s: float | None) -> bool:
        while True:
            with self._changed:
                if ready():
                    return True
            if deadline_s is not None and self.now_s() >= deadline_s:
                return False
            if self._auto_call_in:
                self.call_in()
            self._step(deadline_s)

    def _step(self, deadline_s: float | None) -> None:
        try:
            with self._pump_lock:
                now_s = self.now_s()
                until_s = min(self._core.next_due_s(), now_s + _LONGEST_READ_S)
                if deadline_s is not None:
                    until_s = min(until_s, deadline_s)
                with self._port_lock:
                    self._port.timeout = max(until_s - now_s, _SHORTEST_READ_S)
                    data = read_some(self._port)
                with self._changed:
                    after = self._core.last_stop
                    events = self._core.receive(data)
                    due = self._core.poll(self.now_s())
                    self._changed.notify_all()
        except PORT_ERRORS as error:
            self._lose(describe(error))
            return
        if due:
            with contextlib.suppress(LinkLost):
                self._write(due, after)
        for event in events:
            self._publish(event)
