"""What a case works with: the line, the channels it may use, the hands at the box, and the usual steps."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, Protocol, TypeVar

from loomproof.boxcheck.case import Failed, Need, NotShown
from loomproof.boxcheck.line import Heard, Line
from loomproof_wire.messages import (
    CEILINGS,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SPEC_HASH,
    Ack,
    Arm,
    BoxState,
    ChannelInfo,
    ChannelKind,
    ClearStop,
    Configure,
    DriveEnded,
    DriveHold,
    DriveTrain,
    EndReason,
    GetStatus,
    Hazard,
    Hello,
    Identity,
    LoadClass,
    Message,
    Refusal,
    Refused,
    Status,
)

MessageT = TypeVar("MessageT", bound=Message)
SWITCHED = (ChannelKind.LOW_SIDE, ChannelKind.HIGH_SIDE)
BOOT_S = 4.0
"""How long a board may take to answer after opening its port reset it."""
HELLO_EVERY_S = 0.25


class Act(StrEnum):
    """What hands do when a case asks; the value is what a person is told."""

    PRESS_STOP = "Press the stop button and keep it pressed"
    RELEASE_STOP = "Release the stop button"
    SUPPLY_OFF = "Switch the supply of the loads off (leave the box's USB plugged in)"
    SUPPLY_ON = "Switch the supply on again"
    PULL = "Pull the connector of the load"
    SEAT = "Plug the connector of the load in again"


class Hands(Protocol):
    """Whoever stands at the box. `can` are the needs they meet, `patience_s` how long an act may take."""

    can: frozenset[Need]
    patience_s: float

    def do(self, act: Act, channel: int) -> None:
        """Do it, or ask a person to; returns at once. `channel` names the load of PULL and SEAT."""


class NoHands:
    """Nobody stands at the box."""

    can: frozenset[Need] = frozenset()
    patience_s = 0.0

    def do(self, act: Act, channel: int) -> None:
        """Nobody does it."""
        raise NotShown(f"nobody is there to do this: {act.value}")


@dataclass(frozen=True)
class Subject:
    """A channel that cases may drive, with what its load bears.

    Attributes:
        channel: number.
        load_class: as it is configured.
        max_current_ma: trip level for drives that must not trip.
        max_on_time_us: longest pulse; max_hold_ms longest hold.
    """

    channel: int
    load_class: LoadClass = LoadClass.RELAY
    max_current_ma: int = 3000
    max_on_time_us: int = 20_000
    max_hold_ms: int = 2000


@dataclass(frozen=True)
class Subjects:
    """Every channel that may be driven: low- or high-side ones, and a half-bridge pair if there is one."""

    switched: tuple[Subject, ...] = ()
    bridge: tuple[int, int] | None = None

    def meets(self) -> frozenset[Need]:
        """Return the needs that these channels meet."""
        enough = {Need.CHANNEL: 1, Need.TWO: 2, Need.FOUR: 4}
        met = {need for need, count in enough.items() if len(self.switched) >= count}
        return frozenset(met | ({Need.BRIDGE} if self.bridge else set()))

    def sorted_by(self, kinds: Mapping[int, ChannelKind]) -> "Subjects":
        """Return these channels by their drivers: two half-bridges as the pair, switched ones in order."""
        halves = [s.channel for s in self.switched if kinds.get(s.channel) is ChannelKind.HALF_BRIDGE]
        pair = (halves[0], halves[1]) if len(halves) >= 2 else None
        plain = tuple(s for s in self.switched if kinds.get(s.channel) in SWITCHED)
        return Subjects(plain, self.bridge or pair)


@dataclass(frozen=True)
class Tolerance:
    """How late things may be.

    Attributes:
        box_ms: the box itself, by its own uptime; 10 is what the project asks of its boxes (400 to 410 ms).
        line_ms: line, operating system and this program together; 0 in virtual time.
        patience_ms: how much later a message is still waited for where its time is measured otherwise.
    """

    box_ms: int = 10
    line_ms: int = 100
    patience_ms: int = 1000


@dataclass
class Bench:
    """One run of the suite against one box."""

    line: Line
    subjects: Subjects = field(default_factory=Subjects)
    hands: Hands = field(default_factory=NoHands)
    tolerance: Tolerance = field(default_factory=Tolerance)
    infos: dict[int, ChannelInfo] = field(default_factory=dict)
    identity: Identity | None = None
    greeting: "FirstSight | None" = None
    sequence: int = 0
    answer_s: float = 1.0

    # -- asking ------------------------------------------------------------------------------------------

    def next_sequence(self) -> int:
        """Return the number of the next request."""
        self.sequence = (self.sequence + 1) % 0x10000
        return self.sequence

    def ask(self, message: Message) -> Message:
        """Send a request and return its answer.

        Raises:
            Failed: none came.
        """
        sequence = self.next_sequence()
        self.line.send(message, sequence)
        return self.answer(sequence, message.NAME)

    def answer(self, sequence: int, name: str = "the request") -> Message:
        """Return the answer to a number that was sent."""
        reply = self.line.reply_to(sequence, self.answer_s)
        if reply is None:
            extra = f" (but {self.line.unreadable[-1]})" if self.line.unreadable else ""
            raise Failed(f"`{name}` was not answered within {self.answer_s:g} s{extra}")
        return reply

    def get(self, message: Message, kind: type[MessageT]) -> MessageT:
        """Send a request and return its reply, which must be of this kind."""
        reply = self.ask(message)
        if not isinstance(reply, kind):
            raise Failed(f"`{message.NAME}` was answered by {told(reply)}, not by `{kind.NAME}`")
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
        """Check that a reply is this refusal."""
        wanted = f"refused with `{reason.name.lower()}`" + ("" if detail is None else f", detail {detail}")
        right = (
            isinstance(reply, Refused)
            and reply.reason is reason
            and reply.request_kind == kind
            and detail in (None, reply.detail)
        )
        self.expect(right, f"`{name}` must be {wanted}; the box answered {told(reply)}")

    def status(self) -> Status:
        """Ask for the state."""
        return self.get(GetStatus(), Status)

    def event(self, kind: type[MessageT], within_ms: float, **values: object) -> MessageT:
        """Wait for an event with these fields and return it."""
        return self.heard(kind, within_ms, **values).message  # type: ignore[return-value]

    def heard(self, kind: type[MessageT], within_ms: float, **values: object) -> Heard:
        """As `event`, with its time and counter."""
        late_ms = self.tolerance.box_ms + self.tolerance.line_ms + self.tolerance.patience_ms
        within_s = (within_ms + late_ms + 1) / 1000

        def right(message: MessageT) -> bool:
            return all(getattr(message, name) == value for name, value in values.items())

        heard = self.line.event(kind, within_s, right)
        if heard is None:
            wanted = ", ".join(f"{name} {_word(value)}" for name, value in values.items())
            others = [told(h.message) for h in self.line.events if type(h.message).NAME != "telemetry"]
            raise Failed(
                f"no `{kind.NAME}` event ({wanted or 'of any kind'}) came within {within_ms:g} ms; "
                f"came: {'; '.join(others[-4:]) or 'nothing'}"
            )
        return heard

    def no_event(self, kind: type[Message], within_ms: float) -> None:
        """Check that no such event comes."""
        heard = self.line.event(kind, within_ms / 1000)
        self.expect(heard is None, f"an event came that must not: {told(heard.message) if heard else ''}")

    @staticmethod
    def expect(holds: bool, otherwise: str) -> None:
        """Fail with this text unless it holds."""
        if not holds:
            raise Failed(otherwise)

    def sets(self, wanted: int) -> int:
        """Return how many sample sets a trace may have here: as wanted, or what the box's memory holds."""
        return wanted if self.identity is None else min(wanted, self.identity.max_trace_samples)

    def wait_ms(self, milliseconds: float) -> None:
        """Let time pass."""
        self.line.wait(milliseconds / 1000)

    # -- sessions ------------------------------------------------------------------------------------------

    def greet(self, *, beating: bool = True) -> Identity:
        """Open a new session, repeating hello while the board may be starting."""
        line = self.line
        line.beating = False
        line.session = secrets.randbelow(2**32 - 1) + 1
        sequence = self.next_sequence()
        end_s = line.now_s() + BOOT_S
        while line.now_s() < end_s:
            line.write(b"\0")
            line.send(hello(line.session), sequence)
            reply = line.reply_to(sequence, HELLO_EVERY_S)
            if isinstance(reply, Identity):
                if beating:
                    self.begin_beating()
                return reply
            if reply is not None:
                raise Failed(f"`hello` was answered by {told(reply)}")
        raise Failed(f"`hello` was not answered for {BOOT_S:g} s")

    def begin_beating(self) -> None:
        """Send a heartbeat now and every 100 ms from here on."""
        self.line.beat()
        self.line.beating = True

    def fresh(self) -> None:
        """A new session with heartbeats, nothing latched, every subject configured harmlessly."""
        self.line.forget()
        self.greet()
        self._leave_stop()
        for subject in self.subjects.switched[:4]:
            self.accepted(self.configuration(subject))
        for channel in self.subjects.bridge or ():
            self.accepted(self.configuration(Subject(channel, LoadClass.VALVE)))
        self.line.forget()

    def _leave_stop(self) -> None:
        status = self.status()
        if status.state is not BoxState.STOPPED:
            return
        if status.stop_input_open:
            raise NotShown("the stop input is open: release the stop button, then run the suite again")
        reply = self.ask(ClearStop())
        if isinstance(reply, Refused) and reply.reason is Refusal.SUPPLY_OUT_OF_RANGE:
            volts = status.supply_mv / 1000
            raise NotShown(
                f"the supply is out of range at {volts:.1f} V: give the box its 12 V, then run again"
            )
        self.expect(isinstance(reply, Ack), f"`clear_stop` was answered by {told(reply)}")

    # -- channels ------------------------------------------------------------------------------------------

    @property
    def subject(self) -> Subject:
        """The channel that most cases use."""
        return self.subjects.switched[0]

    @property
    def channel(self) -> int:
        """Its number."""
        return self.subject.channel

    def configuration(self, subject: Subject, **changes: int) -> Configure:
        """Return a harmless configuration of a channel, with changes."""
        info = self.infos[subject.channel]
        limits: dict[str, Any] = {
            "channel": subject.channel,
            "load_class": subject.load_class,
            "hazard": Hazard.NONE,
            "fuel_pump": 0,
            "max_on_time_us": min(subject.max_on_time_us, info.max_on_time_us),
            "max_hold_ms": min(subject.max_hold_ms, info.max_hold_ms),
            "max_duty_permille": min(800, info.max_duty_permille),
            "max_count": min(100, info.max_count),
            "max_current_ma": min(subject.max_current_ma, info.max_current_ma),
            "max_sense_us": min(100, info.max_sense_us),
        }
        return Configure(**(limits | changes))

    def configure(self, **changes: int) -> Configure:
        """Configure the subject with changes and return what was sent."""
        message = self.configuration(self.subject, **changes)
        self.accepted(message)
        return message

    def train(
        self, count: int = 1, period_us: int = 20_000, on_time_us: int = 2000, **more: int
    ) -> DriveTrain:
        """Return a short train on the subject."""
        rest = {"channel": self.channel, "trace_every": 0, "trace_decimation": 1, "trace_samples": 0} | more
        return DriveTrain(count=count, period_us=period_us, on_time_us=on_time_us, **rest)

    def hold(self, duration_ms: int = 1000, **more: int) -> DriveHold:
        """Return a hold of the subject."""
        rest = {"channel": self.channel, "trace_decimation": 1, "trace_samples": 0} | more
        return DriveHold(duration_ms=duration_ms, **rest)

    def arm(self, hazard: Hazard, duration_ms: int = 5000) -> None:
        """Arm a class."""
        self.accepted(Arm(hazard, duration_ms))

    def ended(self, reason: EndReason, within_ms: float = 0, pulses: int | None = None) -> DriveEnded:
        """Wait for the end of the drive, which must have this reason."""
        end = self.event(DriveEnded, within_ms)
        self.expect(end.reason is reason, f"the drive ended as {_word(end.reason)}, not as {_word(reason)}")
        self.expect(pulses in (None, end.pulses), f"{end.pulses} pulses were delivered, not {pulses}")
        return end

    def idle(self) -> Status:
        """Check that nothing is being driven, and return the state."""
        status = self.status()
        self.expect(
            status.driving_channel == 0 and status.state in (BoxState.IDLE, BoxState.STOPPED),
            f"the box is {_word(status.state)} on channel {status.driving_channel} and should be at rest",
        )
        return status

    def between(self, what: str, value: float, low: float, high: float, unit: str) -> None:
        """Check that a value is within its band."""
        self.expect(low <= value <= high, f"{what} is {value:g} {unit}, not {low:g} to {high:g} {unit}")

    def ask_hands(self, act: Act, channel: int = 0) -> None:
        """Have the hands do something."""
        self.hands.do(act, channel)


@dataclass(frozen=True)
class FirstSight:
    """What the box said before anything was configured in this run."""

    before_hello: Message | None
    status: Status
    configured: tuple[int, ...]


def hello(session: int, major: int = PROTOCOL_MAJOR) -> Hello:
    """Return a hello of this console's version."""
    return Hello(major, PROTOCOL_MINOR, session, SPEC_HASH)


def told(message: Message) -> str:
    """Return a message in words."""
    if isinstance(message, Refused):
        return f"refused with `{message.reason.name.lower()}`, detail {message.detail}"
    values = ", ".join(
        f"{name} {_word(getattr(message, name))}" for name in [one.name for one in fields(message)][:4]
    )
    return f"`{message.NAME}` ({values})"


def _word(value: object) -> str:
    name = getattr(value, "name", None)
    return str(value) if name is None else f"`{name.lower()}`"


LOWEST_TRIP_MA = 10
LONGEST_ON_US = CEILINGS.max_on_time_us
