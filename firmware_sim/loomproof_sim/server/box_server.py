"""The loop that serves one box: its port, its hands, its clock and a clean end."""

import selectors
import signal
import socket
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import TextIO

from loomproof_sim.box import SimBox
from loomproof_sim.hands.local import HandsError
from loomproof_sim.hands.remote import act_from_words, perform, perform_line
from loomproof_sim.server.ports import READ_BYTES, ServedPort, address_of
from loomproof_wire.messages import StopReason

LONGEST_WAIT_S = 0.02
LONGEST_LINE_BYTES = 4096
ENDING = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


class HandsServer:
    """Carries out the JSON lines of any number of clients.

    Args:
        selector: watches the sockets.
        server: a listening socket that does not block.
        box: the box whose hands are served.
    """

    def __init__(self, selector: selectors.BaseSelector, server: socket.socket, box: SimBox) -> None:
        self._selector = selector
        self._server = server
        self._box = box
        self._held: dict[socket.socket, bytes] = {}
        self.address = address_of(server)
        selector.register(server, selectors.EVENT_READ, self._accept)

    def _accept(self) -> None:
        client, _ = self._server.accept()
        client.setblocking(False)
        self._held[client] = b""
        self._selector.register(client, selectors.EVENT_READ, partial(self._read, client))

    def _read(self, client: socket.socket) -> None:
        try:
            data = client.recv(READ_BYTES)
            *lines, rest = (self._held[client] + data).split(b"\n")
            for line in lines:
                client.sendall(perform_line(line, self._box.hands))
        except OSError:
            data, rest = b"", b""
        self._held[client] = rest
        if not data or len(rest) > LONGEST_LINE_BYTES:
            self._drop(client)

    def _drop(self, client: socket.socket) -> None:
        del self._held[client]
        self._selector.unregister(client)
        client.close()

    def close(self) -> None:
        """Close every connection."""
        for client in list(self._held):
            self._drop(client)
        self._selector.unregister(self._server)
        self._server.close()


class TypedHands:
    """Carries out lines from standard input, such as `pull 5`, and answers on standard error."""

    def __init__(self, selector: selectors.BaseSelector, stream: TextIO, box: SimBox) -> None:
        self._selector = selector
        self._stream = stream
        self._box = box
        self._held = b""
        with suppress(OSError, ValueError):  # a plain file cannot be watched; then nobody types
            selector.register(stream, selectors.EVENT_READ, self._read)

    def _read(self) -> None:
        data = self._stream.buffer.raw.read(READ_BYTES)  # type: ignore[attr-defined]
        if not data:
            self._selector.unregister(self._stream)
            return
        *lines, self._held = (self._held + data).split(b"\n")
        for line in lines:
            if line.strip():
                self._say(self._do(line.decode(errors="replace")))

    def _do(self, line: str) -> str:
        try:
            answer = perform(act_from_words(line), self._box.hands)
        except HandsError as error:
            return str(error)
        return "done" if answer["ok"] else str(answer["error"])

    @staticmethod
    def _say(text: str) -> None:
        with suppress(OSError):
            print(text, file=sys.stderr, flush=True)


class Server:
    """Runs a box in real time until a signal ends it.

    Args:
        box: a box with a real clock.
        selector: watches the port and the hands.
    """

    def __init__(self, box: SimBox, selector: selectors.BaseSelector) -> None:
        self._box = box
        self._selector = selector
        self._ending = False

    def run(self, port: ServedPort, ready: Callable[[], None] = lambda: None) -> None:
        """Serve until a signal ends it; then switch every output off.

        Args:
            port: the console's end.
            ready: called as soon as a signal would end the server cleanly.
        """
        with _Signals(self._selector, self._end):
            ready()
            while not self._ending:
                self._turn(port)
        with self._box as controller:
            controller.stop(StopReason.COMMAND)

    def _end(self) -> None:
        self._ending = True

    def _turn(self, port: ServedPort) -> None:
        with self._box as controller:
            wait_s = (controller.next_event_ns() - controller.now_ns) / 1e9
        for key, _ in self._selector.select(min(LONGEST_WAIT_S, wait_s)):
            key.data()
        port.attend()
        output = self._box.read(1 << 20, 0)
        if output:
            port.write(output)


class _Signals:
    """Turns ending signals into a call from within the loop."""

    def __init__(self, selector: selectors.BaseSelector, end: Callable[[], None]) -> None:
        self._selector = selector
        self._end = end
        self._near, self._far = socket.socketpair()

    def __enter__(self) -> None:
        self._near.setblocking(False)
        self._far.setblocking(False)
        self._selector.register(self._near, selectors.EVENT_READ, self._end)
        signal.set_wakeup_fd(self._far.fileno())
        self._before = {number: signal.signal(number, lambda *_: self._end()) for number in ENDING}

    def __exit__(self, *_: object) -> None:
        signal.set_wakeup_fd(-1)
        for number, handler in self._before.items():
            signal.signal(number, handler)
        self._selector.unregister(self._near)
        self._near.close()
        self._far.close()
