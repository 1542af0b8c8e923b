"""A console at the core compiled for this computer: asks, listens, keeps the heartbeat up. And requests to ask."""

from dataclasses import replace
from typing import Any

from hostbox import HostBox

from loomproof_wire import messages as wire
from loomproof_wire.frames import BadFrame, FrameReader, decode, encode_frame
from loomproof_wire.messages import Hazard, LoadClass
from testbed.class_limits import within_class

MS = 1_000_000
US = 1000
SESSION = 1


class HostConsole:
    """One box and what it said."""

    def __init__(self, box: HostBox, channel_count: int = 16) -> None:
        box.restart(channel_count)
        box.switches(), box.take_output()
        self.box = box
        self.sequence = 0
        self.replies: list[tuple[int, Any]] = []
        self.events: list[Any] = []
        self._reader = FrameReader()

    def listen(self) -> None:
        """Sort what came into replies and events; telemetry is left out."""
        for frame in self._reader.feed(self.box.take_output()):
            assert not isinstance(frame, BadFrame)
            message = decode(frame)
            if message.KIND < 0x80:
                self.replies.append((frame.sequence, message))
            elif not isinstance(message, wire.Telemetry):
                self.events.append(message)

    def ask(self, message: Any) -> Any:
        """Send a request; returns its reply, or None when there is none yet."""
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.box.receive(encode_frame(self.sequence, message))
        self.listen()
        return next((m for sequence, m in reversed(self.replies) if sequence == self.sequence), None)

    def refusal(self, message: Any) -> tuple[wire.Refusal, int] | None:
        """Send a request; returns reason and detail when it was refused, None when it was acknowledged."""
        reply = self.ask(message)
        if isinstance(reply, wire.Refused):
            assert reply.request_kind == message.KIND
            return reply.reason, reply.detail
        assert reply == wire.Ack(message.KIND)
        return None

    def beat(self, session: int = SESSION) -> None:
        """Send one heartbeat."""
        self.box.receive(encode_frame(0, wire.Heartbeat(session)))

    def wait_ns(self, ns: int) -> None:
        """Let time pass without heartbeats."""
        self.box.advance_to(self.box.now_ns + ns)
        self.listen()

    def wait(self, ms: int, *, beats: bool = True) -> None:
        """Let time pass, by default with a heartbeat each 100 ms."""
        while ms > 0:
            if beats:
                self.beat()
            self.wait_ns(min(ms, 100) * MS)
            ms -= 100

    def cancel(self) -> None:
        """End what is under way, and let its channel rest."""
        self.refusal(wire.Cancel())
        self.wait(30)

    def said(self, kind: type[Any]) -> list[Any]:
        """Take out the events of one kind so far."""
        self.listen()
        found = [event for event in self.events if isinstance(event, kind)]
        self.events = [event for event in self.events if not isinstance(event, kind)]
        return found

    def greet(self, session: int = SESSION) -> Any:
        """Open a session, with one heartbeat."""
        identity = self.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, session, 0))
        self.beat(session)
        return identity

    def status(self) -> Any:
        return self.ask(wire.GetStatus())

    def pulses(self) -> list[tuple[int, float]]:
        """Take out channel and length, in us, of each pulse so far."""
        began: dict[int, int] = {}
        found = []
        for at_ns, channel, drive in self.box.switches():
            if drive:
                began[channel] = at_ns
            else:
                found.append((channel, (at_ns - began.pop(channel)) / US))
        return found

    def on(self) -> list[int]:
        """Channels that are not off now."""
        return [channel for channel in range(1, 17) if self.box.core.host_drive(channel) & 0xFF]


PLAIN = wire.Configure(1, LoadClass.VALVE, Hazard.NONE, 0, 100_000, 10_000, 900, 2000, 5000, 100)
TRAIN = wire.DriveTrain(1, 3, 10_000, 1000, 1, 1, 20)
HOLD = wire.DriveHold(1, 30, 1, 20)
PEAK = wire.DrivePeakHold(1, 2, 10_000, 2000, 500, 200, 500, 1, 1, 20)
STEPPER = wire.DriveStepper((1, 2, 3, 4), 5, 2000)
BRIDGE = wire.DriveBridge(15, 16, 20, 200, 500, 1, 20)
SENSE = wire.Sense(1, 60, 5)
HELD = wire.Watch(1, 1, 300, 5000, 200)
WATCH = wire.Watch(1, 0, 300, 5000, 200)
ARMED = (TRAIN, HOLD, PEAK, STEPPER, BRIDGE, HELD)
EVERY = (*ARMED, SENSE, WATCH)


def name(message: Any) -> str | None:
    """Its name, for the names of tests."""
    return getattr(message, "NAME", None)


def channels_of(message: Any) -> tuple[int, ...]:
    """Channels of a request."""
    if isinstance(message, wire.DriveStepper):
        return message.channels
    if isinstance(message, wire.DriveBridge):
        return (message.channel_supply, message.channel_ground)
    return (message.channel,)


def configure(console: HostConsole, message: Any, **fields: Any) -> None:
    """Configure every channel of a request."""
    for channel in channels_of(message):
        most_us = 0 if channel >= 15 else 100
        most_ma = 200 if channel in (13, 14) else 5000
        plain = replace(PLAIN, channel=channel, max_sense_us=most_us, max_current_ma=most_ma)
        assert console.refusal(within_class(replace(plain, **fields))) is None
