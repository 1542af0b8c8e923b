"""A small fake box, in virtual time or behind a real pty or socket, that can spoil its answers."""

import contextlib
import heapq
import itertools
import os
import socket
import threading
import time
import tty
from collections import Counter

import pytest
import serial

from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    SPEC_HASH,
    Ack,
    BoxState,
    Direction,
    DriveTrain,
    GetStatus,
    Heartbeat,
    Hello,
    Identity,
    Refusal,
    Refused,
    Status,
    Stop,
    StopReason,
)

IDENTITY = Identity(
    PROTOCOL_MAJOR, 0, SPEC_HASH, "0.1", 0xABCD, "fake", "F-1", 1, 16, 10, 26_000, 600, "2026-01-31"
)
STATUS = Status(1, BoxState.IDLE, StopReason.BOOT, 0, 12_500, 230, 0, 0, 0, (0,) * 5, 4, 0, 0, 0)


class FakeBox:
    """Keeps the sequence rule, counts what it executed, and spoils the next answers as told.

    Attributes:
        spoil: what to do to each next answer: "lose", "corrupt", "double", or a delay in seconds.
    """

    def __init__(self):
        self.reader = FrameReader()
        self.session = 0
        self.answered = None
        self.event_number = 0
        self.executed = Counter()
        self.received = []
        self.heartbeats = []
        self.spoil = []
        self.refuse = {}

    def receive(self, data, now_s):
        """Return [(due_s, bytes)]."""
        out = []
        for frame in self.reader.feed(data):
            if isinstance(frame, Frame):
                out += self.take(frame, now_s)
        return out

    def take(self, frame, now_s):
        message = decode(frame)
        self.received.append((now_s, frame.sequence, message))
        if isinstance(message, Heartbeat):
            self.heartbeats.append((now_s, message.session))
            return []
        if isinstance(message, Stop):
            self.executed["stop"] += 1
            return self.answer(frame.sequence, Ack(Stop.KIND), now_s)
        if self.answered and self.answered[0] == frame.sequence:
            return self.answer(*self.answered, now_s)
        reply = self.execute(message)
        self.answered = (frame.sequence, reply)
        return self.answer(frame.sequence, reply, now_s)

    def execute(self, message):
        self.executed[message.NAME] += 1
        if message.KIND in self.refuse:
            return Refused(message.KIND, self.refuse[message.KIND], 0)
        if isinstance(message, Hello):
            self.session, self.event_number = message.session, 0
            return IDENTITY
        if not self.session:
            return Refused(message.KIND, Refusal.NO_SESSION, 0)
        return STATUS if isinstance(message, GetStatus) else Ack(message.KIND)

    def answer(self, sequence, reply, now_s):
        raw = encode_frame(sequence, reply)
        spoil = self.spoil.pop(0) if self.spoil else None
        if spoil == "lose":
            return []
        if spoil == "corrupt":
            return [(now_s, raw[:4] + bytes([raw[4] ^ 0x10 or 1]) + raw[5:])]
        if spoil == "double":
            return [(now_s, raw), (now_s, raw)]
        return [(now_s + (spoil or 0), raw)]

    def event(self, message):
        assert message.DIRECTION is Direction.EVENT
        self.event_number += 1
        return encode_frame(self.event_number - 1, message)


class VirtualPort:
    """A port in virtual time with a fake box at its other end."""

    virtual_clock = True

    def __init__(self, box):
        self.box = box
        self.timeout = 0.0
        self.clock_s = 0.0
        self.due = []
        self.order = itertools.count()
        self.closed = False
        self.unplugged = False
        self.incoming = bytearray()
        self.written = []

    def now_s(self):
        return self.clock_s

    def check(self):
        if self.closed or self.unplugged:
            raise serial.SerialException("device disconnected")

    def write(self, data):
        self.check()
        self.written.append((self.clock_s, bytes(data)))
        for due_s, raw in self.box.receive(data, self.clock_s):
            self.deliver(raw, due_s)
        return len(data)

    def deliver(self, raw, due_s=None):
        heapq.heappush(self.due, (self.clock_s if due_s is None else due_s, next(self.order), raw))

    @property
    def in_waiting(self):
        self.check()
        while self.due and self.due[0][0] <= self.clock_s + 1e-12:
            self.incoming += heapq.heappop(self.due)[2]
        return len(self.incoming)

    def read(self, size=1):
        self.check()
        if not self.in_waiting:
            next_s = self.due[0][0] if self.due else float("inf")
            self.clock_s = min(next_s, self.clock_s + self.timeout)
        got = bytes(self.incoming[: min(size, self.in_waiting)])
        del self.incoming[: len(got)]
        return got

    def close(self):
        self.closed = True


class RealServer:
    """Serves a fake box over file-like `receive`/`send` functions, in its own thread."""

    def __init__(self, box, receive, send, close):
        self.box = box
        self.receive, self.send, self.close_port = receive, send, close
        self.lock = threading.Lock()
        self.frozen = threading.Event()
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self):
        with contextlib.suppress(OSError):
            while not self.ended.is_set():
                data = self.receive()
                if data == b"":
                    return
                if data is None or self.frozen.is_set():
                    continue
                with self.lock:
                    out = self.box.receive(data, time.monotonic())
                for due_s, raw in out:
                    threading.Timer(max(0, due_s - time.monotonic()), self.send_safely, (raw,)).start()

    def send_safely(self, raw):
        with contextlib.suppress(OSError):
            self.send(raw)

    def unplug(self):
        self.ended.set()
        self.thread.join(2)
        self.close_port()


def pty_server(box):
    main, branch = os.openpty()
    tty.setraw(branch)
    os.set_blocking(main, False)
    url = os.ttyname(branch)

    def receive():
        time.sleep(0.001)
        try:
            return os.read(main, 4096)
        except BlockingIOError:
            return None

    def close():
        os.close(main)
        with contextlib.suppress(OSError):
            os.close(branch)

    return url, RealServer(box, receive, lambda raw: os.write(main, raw), close)


def tcp_server(box):
    listener = socket.create_server(("127.0.0.1", 0))
    state = {}

    def receive():
        if "peer" not in state:
            state["peer"] = listener.accept()[0]
            state["peer"].settimeout(0.01)
        try:
            return state["peer"].recv(4096)
        except TimeoutError:
            return None

    def send(raw):
        state["peer"].sendall(raw)

    def close():
        listener.close()
        if "peer" in state:
            state["peer"].close()

    server = RealServer(box, receive, send, close)
    return f"socket://127.0.0.1:{listener.getsockname()[1]}", server


@pytest.fixture
def box():
    return FakeBox()


@pytest.fixture
def port(box):
    return VirtualPort(box)


@pytest.fixture(params=["pty", "tcp"])
def served(request, box):
    """(url, server) of a fake box behind a real port."""
    url, server = {"pty": pty_server, "tcp": tcp_server}[request.param](box)
    yield url, server
    if not server.ended.is_set():
        server.unplug()


@pytest.fixture
def pty_of():
    return pty_server


@pytest.fixture
def eventually():
    """Wait, for as long as a loaded machine may need, until something holds; fail when it never does."""

    def wait(condition, limit_s=20.0):
        end_s = time.monotonic() + limit_s
        while not condition():
            assert time.monotonic() < end_s, "never happened"
            time.sleep(0.002)

    return wait


@pytest.fixture
def hello():
    return Hello(PROTOCOL_MAJOR, 0, 77, SPEC_HASH)


@pytest.fixture
def train():
    return DriveTrain(3, 20, 100_000, 3000, 0, 1, 0)
