"""A bench for the controller: a plain R-L plant that remembers every switch, and a console of a few lines."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from loomproof_sim.controller.controller import Controller
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import REFERENCE
from loomproof_wire import messages as wire
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import ChannelKind, Hazard, LoadClass
from testbed.class_limits import within_class

MS = 1_000_000
US = 1_000
SESSION = 77


@dataclass
class _Sample:
    current_a: float
    drain_v: float
    supply_v: float


class PlainPlant:
    """Every channel an inductor and a resistor on a stiff supply; the current vanishes when switched off."""

    def __init__(self, ohm: float = 14.0, henry: float = 14e-3, supply_v: float = 13.5) -> None:
        self.ohm = dict.fromkeys(range(1, 17), ohm)
        self.henry = dict.fromkeys(range(1, 17), henry)
        self.supply_v = supply_v
        self.away: list[tuple[int, float, float]] = []  # channel, from, until: the contact is open
        self.held_v = supply_v  # where a seated load holds its resting pin: an input holds it at ground
        self.drives: dict[int, Drive] = dict.fromkeys(range(1, 17), Drive.OFF)
        self.since: dict[int, float] = {}
        self.log: list[tuple[int, int, Drive]] = []
        self.strict = True

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        time_ns = round(time_s * 1e9)
        if self.strict:
            assert not self.log or time_ns >= self.log[-1][0], "switched back in time"
        if self.drives[channel] is Drive.OFF:
            self.since[channel] = time_s
        self.drives[channel] = drive
        self.log.append((time_ns, channel, drive))

    def sample_many(self, channel: int, times_s: Any) -> Any:
        times = np.asarray(times_s, dtype=float)
        tau = self.henry[channel] / self.ohm[channel]
        on = self.drives[channel] is not Drive.OFF
        full = self.supply_v / self.ohm[channel]
        dt = times - self.since.get(channel, 0.0)
        current = np.where(on, full * -np.expm1(-np.maximum(dt, 0) / tau), 0.0)
        seated = np.ones(len(times), dtype=bool)
        for where, start, end in self.away:
            if where == channel:
                seated &= (times < start) | (times >= end)
        rest = np.where(seated, self.held_v, 2.5)
        drain = np.where(on, 0.1, rest)
        return np.where(seated, current, 0.0), drain, np.full(len(times), self.supply_v)

    def sample(self, channel: int, time_s: float) -> _Sample:
        current, drain, supply = self.sample_many(channel, [time_s])
        return _Sample(current[0], drain[0], supply[0])

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        return self.sample(channel, time_s).drain_v

    def on_times(self, channel: int) -> list[tuple[int, int | None]]:
        """(on, off) of every stretch that a channel was driven, ns."""
        spans: list[tuple[int, int | None]] = []
        for time_ns, ch, drive in self.log:
            if ch == channel:
                if drive is not Drive.OFF and (not spans or spans[-1][1] is not None):
                    spans.append((time_ns, None))
                elif drive is Drive.OFF and spans and spans[-1][1] is None:
                    spans[-1] = (spans[-1][0], time_ns)
        return spans


@dataclass
class Console:
    """Sends frames and keeps what comes back."""

    plant: PlainPlant
    box: Controller
    reader: FrameReader = field(default_factory=FrameReader)
    sequence: int = 0
    heard: list[Any] = field(default_factory=list)

    def pump(self) -> list[tuple[int, Any]]:
        frames = self.reader.feed(self.box.take_output())
        assert all(isinstance(frame, Frame) for frame in frames)
        got = [(frame.sequence, decode(frame)) for frame in frames]
        self.heard += [message for _, message in got]
        return got

    def send(self, message: Any, sequence: int | None = None) -> Any:
        """Send a request and return the reply to it, None if there was none."""
        if sequence is None:
            self.sequence = sequence = (self.sequence + 1) & 0xFFFF
        self.box.receive(encode_frame(sequence, message))
        replies = [m for seq, m in self.pump() if seq == sequence and m.DIRECTION is wire.Direction.REPLY]
        return replies[0] if replies else None

    def ask(self, message: Any) -> Any:
        """Send a request that must be carried out."""
        reply = self.send(message)
        assert reply is not None
        assert not isinstance(reply, wire.Refused), reply
        return reply

    def refusal(self, message: Any) -> tuple[wire.Refusal, int]:
        """Send a request that must be refused."""
        reply = self.send(message)
        assert isinstance(reply, wire.Refused), reply
        assert reply.request_kind == message.KIND
        return reply.reason, reply.detail

    def beat(self, session: int = SESSION) -> None:
        self.box.receive(encode_frame(0, wire.Heartbeat(session)))

    def run(self, ms: float, *, beating: bool = True) -> list[Any]:
        """Let time pass and return the events of it."""
        end = self.box.now_ns + round(ms * MS)
        before = len(self.heard)
        while self.box.now_ns < end:
            if beating:
                self.beat()
            self.box.advance_to(min(end, self.box.now_ns + 100 * MS))
        if beating:
            self.beat()
        self.pump()
        return self.heard[before:]

    def open(self, session: int = SESSION) -> None:
        self.ask(wire.Hello(1, 0, session, wire.SPEC_HASH))
        self.beat(session)

    def configure(
        self, channel: int, load: LoadClass = LoadClass.VALVE, hazard: Hazard = Hazard.NONE, **limits: int
    ) -> None:
        self.ask(self.configuration(channel, load, hazard, **limits))

    @staticmethod
    def configuration(
        channel: int, load: LoadClass = LoadClass.VALVE, hazard: Hazard = Hazard.NONE, **limits: int
    ) -> wire.Configure:
        usual = {
            "fuel_pump": 0,
            "max_on_time_us": 20_000,
            "max_hold_ms": 2000,
            "max_duty_permille": 500,
            "max_count": 100,
            "max_current_ma": 200 if channel == 14 else 5000,
            "max_sense_us": 80,
        }
        ceiling = {"max_sense_us": 0} if channel in (15, 16) else {}  # a half-bridge has no sense pulse
        return within_class(wire.Configure(channel, load, hazard, **(usual | limits | ceiling)))

    def events(self, kind: type) -> list[Any]:
        return [message for message in self.heard if isinstance(message, kind)]


KINDS = {
    13: ChannelKind.HIGH_SIDE,
    14: ChannelKind.LOGIC,
    15: ChannelKind.HALF_BRIDGE,
    16: ChannelKind.HALF_BRIDGE,
}


def make_console(profile: Any = REFERENCE, **plant: float) -> Console:
    loads = PlainPlant(**plant)
    return Console(loads, Controller(loads, profile, kinds=KINDS, seed=5))


@pytest.fixture
def console() -> Console:
    """A box with a session and a heartbeat, nothing configured."""
    ready = make_console()
    ready.open()
    return ready


@pytest.fixture
def cold() -> Console:
    """A box nobody has spoken to."""
    return make_console()


@pytest.fixture
def new_console() -> Any:
    """Makes cold boxes."""
    return make_console


@pytest.fixture
def train() -> Any:
    """Makes pulse trains: channel, count, period_us, on_time_us, then what differs."""

    def make(
        channel: int, count: int = 3, period_us: int = 20_000, on_time_us: int = 5000, **more: int
    ) -> Any:
        usual = {"trace_every": 0, "trace_decimation": 1, "trace_samples": 0}
        return wire.DriveTrain(channel, count, period_us, on_time_us, **(usual | more))

    return make
