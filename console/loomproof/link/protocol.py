"""The console's end of the protocol without any I/O: bytes and times go in, bytes and messages come out.

It is not thread-safe; its owner locks. Times are seconds of one monotonic clock.
"""

from collections import deque
from dataclasses import dataclass, field

from loomproof.link.errors import BoxError, LinkLost, NoReply, RequestRefused, StopSent, Unreadable
from loomproof_wire.frames import BadFrame, Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import (
    TIMING,
    Ack,
    ClearStop,
    Direction,
    Event,
    Heartbeat,
    Hello,
    Identity,
    Message,
    Reply,
    Request,
    Stop,
    Stopped,
    StopReason,
    Telemetry,
    WireError,
)
from loomproof_wire.messages import Refused as RefusedMessage

GATE_S = 0.5
"""Heartbeats go out only while the interface has called in more recently than this."""
EVENT_LIMIT = 4096
_SEQUENCES = 1 << 16
_TICK_S = 1e-9
_NEVER_S = float("inf")


class StopMark:
    """A place between two requests where a stop was sent; what was begun before the newest is not sent any more."""


@dataclass(slots=True, eq=False)
class Pending:
    """A request under way; it is finished once it has a reply or an error.

    `frame` starts with a delimiter, which ends whatever the box has received before. `after` is the newest stop when it
    was begun; None: it is sent whatever stops come.
    """

    message: Request
    sequence: int
    frame: bytes
    timeout_s: float
    tries: int
    resend_due_s: float
    after: StopMark | None
    sent: int = 1
    reply: Reply | None = None
    error: BoxError | None = None

    @property
    def finished(self) -> bool:
        """Whether there is nothing left to wait for."""
        return self.reply is not None or self.error is not None

    def result(self) -> Reply:
        """Return the reply.

        Raises:
            BoxError: no reply came; the error says why.
        """
        if self.error is not None:
            raise self.error
        if self.reply is None:
            raise RuntimeError("the request is still under way")
        return self.reply


@dataclass(slots=True)
class Counters:
    """Faults and repeats on the link since it was opened."""

    bad_frames: int = 0
    unreadable: int = 0
    stray_replies: int = 0
    missed_events: int = 0
    dropped_events: int = 0
    resent: int = 0
    heartbeats: int = 0


