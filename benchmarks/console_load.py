"""What the console costs on a real terminal: first frame, processor time, and how soon the stop key stops.

usage: python -m benchmarks.console_load   (called by python -m benchmarks)

The console runs as a process of its own on a pseudo-terminal of 120x36, against a simulated box that a third
process serves over TCP; this process only drains the terminal, passes bytes between the two and looks at its
clock. Streaming means: all 16 channels change at 20 Hz and so does the trace of the bench page. Shares are of
one core, by the processor time that the system counts for the console's process.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import random
import re
import select
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import median, quantiles

from rich.console import Console
from rich.table import Table

from benchmarks.console_stream import HANG_S
from loomproof_wire import messages
from loomproof_wire.frames import Frame, FrameReader

ROOT = Path(__file__).parents[1]
JOB = ROOT / "examples" / "inline-five-turbo.toml"
STREAMER = Path(__file__).with_name("console_stream.py")
SIZE = (120, 36)
STARTS = 7
WATCHED_S = 8.0
STOPS = 300
HANGS = 5
CONTROL = re.compile(rb"\x1b(\[[0-9;?<>=]*[ -/]*[@-~]|\][^\x07\x1b]*(\x07|\x1b\\)|[@-Z\\-_=>])")
FRAME_CHARACTERS = 80
"""A frame is on the screen when this many characters stand there, control sequences not counted."""
TRIVIAL = """
from textual.app import App
from textual.widgets import Static
class Trivial(App):
    def compose(self):
        yield Static("one line of text")
Trivial().run()
"""
Row = tuple[str, str, str]


class Terminal:
    """A program on a pseudo-terminal, its output drained by a thread."""

    def __init__(self, command: list[str]) -> None:
        self.began = time.perf_counter()
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", SIZE[1], SIZE[0], 0, 0))
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        for name in ("NO_COLOR", "COLUMNS", "LINES"):
            environment.pop(name, None)
        self.process = subprocess.Popen(
            command,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=environment,
            start_new_session=True,
            cwd=ROOT,
        )
        os.close(slave)
        self.seen = bytearray()
        self.first_frame_s: float | None = None
        self.bytes_out = 0
        threading.Thread(target=self._drain, daemon=True).start()

    def _drain(self) -> None:
        with contextlib.suppress(OSError):
            while data := os.read(self.master, 65536):
                now = time.perf_counter()
                self.bytes_out += len(data)
                if len(self.seen) < 400_000:
                    self.seen += data
                if self.first_frame_s is None and len(CONTROL.sub(b"", bytes(self.seen))) >= FRAME_CHARACTERS:
                    self.first_frame_s = now - self.began

    def wait_for(self, condition: Callable[[], object], what: str, patience_s: float = 60.0) -> None:
        until = time.monotonic() + patience_s
        while not condition():
            if time.monotonic() > until or self.process.poll() is not None:
                raise SystemExit(f"waited in vain for {what}; the screen began with:\n{self.text[-2000:]}")
            time.sleep(0.005)

    @property
    def text(self) -> str:
        return CONTROL.sub(b"", bytes(self.seen)).decode("utf-8", "replace")

    def send(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def processor_s(self) -> float:
        """User and system time of the process so far, all its threads."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def share(self, seconds: float) -> float:
        """Part of one core that the process takes over some seconds."""
        before, began = self.processor_s(), time.perf_counter()
        time.sleep(seconds)
        return (self.processor_s() - before) / (time.perf_counter() - began)

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        with contextlib.suppress(OSError):
            os.close(self.master)


class Passage:
    """Passes bytes between the console and the served box and notes when stop frames come through."""

    def __init__(self, box_port: int) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.server.getsockname()[1]}"
        self.stops: list[float] = []
        self.stopped = threading.Event()
        self.beats: list[float] = []
        self._box_port = box_port
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                console, _ = self.server.accept()
                self._attend(console)

    def _attend(self, console: socket.socket) -> None:
        box = socket.create_connection(("127.0.0.1", self._box_port))
        for end in (console, box):
            end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        reader = FrameReader()
        with console, box, contextlib.suppress(OSError):
            while True:
                ready, _, _ = select.select([console, box], [], [])
                for end in ready:
                    data = end.recv(65536)
                    now = time.perf_counter()
                    if not data:
                        return
                    if end is box:
                        console.sendall(data)
                        continue
                    for frame in reader.feed(data):
                        if isinstance(frame, Frame) and frame.kind == messages.Stop.KIND:
                            self.stops.append(now)
                            self.stopped.set()
                        elif isinstance(frame, Frame) and frame.kind == messages.Heartbeat.KIND:
                            self.beats.append(now)
                    box.sendall(data)


@dataclass
class Served:
    """A simulated box in a process of its own."""

    process: subprocess.Popen[str]
    port: int

    @classmethod
    def start(cls) -> Served:
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        command = [
            sys.executable,
            "-m",
            "loomproof_sim",
            "serve",
            "--tcp",
            f"127.0.0.1:{port}",
            "--job",
            str(JOB),
            "--seed",
            "5",
        ]
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True)
        until = time.monotonic() + 60
        while time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                return cls(process, port)
            time.sleep(0.05)
        raise SystemExit("the simulated box does not answer")

    def end(self) -> None:
        self.process.kill()
        self.process.wait()


def console_command(url: str, how: str) -> list[str]:
    return [sys.executable, str(STREAMER), str(JOB), url, how]


