"""The console's end of a served box: a pseudo-terminal or a TCP connection. Neither ever blocks."""

import os
import select
import selectors
import socket
import tty
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

READ_BYTES = 4096
BACKLOG_BYTES = 65_536
"""Most bytes that wait for a console that does not read; beyond it the oldest half is lost, as on a real line."""

Taker = Callable[[bytes], None]


class ServedPort(Protocol):
    """A way to the box.

    Attributes:
        url: the address that the console opens.
    """

    url: str

    def attend(self) -> None:
        """Notice a console that came or went."""

    def write(self, data: bytes) -> None:
        """Send as much as the console takes; the rest waits."""

    def close(self) -> None:
        """Close the port."""


class _Backlog:
    """Bytes that wait for the console."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def push(self, data: bytes, send: Callable[[bytes], int]) -> None:
        """Send as much as `send` takes; pass on every error of `send` but `BlockingIOError`."""
        self._bytes += data
        if len(self._bytes) > BACKLOG_BYTES:
            del self._bytes[: -BACKLOG_BYTES // 2]
        with suppress(BlockingIOError):
            while self._bytes:
                del self._bytes[: send(bytes(self._bytes))]

    def clear(self) -> None:
        """Drop the waiting bytes."""
        self._bytes.clear()


class PtyPort:
    """A pseudo-terminal. While no console has it open, output is lost, as on an unplugged cable.

    Args:
        selector: watches it while a console has it open (a closed one would always be ready).
        take: gets the bytes that the console sends.
    """

    def __init__(self, selector: selectors.BaseSelector, take: Taker) -> None:
        self._selector = selector
        self._take = take
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.url = os.ttyname(slave)
        os.close(slave)  # so that the master sees a hang-up whenever no console has it open
        os.set_blocking(self._master, False)
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)
        self._connected = False
        self._backlog = _Backlog()

    def attend(self) -> None:
        """Notice whether a console opened or closed it."""
        flags = next((flags for _, flags in self._poll.poll(0)), 0)
        here = not flags & select.POLLHUP or bool(flags & select.POLLIN)
        if here and not self._connected:
            self._selector.register(self._master, selectors.EVENT_READ, self._read)
        elif self._connected and not here:
            self._selector.unregister(self._master)
            self._backlog.clear()
        self._connected = here

    def _read(self) -> None:
        with suppress(OSError):
            self._take(os.read(self._master, READ_BYTES))

    def write(self, data: bytes) -> None:
        """Send as much as the console takes; the rest waits."""
        if self._connected:
            with suppress(OSError):
                self._backlog.push(data, lambda part: os.write(self._master, part))

    def close(self) -> None:
        """Close the port."""
        if self._connected:
            self._selector.unregister(self._master)
        os.close(self._master)


class TcpPort:
    """A listening socket for one console at a time; a second one is turned away.

    Args:
        selector: watches the sockets.
        server: a listening socket that does not block.
        take: gets the bytes that the console sends.
    """

    def __init__(self, selector: selectors.BaseSelector, server: socket.socket, take: Taker) -> None:
        self._selector = selector
        self._server = server
        self._take = take
        self._client: socket.socket | None = None
        self._backlog = _Backlog()
        self.url = f"socket://{address_of(server)}"
        selector.register(server, selectors.EVENT_READ, self._accept)

    def attend(self) -> None:
        """Do nothing: the selector reports when a console comes or goes."""

    def _accept(self) -> None:
        client, _ = self._server.accept()
        if self._client is not None:
            client.close()
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client
        self._selector.register(client, selectors.EVENT_READ, self._read)

    def _read(self) -> None:
        assert self._client is not None
        try:
            data = self._client.recv(READ_BYTES)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if data:
            self._take(data)
        else:
            self._drop()

    def _drop(self) -> None:
        if self._client is not None:
            self._selector.unregister(self._client)
            self._client.close()
            self._client = None
            self._backlog.clear()

    def write(self, data: bytes) -> None:
        """Send as much as the console takes; the rest waits."""
        if self._client is not None:
            try:
                self._backlog.push(data, self._client.send)
            except OSError:
                self._drop()

    def close(self) -> None:
        """Close the port."""
        self._drop()
        self._selector.unregister(self._server)
        self._server.close()


def address_of(server: socket.socket) -> str:
    """Return HOST:PORT of a listening socket."""
    host, port = server.getsockname()[:2]
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
