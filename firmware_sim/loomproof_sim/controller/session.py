"""Frames in, frames out: sessions, sequence numbers, refusals. No input makes it raise."""

from loomproof_sim.controller.limits import RefuseError
from loomproof_sim.controller.machine import StateMachine
from loomproof_sim.controller.requests import Requests
from loomproof_wire.frames import BadFrame, Frame, FrameReader, decode
from loomproof_wire.messages import (
    CEILINGS,
    PROTOCOL_MAJOR,
    Ack,
    Heartbeat,
    Hello,
    Identity,
    Message,
    RangeError,
    Refusal,
    Refused,
    Stop,
    UnknownMessage,
    WireError,
)


class SessionLayer:
    """The receiving end of the wire.

    Args:
        machine: the state of the box.
        requests: carries requests out.
        identity: the reply to a hello.
    """

    def __init__(self, machine: StateMachine, requests: Requests, identity: Identity) -> None:
        self._machine = machine
        self._requests = requests
        self._identity = identity
        self._outbox = machine.parts.outbox
        self._reader = FrameReader()
        self.session: int | None = None
        self._last_sequence = 0
        self._last_reply: bytes | None = None

    def feed(self, data: bytes) -> None:
        """Take bytes in any grouping."""
        for item in self._reader.feed(data):
            if isinstance(item, BadFrame):
                self._machine.frames.count_bad()
            else:
                self._frame(item)

    def _frame(self, frame: Frame) -> None:
        if frame.kind == Stop.KIND:
            self._machine.stop_command()
            self._pass_over(frame.sequence)
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
            self._machine.frames.count_bad()
            return
        if self.session is not None and beat.session == self.session:
            self._machine.beat()

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
                self._answer(frame.sequence, self._identity)
        else:
            self.session = hello.session
            self._machine.new_session()
            self._answer(frame.sequence, self._identity)

    def _is_new(self, sequence: int) -> bool:
        """Return whether to carry a request out. A repeat of the last one is answered again; an older one is not."""
        ahead = (sequence - self._last_sequence) & 0xFFFF
        if ahead == 0:
            if self._last_reply is not None:
                self._outbox.again(self._last_reply)
            return False
        if ahead > 0x7FFF:
            self._machine.frames.count_stale()
            return False
        return True

    def _pass_over(self, following: int) -> None:
        """Count the requests before a stop as answered; it has the number of the console's next request."""
        ahead = (following - self._last_sequence) & 0xFFFF
        if self.session is not None and 1 < ahead <= CEILINGS.max_stop_ahead:
            self._last_sequence, self._last_reply = (following - 1) & 0xFFFF, None

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
            return self._requests.execute(message, lambda late: self._answer_late(sequence, late))
        except UnknownMessage:
            return Refused(kind, Refusal.UNKNOWN_MESSAGE, 0)
        except RangeError as error:
            return Refused(kind, Refusal.OUT_OF_RANGE, error.field_index)
        except WireError:
            return Refused(kind, Refusal.UNKNOWN_MESSAGE, 0)
        except RefuseError as refusal:
            return Refused(kind, refusal.reason, refusal.detail)
