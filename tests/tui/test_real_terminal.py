"""The real program on a real pseudo-terminal, against a simulated box served over TCP by this process.

Every way out ends with the box off: by the stop frame where the program can still send one, by the box's own
heartbeat watch where it cannot. Times are compared by order, never by the clock.
"""

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from pathlib import Path

import pytest

from loomproof_sim.scenario import build_box, make_scenario
from loomproof_wire import messages
from loomproof_wire.frames import Frame, FrameReader

ROOT = Path(__file__).parents[2]
VEHICLE_JOB = ROOT / "examples" / "inline-five-turbo.toml"
_FOLDER = tempfile.TemporaryDirectory(prefix="loomproof-bench-")
JOB = Path(_FOLDER.name) / "inline-five-on-a-bench.toml"
"""On a bench a harmless load is driven without a statement."""
JOB.write_text(VEHICLE_JOB.read_text().replace('setting = "vehicle"', 'setting = "bench"'))
PATIENCE_S = 60.0


class ServedBox:
    """A simulated box behind a TCP port, with a log of the requests that reached it."""

    def __init__(self, job: Path = JOB, faults: tuple[str, ...] = ()) -> None:
        self.box = build_box(make_scenario({"job": str(job), "seed": 3, "faults": list(faults)}))
        self.kinds: list[int] = []
        self.on_stop = lambda: None
        self._reader = FrameReader()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._over = False
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while not self._over:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with client:
                self._attend(client)

    def _attend(self, client: socket.socket) -> None:
        while not self._over:
            ready, _, _ = select.select([client], [], [], 0.005)
            try:
                if ready:
                    data = client.recv(4096)
                    if not data:
                        return
                    self._take(data)
                said = self.box.read(4096, 0)
                if said:
                    client.sendall(said)
            except OSError:
                return

    def _take(self, data: bytes) -> None:
        self.box.write(data)
        for frame in self._reader.feed(data):
            if isinstance(frame, Frame):
                self.kinds.append(frame.kind)
                if frame.kind == messages.Stop.KIND:
                    self.on_stop()

    @property
    def stops(self) -> int:
        """How many stop frames have come."""
        return self.kinds.count(messages.Stop.KIND)

    @property
    def stop_reason(self) -> messages.StopReason:
        """Why the box is stopped."""
        with self.box as controller:
            return controller.latch.reason

    @property
    def any_on(self) -> bool:
        """Whether any driver conducts or a drive is under way."""
        with self.box as controller:
            return controller.outputs.any_on or controller.machine.state is messages.BoxState.DRIVING

    def close(self) -> None:
        self._over = True
        self._server.close()