def first_frames(url: str) -> list[Row]:
    """Starts of the real command and of a trivial application, by turns."""
    ours: list[float] = []
    trivial: list[float] = []
    real = [
        sys.executable,
        "-m",
        "loomproof.cli.app",
        "open",
        str(JOB),
        "--box",
        url,
        "--records",
        "sqlite://",
    ]
    for _ in range(STARTS):
        for command, times in ((real, ours), ([sys.executable, "-c", TRIVIAL], trivial)):
            terminal = Terminal(command)
            try:
                terminal.wait_for(lambda t=terminal: t.first_frame_s is not None, "a first frame")  # type: ignore[misc]
                times.append(terminal.first_frame_s or 0.0)
            finally:
                terminal.end()
    ratio = median(ours) / median(trivial)
    what = f"against a trivial Textual app ({median(trivial) * 1e3:.0f} ms); goal 1.5 x"
    return [("console, first frame", f"{ratio:.2f} x", what)]


def opened(url: str, how: str) -> Terminal:
    """The console on its bench page, connected and past its start."""
    terminal = Terminal(console_command(url, how))
    terminal.wait_for(lambda: "box live" in terminal.text, "the box")
    terminal.send(b"3")
    terminal.wait_for(lambda: "Pulse width" in terminal.text, "the bench page")
    time.sleep(2.0)
    return terminal


def shares(passage: Passage) -> list[Row]:
    """Processor time at rest and while streaming."""
    rows = []
    for how, name, goal in (("rest", "console at rest", "3 %"), ("stream", "console, streaming", "25 %")):
        terminal = opened(passage.url, how)
        try:
            before = terminal.bytes_out
            share = terminal.share(WATCHED_S)
            rate = (terminal.bytes_out - before) / WATCHED_S / 1e3
        finally:
            terminal.end()
        rows.append((name, f"{share:.1%}", f"of a core, {rate:.1f} kB/s to the terminal; goal under {goal}"))
    trivial = Terminal([sys.executable, "-c", TRIVIAL])
    try:
        trivial.wait_for(lambda: trivial.first_frame_s is not None, "a first frame")
        time.sleep(1.0)
        rows.append(
            ("trivial app at rest", f"{trivial.share(WATCHED_S / 2):.1%}", "of a core, for comparison")
        )
    finally:
        trivial.end()
    return rows


BARE = """
import os, socket, sys, tty
wire = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
tty.setraw(0)
print("ready", flush=True)
while os.read(0, 1):
    wire.sendall(b"x")
"""
"""The least that can be between a key and the wire: one thread that reads a byte and sends one."""


def bare_times() -> list[float]:
    """The same way with nothing in it, at the load that the machine has now."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        terminal = Terminal([sys.executable, "-c", BARE, str(server.getsockname()[1])])
        try:
            wire, _ = server.accept()
            terminal.wait_for(lambda: "ready" in terminal.text, "the bare reader")
            rng, times = random.Random(1), []
            for _ in range(STOPS):
                time.sleep(rng.uniform(0.03, 0.09))
                pressed = time.perf_counter()
                terminal.send(b"k")
                wire.recv(1)
                times.append(time.perf_counter() - pressed)
            return times
        finally:
            terminal.end()


def stop_times(passage: Passage) -> list[Row]:
    """From the stop key's byte on the terminal to the stop frame's bytes on the wire, while streaming."""
    terminal = opened(passage.url, "stream")
    rng = random.Random(1)
    times: list[float] = []
    try:
        for _ in range(STOPS):
            time.sleep(rng.uniform(0.03, 0.09))
            passage.stopped.clear()
            pressed = time.perf_counter()
            terminal.send(b"\x18")
            if not passage.stopped.wait(5.0):
                raise SystemExit("a stop key brought no stop frame")
            times.append(passage.stops[-1] - pressed)
    finally:
        terminal.end()
    what = (
        f"key to stop frame on the wire, {STOPS} presses, longest {max(times) * 1e3:.1f} ms; goal p99 20 ms"
    )
    return [
        ("stop key, streaming", _spread(times), what),
        (
            "bare reader",
            _spread(bare_times()),
            "key to one byte on the wire, no console: what the machine takes",
        ),
    ]


def heartbeats(passage: Passage) -> list[Row]:
    """Their period while the interface lives and streams, and when the last one comes once it hangs."""
    terminal = opened(passage.url, "stream")
    try:
        passage.beats.clear()
        time.sleep(WATCHED_S)
        beats = list(passage.beats)
        ceased = []
        for _ in range(HANGS):
            hung = time.perf_counter()
            terminal.process.send_signal(signal.SIGUSR1)
            time.sleep(HANG_S)
            ceased.append(max((at for at in passage.beats if at < hung + HANG_S), default=hung) - hung)
            time.sleep(HANG_S)
    finally:
        terminal.end()
    between = [later - earlier for earlier, later in pairwise(beats)]
    period_ms = messages.TIMING.heartbeat_period_ms
    return [
        (
            "heartbeat, streaming",
            _spread(between),
            f"between two; declared {period_ms} ms, the box stops after {messages.TIMING.heartbeat_timeout_ms} ms",
        ),
        (
            "interface hangs",
            f"{max(ceased) * 1e3:.0f} ms",
            f"to the last heartbeat, longest of {HANGS}; goal under 500 ms",
        ),
    ]


def _spread(times: list[float]) -> str:
    cuts = quantiles(times, n=100, method="inclusive")
    return f"p50 {cuts[49] * 1e3:.1f} ms, p99 {cuts[98] * 1e3:.1f} ms"


def rows() -> list[Row]:
    """All figures."""
    served = Served.start()
    try:
        passage = Passage(served.port)
        return [*first_frames(passage.url), *shares(passage), *stop_times(passage), *heartbeats(passage)]
    finally:
        served.end()


def main() -> int:
    """Measure and print."""
    table = Table("what", "figure", "of what")
    for row in rows():
        table.add_row(*row)
    Console().print(table)
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    Console().print(
        f"Load of this machine meanwhile: {busy:.1f} processes a core; over 1 all of this is slower."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