@dataclass(slots=True)
class LinkCore:
    """Sequence numbers, one pending request with its retries, heartbeats behind their gate, and events.

    Attributes:
        url: names the box in error messages.
        gate_s: see `GATE_S`.
        next_sequence: number of the next request.
        session: the open session; 0 before `hello` is answered.
        lost: why the link is gone; None while it is there.
        last_stop: marks the newest stop that was sent.
        counters: faults and repeats so far.
        events: events that were not taken yet.
    """

    url: str = "?"
    gate_s: float = GATE_S
    next_sequence: int = 0
    session: int = 0
    lost: str | None = None
    last_stop: StopMark = field(default_factory=StopMark)
    counters: Counters = field(default_factory=Counters)
    events: deque[Event] = field(default_factory=deque)
    _reader: FrameReader = field(default_factory=FrameReader)
    _pending: Pending | None = None
    _called_in_s: float = -_NEVER_S
    _heartbeat_due_s: float = -_NEVER_S
    _next_event: int = 0

    def begin(
        self,
        message: Request,
        now_s: float,
        *,
        after: StopMark | None = None,
        timeout_s: float | None = None,
        tries: int | None = None,
    ) -> Pending:
        """Start a request; the caller writes the `frame` of the returned `Pending`.

        Args:
            message: a request or notice.
            now_s: the present time.
            after: the newest stop when the caller decided on the request; None = it is sent whatever stops came.
            timeout_s: how long to wait for an answer before each repeat, and after the last; None = the protocol's own.
            tries: how often to send it in all; None = the protocol's own.

        Raises:
            RangeError: a field is outside its range; nothing was sent and no sequence number used.
            LinkLost: the link is gone.
            StopSent: a stop was sent meanwhile.
        """
        if self.lost is not None:
            raise LinkLost(self.url, self.lost)
        if self.stopped_since(after):
            raise StopSent(message.KIND)
        sequence = self.next_sequence
        wait_s = TIMING.request_timeout_ms / 1000 if timeout_s is None else timeout_s
        pending = Pending(
            message=message,
            sequence=sequence,
            frame=b"\0" + encode_frame(sequence, message),
            timeout_s=wait_s,
            tries=TIMING.request_tries if tries is None else tries,
            resend_due_s=now_s + wait_s,
            after=after,
        )
        self.next_sequence = (sequence + 1) % _SEQUENCES
        if isinstance(message, Hello):
            self.session = 0
            self.events.clear()
        self._pending = pending
        return pending

    def stop(self) -> bytes:
        """Return a stop to be written at once; nothing that was begun before it may be written after it.

        Safe in any thread and in a signal handler, without a lock. The leading delimiter ends whatever was being sent,
        and the number is that of the next request, so that the box, too, drops what was begun before.
        """
        self.last_stop = StopMark()
        return b"\0" + encode_frame(self.next_sequence, Stop())

    def stopped_since(self, after: StopMark | None) -> bool:
        """Return whether a stop was sent after the one that `after` marks."""
        return after is not None and after is not self.last_stop

    def abandon(self, pending: Pending) -> None:
        """Stop repeating a request nobody waits for any more; a late reply to it is a stray."""
        if self._pending is pending:
            self._pending = None

    def receive(self, data: bytes) -> list[Event]:
        """Take bytes from the box and return the events among them, which are also queued in `events`."""
        arrived: list[Event] = []
        for found in self._reader.feed(data):
            if isinstance(found, BadFrame):
                self.counters.bad_frames += 1
            elif (event := self._take(found)) is not None:
                arrived.append(event)
        return arrived

    def poll(self, now_s: float) -> bytes:
        """Return the bytes to be sent now: a heartbeat, a repeat of the pending request, or none."""
        return self._heartbeat(now_s) + self._repeat(now_s)

    def next_due_s(self) -> float:
        """Return when `poll` next has bytes to send, as things stand; infinity = never."""
        repeat_s = self._pending.resend_due_s if self._pending else _NEVER_S
        return min(repeat_s, self._heartbeat_due_s if self.session else _NEVER_S)

    def call_in(self, now_s: float) -> None:
        """Note that the interface is alive."""
        self._called_in_s = now_s

    def gate_open(self, now_s: float) -> bool:
        """Return whether the interface has called in recently enough for heartbeats to go out."""
        return now_s - self._called_in_s < self.gate_s - _TICK_S

    def lose(self, cause: str) -> None:
        """Note that the port is gone: the pending request fails, and nothing more is sent."""
        if self.lost is None:
            self.lost = cause
        self.session = 0
        if self._pending is not None:
            self._pending.error = LinkLost(self.url, self.lost)
            self._pending = None

    def _heartbeat(self, now_s: float) -> bytes:
        if not self.session or now_s < self._heartbeat_due_s - _TICK_S:
            return b""
        period_s = TIMING.heartbeat_period_ms / 1000
        on_time = now_s - self._heartbeat_due_s < period_s
        self._heartbeat_due_s = (self._heartbeat_due_s if on_time else now_s) + period_s
        if not self.gate_open(now_s):
            return b""
        self.counters.heartbeats += 1
        return encode_frame(0, Heartbeat(self.session))

    def _repeat(self, now_s: float) -> bytes:
        pending = self._pending
        if pending is None or now_s < pending.resend_due_s - _TICK_S:
            return b""
        if self.stopped_since(pending.after):
            pending.error = StopSent(pending.message.KIND)
            self._pending = None
            return b""
        if pending.sent >= pending.tries:
            pending.error = NoReply(pending.message.KIND, pending.sent)
            self._pending = None
            return b""
        pending.sent += 1
        pending.resend_due_s = now_s + pending.timeout_s
        self.counters.resent += 1
        return pending.frame

    def _take(self, frame: Frame) -> Event | None:
        try:
            message = decode(frame)
        except WireError as error:
            self._take_unreadable(frame, str(error))
            return None
        if message.DIRECTION is Direction.EVENT:
            return self._take_event(frame.sequence, message)  # type: ignore[arg-type]
        self._take_reply(frame.sequence, message)
        return None

    def _take_unreadable(self, frame: Frame, cause: str) -> None:
        pending = self._pending
        self.counters.unreadable += 1
        # The CRC holds and it answers our request: a repeat would bring the same answer.
        if pending and frame.sequence == pending.sequence and frame.kind == pending.message.REPLY_KIND:
            pending.error = Unreadable(frame.kind, frame.body, cause)
            self._pending = None

    def _take_reply(self, sequence: int, message: Message) -> None:
        pending = self._pending
        if pending is None or not _answers(message, sequence, pending):
            self.counters.stray_replies += 1
            return
        self._pending = None
        if isinstance(message, RefusedMessage):
            pending.error = RequestRefused(message.request_kind, message.reason, message.detail)
            return
        pending.reply = message  # type: ignore[assignment]
        if isinstance(pending.message, Hello) and isinstance(message, Identity):
            self.session = pending.message.session
            self._next_event = 0
            self._heartbeat_due_s = -_NEVER_S

    def _take_event(self, counter: int, event: Event) -> Event | None:
        ahead = (counter - self._next_event) % _SEQUENCES
        if not self.session or ahead >= _SEQUENCES // 2:
            self.counters.dropped_events += 1
            return None
        self.counters.missed_events += ahead
        self._next_event = (counter + 1) % _SEQUENCES
        self._take_stop(event)
        if isinstance(event, Telemetry) and self.events and isinstance(self.events[-1], Telemetry):
            self.events[-1] = event
        else:
            self.events.append(event)
        if len(self.events) > EVENT_LIMIT:
            self.events.popleft()
            self.counters.dropped_events += 1
        return event

    def _take_stop(self, event: Event) -> None:
        """Repeat no clear_stop that may be older than a stop of the box's own, which comes without a stop frame."""
        if not isinstance(event, Stopped) or event.reason is StopReason.COMMAND:
            return
        if self._pending is not None and isinstance(self._pending.message, ClearStop):
            self._pending.after = StopMark()


def _answers(message: Message, sequence: int, pending: Pending) -> bool:
    if sequence != pending.sequence:
        return False
    if isinstance(message, Ack | RefusedMessage) and message.request_kind != pending.message.KIND:
        return False
    return isinstance(message, RefusedMessage) or message.KIND == pending.message.REPLY_KIND
