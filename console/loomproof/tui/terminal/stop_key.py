"""Stop on every way out: the key in the input thread, signals, a closed terminal, a broken input.

None of this waits for the event loop. The stop is handed in as a plain callable that may run in any thread.
"""

from __future__ import annotations

import os
import select
import selectors
import signal
import threading
from codecs import getincrementaldecoder
from contextlib import suppress
from types import FrameType
from typing import Protocol, runtime_checkable

from textual._xterm_parser import XTermParser
from textual.driver import Driver
from textual.drivers.linux_driver import LinuxDriver
from textual.events import Key
from textual.message import Message

STOP_BYTES = (b"\x18", b"\x03", b"\x1b[24~")
"""Ctrl+X, Ctrl+C and F12 as most terminals send them; other encodings are recognised from the parsed key."""
SIGNAL_WAIT_S = 0.2
EXIT_GRACE_S = 3.0


def is_stop_key(key: str) -> bool:
    """Tell whether a Textual key name is a stop key, with whatever further modifiers are held."""
    *modifiers, base = key.split("+")
    return base == "f12" or (base in ("x", "c") and "ctrl" in modifiers)


@runtime_checkable
class Stoppable(Protocol):
    """What the driver and the guards need of the application."""

    def stop_now(self) -> None:
        """Every output off at once; any thread; never raises."""
        ...

    def leave_soon(self, why: str) -> None:
        """End the program from any thread."""
        ...


class StopsFirst(Driver):
    """What every driver of the console adds: it stops the box in the input thread, before the event loop gets the key."""

    def process_message(self, message: Message) -> None:
        """Stop first, then pass the key on."""
        if isinstance(message, Key) and is_stop_key(message.key):
            self._stop()
        super().process_message(message)

    def _stop(self) -> None:
        if isinstance(self._app, Stoppable):
            self._app.stop_now()

    def _leave(self, why: str) -> None:
        self._stop()
        if isinstance(self._app, Stoppable):
            self._app.leave_soon(why)


class StopKeyDriver(StopsFirst, LinuxDriver):
    """Sees the stop key in the thread that reads the terminal, also inside what cannot be parsed."""

    def run_input_thread(self) -> None:
        """Read keys as the base class does; look at the raw bytes first, survive what cannot be parsed.

        The raw look also catches a stop key inside an unfinished escape sequence or paste. A stop key that is
        part of pasted text stops as well, which is the safe side.
        """
        with selectors.SelectSelector() as selector:
            selector.register(self.fileno, selectors.EVENT_READ)
            parser = XTermParser(self._debug)
            decode = getincrementaldecoder("utf-8")(errors="replace").decode
            while not self.exit_event.is_set():
                if selector.select(0.1):
                    data = self._read()
                    if not data:
                        self._leave("the terminal was closed")
                        return
                    parser = self._parse(parser, decode(data))
                with suppress(Exception):
                    for event in parser.tick():
                        self.process_message(event)

    def _read(self) -> bytes:
        try:
            data = os.read(self.fileno, 4096)
        except OSError:
            return b""
        if any(sequence in data for sequence in STOP_BYTES):
            self._stop()
        return data

    def _parse(self, parser: XTermParser, text: str) -> XTermParser:
        try:
            for event in parser.feed(text):
                self.process_message(event)
        except Exception:  # noqa: BLE001 - a key the parser cannot read must not cost the stop key
            return XTermParser(self._debug)
        return parser


class Guards:
    """Signal handlers and a watch on the terminal that stop the box on every way out they can see."""

    def __init__(self, app: Stoppable, terminal_fd: int | None = 0) -> None:
        self._app = app
        self._fd = terminal_fd
        self._before: dict[int, object] = {}
        self._done = threading.Event()
        self._leaving = False

    def install(self) -> None:
        """Hook SIGINT, SIGTERM, SIGHUP and SIGTSTP, and watch the terminal. Main thread only."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            self._before[number] = signal.signal(number, self._on_leave)
        self._before[signal.SIGTSTP] = signal.signal(signal.SIGTSTP, self._on_suspend)
        if self._fd is not None:
            threading.Thread(target=self._watch_terminal, name="terminal-watch", daemon=True).start()

    def remove(self) -> None:
        """Put the handlers back that were there before."""
        self._done.set()
        for number, handler in self._before.items():
            with suppress(ValueError, TypeError):
                signal.signal(number, handler)  # type: ignore[arg-type]
        self._before.clear()

    def stop_aside(self) -> None:
        """Stop in a thread of its own.

        A handler runs on top of whatever the main thread was doing, which may hold the port's lock: the
        thread gets it as soon as the main thread goes on.
        """
        thread = threading.Thread(target=self._app.stop_now, name="stop", daemon=True)
        thread.start()
        thread.join(SIGNAL_WAIT_S)

    def _on_leave(self, number: int, frame: FrameType | None) -> None:
        self.stop_aside()
        self._end(f"signal {signal.Signals(number).name}", 128 + number)

    def _on_suspend(self, number: int, frame: FrameType | None) -> None:
        self.stop_aside()
        before = self._before.get(number)
        if callable(before):
            before(number, frame)
        else:
            os.kill(os.getpid(), signal.SIGSTOP)

    def _end(self, why: str, code: int) -> None:
        if not self._leaving:
            self._leaving = True
            threading.Thread(target=self._force, args=(code,), name="leave", daemon=True).start()
            self._app.leave_soon(why)

    def _force(self, code: int) -> None:
        """End the process when the event loop does not get round to it; the box is stopped already."""
        if not self._done.wait(EXIT_GRACE_S):
            self._app.stop_now()
            os._exit(code)

    def _watch_terminal(self) -> None:
        poll = select.poll()
        assert self._fd is not None
        poll.register(self._fd, 0)  # hang-up and error are always reported
        while not self._done.wait(0.1):
            try:
                events = poll.poll(0)
            except OSError:
                events = [(self._fd, select.POLLNVAL)]
            if events:
                self._app.stop_now()
                self._end("the terminal was closed", 129)
                return
