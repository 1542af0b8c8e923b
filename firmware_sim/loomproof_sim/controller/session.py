"""Frames in, frames out: sessions, sequence numbers, refusals. Nothing that comes in can raise."""

from collections.abc import Callable
from typing import Protocol

from loomproof_sim.controller.limits import RefuseError
from loomproof_sim.controller.outbox import Outbox
from loomproof_wire.frames import BadFrame, Frame, FrameReader, decode
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    Ack,
    Heartbeat,
    Hello,
    Message,
    RangeError,
    Refusal,
    Refused,
    Stop,
    UnknownMessage,
    WireError,
)

Later = Callable[[Message], None]


class Box(Protocol):
    """What a session needs of the box."""

    def new_session(self) -> None:
        """All off, everything disarmed, no heartbeat yet."""

    def identity(self) -> Message:
        """The reply to a hello."""

    def beat(self) -> None:
        """A heartbeat of this session came."""

    def stop_command(self) -> None:
        """A stop frame came."""

    def execute(self, message: Message, later: Later) -> Message | None:
        """Carry out a request; None = the reply follows through `later`. Raises RefuseError."""


class Intake:
    """The receiving end of the wire.

    Args:
        box: what carries requests out.
        outbox: takes the replies.
    """

    def __init__(self, box: Box, outbox: Outbox) -> None:
        self._box = box
        self._outbox = outbox
        self._reader = FrameReader()
        self.session: int | None = None
        self._last_sequence = 0
        self._last_reply: bytes | None = None
        self.bad_frames = 0
        self.stale_frames = 0

    def feed(self, data: bytes) -> None:
        """Take bytes as they come."""
        for item in self._reader.feed(data):
            if isinstance(item, BadFrame):
                self._bad()
            else:
                self._frame(item)

    def _bad(self) -> None:
        self.bad_frames = min(0xFFFF, self.bad_frames + 1)

    def _frame(self, frame: Frame) -> None:
        if frame.kind == Stop.KIND:
            self._box.stop_command()
            self._outbox.reply(frame.sequence, Ack(frame.kind))
        elif frame.kind == Heartbeat.KIND:
            self._heartbeat(frame)
        elif frame.kind == Hello.KIND:
            self._hello(frame)
        elif self.session is None:
            self._outbox.reply(frame.sequence, Refused(frame.kind, Refusal.NO_SESSION, 0))
        elif self._is_new(frame.sequence):
            self._execute(frame)

    def _heartbeat(self, frame: Frame) -> None:
        try:
            beat = Heartbeat.decode_body(frame.body)
        except WireError:
            self._bad()
            return
        if self.session is not None and beat.session == self.session:
            self._box.beat()

    def _hello(self, frame: Frame) -> None:
        if frame.body and frame.body[0] != PROTOCOL_MAJOR:
            self._outbox.reply(frame.sequence, Refused(frame.kind, Refusal.BAD_VERSION, PROTOCOL_MAJOR))
            return
        try:
            hello = Hello.decode_body(frame.body)
        except RangeError as error:
            self._outbox.reply(frame.sequence, Refused(frame.kind, Refusal.OUT_OF_RANGE, error.field_index))
            return
        except WireError:
            self._outbox.reply(frame.sequence, Refused(frame.kind, Refusal.UNKNOWN_MESSAGE, 0))
            return
        if hello.session == self.session:
            if self._is_new(frame.sequence):
                self._answer(frame.sequence, self._box.identity())
        else:
            self.session = hello.session
            self._box.new_session()
            self._answer(frame.sequence, self._box.identity())

    def _is_new(self, sequence: int) -> bool:
        """Whether to carry a request out. A repeat of the last one is answered again, an older one not."""
        ahead = (sequence - self._last_sequence) & 0xFFFF
        if ahead == 0:
            if self._last_reply is not None:
                self._outbox.again(self._last_reply)
            return False
        if ahead > 0x7FFF:
            self.stale_frames = min(0xFFFF, self.stale_frames + 1)
            return False
        return True

    def _answer(self, sequence: int, message: Message) -> None:
        self._last_sequence = sequence
        self._last_reply = self._outbox.reply(sequence, message)

    def _answer_late(self, sequence: int, message: Message) -> None:
        reply = self._outbox.reply(sequence, message)
        if sequence == self._last_sequence:
            self._last_reply = reply

    def _execute(self, frame: Frame) -> None:
        self._last_sequence, self._last_reply = frame.sequence, None
        reply = self._reply_to(frame)
        if reply is not None:
            self._answer(frame.sequence, reply)

    def _reply_to(self, frame: Frame) -> Message | None:
        sequence, kind = frame.sequence, frame.kind
        try:
            message = decode(frame)
            return self._box.execute(message, lambda late: self._answer_late(sequence, late))
        except UnknownMessage:
            return Refused(kind, Refusal.UNKNOWN_MESSAGE, 0)
        except RangeError as error:
            return Refused(kind, Refusal.OUT_OF_RANGE, error.field_index)
        except WireError:
            return Refused(kind, Refusal.UNKNOWN_MESSAGE, 0)
        except RefuseError as refusal:
            return Refused(kind, refusal.reason, refusal.detail)
