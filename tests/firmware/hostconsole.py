"""A console at the core compiled for this computer: asks, listens, keeps the heartbeat up."""

from typing import Any

from hostbox import HostBox

from loomproof_wire import messages as wire
from loomproof_wire.frames import BadFrame, FrameReader, decode, encode_frame

MS = 1_000_000
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

    def on(self) -> list[int]:
        """Channels that are not off now."""
        return [channel for channel in range(1, 17) if self.box.core.host_drive(channel) & 0xFF]