class Terminal:
    """The program on a pseudo-terminal of its own."""

    def __init__(self, arguments: list[str], size: tuple[int, int] = (80, 24)) -> None:
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": str(size[0]), "LINES": str(size[1])}
        environment.pop("NO_COLOR", None)
        self.process = subprocess.Popen(
            arguments, stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True
        )
        os.close(slave)
        self._raw = bytearray()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        with contextlib.suppress(OSError):
            while data := os.read(self.master, 65536):
                self._raw += data

    @property
    def text(self) -> str:
        """Everything written so far, without control sequences."""
        return re.sub(
            r"\x1b(\[[0-9;?<>]*[ -/]*[@-~]|\][^\x07\x1b]*(\x07|\x1b\\)|[@-Z\\-_])",
            "",
            self._raw.decode("utf-8", "replace"),
        )

    def wait_for(self, words: str) -> None:
        until(lambda: words in self.text, f"{words!r} on the screen; there was:\n{self.text[-3000:]}", self)

    def send(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def hang_up(self) -> None:
        os.close(self.master)

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        with contextlib.suppress(OSError):
            os.close(self.master)


def until(condition, what: str, terminal: Terminal | None = None) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(
                f"waited in vain for {what}" + (f"\nscreen:\n{terminal.text[-3000:]}" if terminal else "")
            )
        time.sleep(0.02)


@pytest.fixture
def served():
    box = ServedBox()
    yield box
    box.close()


@pytest.fixture
def terminal(served, tmp_path):
    marker = tmp_path / "free-again"
    script = Path(__file__).with_name("busy_console.py")
    running = Terminal([sys.executable, str(script), str(JOB), served.url, str(marker), "3"])
    running.marker = marker
    yield running
    running.end()


def to_the_first_question(terminal: Terminal) -> None:
    """Start, look at the loom, and stand before the first pull check."""
    terminal.wait_for("Look at the loom")
    terminal.wait_for("box live")
    terminal.send("o")
    terminal.wait_for("go on")
    terminal.send("g")
    terminal.wait_for("Pull that connector")


def driving(terminal: Terminal, served: ServedBox) -> None:
    """Start a long train on a harmless load from the bench."""
    terminal.wait_for("Look at the loom")
    terminal.wait_for("box live")
    terminal.send("3")
    terminal.wait_for("On-time")
    terminal.send("v")  # the channel list
    for _ in range(10):
        terminal.send("\x1b[B")
    terminal.wait_for("▸11")
    terminal.send("\r")  # takes the channel to its settings
    terminal.wait_for("Channel 11:")
    terminal.send("\r")  # in a setting: drive
    until(lambda: served.any_on, "a drive", terminal)


def test_the_key_stops_while_the_loop_is_busy(terminal, served):
    to_the_first_question(terminal)
    free_when_stopped = []
    served.on_stop = lambda: free_when_stopped.append(terminal.marker.exists())
    terminal.send("\x02")
    until(Path(f"{terminal.marker}.began").exists, "the busy loop", terminal)
    terminal.send("\x18")
    until(lambda: served.stops, "the stop frame", terminal)
    assert free_when_stopped[0] is False, "the stop frame came only after the loop was free again"
    assert served.stop_reason is messages.StopReason.COMMAND
    until(terminal.marker.exists, "the end of the busy loop", terminal)
    terminal.wait_for("STOPPED")


@pytest.mark.parametrize(
    "key",
    ["\x18", "\x1b[24~", "\x03", "\x1b[200~unfinished paste\x18"],
    ids=["ctrl+x", "f12", "ctrl+c", "in a paste"],
)
def test_each_stop_key_ends_a_drive(terminal, served, key):
    driving(terminal, served)
    terminal.send(key)
    until(lambda: served.stops, "the stop frame", terminal)
    assert not served.any_on
    assert served.stop_reason is messages.StopReason.COMMAND


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_signals_stop_the_box_and_end_the_program(terminal, served, number):
    driving(terminal, served)
    terminal.process.send_signal(number)
    until(lambda: served.stops, "the stop frame", terminal)
    assert not served.any_on
    assert served.stop_reason is messages.StopReason.COMMAND
    until(lambda: terminal.process.poll() is not None, "the end of the program")
    assert terminal.process.returncode != 0


def test_a_signal_stops_the_box_while_the_loop_is_busy(terminal, served):
    to_the_first_question(terminal)
    free_when_stopped = []
    served.on_stop = lambda: free_when_stopped.append(terminal.marker.exists())
    terminal.send("\x02")
    until(Path(f"{terminal.marker}.began").exists, "the busy loop", terminal)
    terminal.process.send_signal(signal.SIGTERM)
    until(lambda: served.stops, "the stop frame", terminal)
    assert free_when_stopped[0] is False


def test_a_closed_terminal_stops_the_box_and_ends_the_program(terminal, served):
    driving(terminal, served)
    terminal.hang_up()
    until(lambda: served.stops, "the stop frame")
    assert not served.any_on
    until(lambda: terminal.process.poll() is not None, "the end of the program")


def test_leaving_stops_the_box(terminal, served):
    driving(terminal, served)
    terminal.send("\x11")
    until(lambda: served.stops, "the stop frame", terminal)
    until(lambda: terminal.process.poll() is not None, "the end of the program", terminal)
    assert not served.any_on
    assert terminal.process.returncode == 0


def test_a_crash_stops_the_box(terminal, served):
    driving(terminal, served)
    terminal.send("\x05")
    until(lambda: served.stops, "the stop frame", terminal)
    until(lambda: terminal.process.poll() is not None, "the end of the program", terminal)
    assert not served.any_on
    assert terminal.process.returncode != 0


def test_a_suspended_program_has_stopped_the_box_first(terminal, served):
    driving(terminal, served)
    terminal.process.send_signal(signal.SIGTSTP)
    until(lambda: served.stops, "the stop frame", terminal)
    assert not served.any_on
    terminal.process.send_signal(signal.SIGCONT)


def test_a_killed_program_leaves_the_box_to_its_heartbeat(terminal, served):
    driving(terminal, served)
    terminal.process.kill()
    terminal.process.wait()
    until(lambda: served.stop_reason is messages.StopReason.HEARTBEAT, "the box's own stop")
    assert served.stops == 0
    assert not served.any_on


def test_a_frozen_interface_loses_its_heartbeat(terminal, served):
    """SIGSTOP freezes every thread; the box must not be kept alive by anything."""
    driving(terminal, served)
    terminal.process.send_signal(signal.SIGSTOP)
    until(lambda: served.stop_reason is messages.StopReason.HEARTBEAT, "the box's own stop")
    assert not served.any_on


def test_a_frozen_loop_alone_loses_the_heartbeat_too(served, tmp_path):
    """Only the event loop hangs; the link's thread lives and must cease to send heartbeats."""
    script = Path(__file__).with_name("busy_console.py")
    terminal = Terminal([sys.executable, str(script), str(JOB), served.url, str(tmp_path / "free"), "30"])
    try:
        driving(terminal, served)
        terminal.send("\x02")
        until(lambda: served.stop_reason is messages.StopReason.HEARTBEAT, "the box's own stop", terminal)
        assert not (tmp_path / "free").exists()
        assert served.stops == 0
    finally:
        terminal.end()
