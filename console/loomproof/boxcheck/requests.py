"""Requests and events with their checks: a wrong answer fails the case and says what came instead."""

from dataclasses import dataclass, fields
from typing import TypeVar

from loomproof.boxcheck.line import RawLine, Received
from loomproof.boxcheck.outcome import Failed
from loomproof_wire.messages import Ack, GetStatus, Message, Refusal, Refused, Status

LONGEST_REST_MS = 20_000
"""No case makes a channel rest for longer."""
MessageT = TypeVar("MessageT", bound=Message)


@dataclass(frozen=True)
class Tolerance:
    """How late things may be.

    Attributes:
        box_ms: delay of the box by its own uptime; the project asks for 10 (400 to 410 ms).
        line_ms: delay of line, operating system and this program together; 0 in virtual time.
        patience_ms: how much longer to wait for a message whose time is measured otherwise.
    """

    box_ms: int = 10
    line_ms: int = 100
    patience_ms: int = 1000


class Exchange:
    """Requests and events over one line, each checked.

    Attributes:
        line: the line to the box.
        tolerance: how late things may be.
        sequence: number of the last request.
        answer_s: how long an answer may take.
    """

    line: RawLine
    tolerance: Tolerance
    sequence: int
    answer_s: float

    def next_sequence(self) -> int:
        """Return the number of the next request."""
        self.sequence = (self.sequence + 1) % 0x10000
        return self.sequence

    def ask(self, message: Message) -> Message:
        """Send a request and return its answer; one that the rest of a channel holds up is sent again after it.

        Raises:
            Failed: none came.
        """
        reply = self.ask_at_once(message)
        if isinstance(reply, Refused) and reply.reason is Refusal.RESTING:
            self.wait_ms(min(reply.detail, LONGEST_REST_MS))
            reply = self.ask_at_once(message)
        return reply

    def ask_at_once(self, message: Message) -> Message:
        """Send a request and return its answer, also when it is that the channel rests.

        Raises:
            Failed: none came.
        """
        sequence = self.next_sequence()
        self.line.send(message, sequence)
        return self.answer(sequence, message.NAME)

    def answer(self, sequence: int, name: str = "the request") -> Message:
        """Return the answer to a request by its number."""
        reply = self.line.reply_to(sequence, self.answer_s)
        if reply is None:
            extra = f" (but {self.line.unreadable[-1]})" if self.line.unreadable else ""
            raise Failed(f"`{name}` was not answered within {self.answer_s:g} s{extra}")
        return reply

    def get(self, message: Message, kind: type[MessageT]) -> MessageT:
        """Send a request and return its reply, which must be of this kind."""
        reply = self.ask(message)
        if not isinstance(reply, kind):
            raise Failed(f"`{message.NAME}` was answered by {described(reply)}, not by `{kind.NAME}`")
        return reply

    def accepted(self, message: Message) -> None:
        """Send a request that must be acknowledged."""
        reply = self.get(message, Ack)
        self.expect(reply.request_kind == message.KIND, f"the ack names kind 0x{reply.request_kind:02X}")

    def refused(self, message: Message, reason: Refusal, detail: int | None = None) -> None:
        """Send a request that must be refused for this reason."""
        self.must_refuse(self.ask(message), message.NAME, message.KIND, reason, detail)

    def must_refuse(
        self, reply: Message, name: str, kind: int, reason: Refusal, detail: int | None = None
    ) -> None:
        """Check that a reply is a certain refusal.

        Args:
            reply: the answer of the box.
            name: names the request in error messages.
            kind: kind byte of the request.
            reason: the reason it must have.
            detail: the detail it must have; None = any.

        Raises:
            Failed: it is another answer.
        """
        wanted = f"refused with `{reason.name.lower()}`" + ("" if detail is None else f", detail {detail}")
        right = (
            isinstance(reply, Refused)
            and reply.reason is reason
            and reply.request_kind == kind
            and detail in (None, reply.detail)
        )
        self.expect(right, f"`{name}` must be {wanted}; the box answered {described(reply)}")

    def status(self) -> Status:
        """Return the state of the box."""
        return self.get(GetStatus(), Status)

    def event(self, kind: type[MessageT], within_ms: float, **values: object) -> MessageT:
        """Wait for an event with these fields and return it."""
        return self.received(kind, within_ms, **values).message  # type: ignore[return-value]

    def received(self, kind: type[MessageT], within_ms: float, **values: object) -> Received:
        """Wait for an event with these fields and return it with its time and counter."""
        late_ms = self.tolerance.box_ms + self.tolerance.line_ms + self.tolerance.patience_ms
        within_s = (within_ms + late_ms + 1) / 1000

        def right(message: MessageT) -> bool:
            return all(getattr(message, name) == value for name, value in values.items())

        received = self.line.event(kind, within_s, right)
        if received is None:
            wanted = ", ".join(f"{name} {word(value)}" for name, value in values.items())
            others = [described(h.message) for h in self.line.events if type(h.message).NAME != "telemetry"]
            raise Failed(
                f"no `{kind.NAME}` event ({wanted or 'of any kind'}) came within {within_ms:g} ms; "
                f"came: {'; '.join(others[-4:]) or 'nothing'}"
            )
        return received

    def no_event(self, kind: type[Message], within_ms: float) -> None:
        """Check that no event of a kind comes."""
        received = self.line.event(kind, within_ms / 1000)
        self.expect(
            received is None,
            f"an event came that must not come: {described(received.message) if received else ''}",
        )

    @staticmethod
    def expect(holds: bool, otherwise: str) -> None:
        """Fail with a message unless something holds."""
        if not holds:
            raise Failed(otherwise)

    def wait_ms(self, milliseconds: float) -> None:
        """Let time pass."""
        self.line.wait(milliseconds / 1000)

    def between(self, what: str, value: float, low: float, high: float, unit: str) -> None:
        """Check that a value lies within its limits.

        Args:
            what: names the value in error messages.
            value: the value.
            low: least value allowed.
            high: greatest value allowed.
            unit: unit of the three values.

        Raises:
            Failed: it lies outside.
        """
        self.expect(low <= value <= high, f"{what} is {value:g} {unit}, not {low:g} to {high:g} {unit}")


def described(message: Message) -> str:
    """Return a message in words."""
    if isinstance(message, Refused):
        return f"refused with `{message.reason.name.lower()}`, detail {message.detail}"
    values = ", ".join(
        f"{name} {word(getattr(message, name))}" for name in [one.name for one in fields(message)][:4]
    )
    return f"`{message.NAME}` ({values})"


def word(value: object) -> str:
    """Return a value in words: a member of an enumeration by its name."""
    name = getattr(value, "name", None)
    return str(value) if name is None else f"`{name.lower()}`"
