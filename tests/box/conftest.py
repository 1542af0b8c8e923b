"""A box client on the simulated box in virtual time, over a line that can be spoilt frame by frame."""

import pytest
import serial

from loomproof.box.client import Box
from loomproof.link.ports import open_port
from loomproof.link.pumped import PumpedLink
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import Configure, Hazard, LoadClass


class SpoiltPort:
    """Hands frames through `from_box` and `to_box`, each a function message -> list of messages to pass on.

    Attributes:
        said: every message the box sent, before spoiling.
    """

    virtual_clock = True

    def __init__(self, port):
        self.port = port
        self.timeout = 0.0
        self.from_box = self.to_box = None
        self.said = []
        self.inward, self.outward = FrameReader(), FrameReader()
        self.ready = bytearray()
        self.unplugged = False

    def now_s(self):
        return self.port.now_s()

    def write(self, data):
        self.check()
        if self.to_box is None:
            return self.port.write(data)
        for frame in self.outward.feed(data):
            assert isinstance(frame, Frame)
            for passed in self.to_box(decode(frame)):
                self.port.write(self.raw(frame, passed))
        return len(data)

    @staticmethod
    def raw(frame, passed):
        return passed if isinstance(passed, bytes) else encode_frame(frame.sequence, passed)

    def pull_in(self, timeout_s):
        self.port.timeout = timeout_s
        data = self.port.read(4096)
        for frame in self.inward.feed(data):
            assert isinstance(frame, Frame)
            message = decode(frame)
            self.said.append(message)
            for passed in [message] if self.from_box is None else self.from_box(message):
                self.ready += self.raw(frame, passed)

    def check(self):
        if self.unplugged:
            raise serial.SerialException("device disconnected")

    @property
    def in_waiting(self):
        self.check()
        self.pull_in(0)
        return len(self.ready)

    def read(self, size=1):
        self.check()
        if not self.ready:
            self.pull_in(self.timeout)
        got = bytes(self.ready[:size])
        del self.ready[:size]
        return got

    def close(self):
        self.port.close()


class Bench:
    """Opens boxes by URL over spoilt ports; `port` is the newest."""

    def __init__(self):
        self.boxes = []
        self.port = None
        self.prepare = lambda port: None

    def connect(self, url="sim://?clock=virtual", *, auto_call_in=True, patience_s=1.0):
        def open_again():
            self.port = SpoiltPort(open_port(url, 250_000))
            self.prepare(self.port)
            return PumpedLink(self.port, url, auto_call_in=auto_call_in)

        box = Box(url, open_again, patience_s)
        self.boxes.append(box)
        return box

    @property
    def hands(self):
        return self.port.port.sim.hands


@pytest.fixture
def bench():
    bench = Bench()
    yield bench
    for box in bench.boxes:
        box.close()


@pytest.fixture
def box(bench):
    """A connected box whose channel 1 is an injector, 4 a relay."""
    box = bench.connect()
    box.configure(Configure(1, LoadClass.INJECTOR, Hazard.FUEL, 0, 20_000, 0, 500, 100, 5000, 200))
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.sleep(0.15)
    return box


@pytest.fixture(scope="session")
def bench_factory():
    """For property tests, which must not share a function-scoped bench between examples."""
    return Bench
