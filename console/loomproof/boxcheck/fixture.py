"""The fixture that a case works with: the line, the channels it may drive, the attendant, and common steps."""

import secrets
from dataclasses import dataclass, field
from typing import Any

from loomproof.boxcheck.attendant import Act, Attendant, NoAttendant
from loomproof.boxcheck.line import RawLine
from loomproof.boxcheck.outcome import Failed, NotShown
from loomproof.boxcheck.requests import Exchange, Tolerance, described, word
from loomproof.boxcheck.subjects import Subject, Subjects
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SPEC_HASH,
    Ack,
    Arm,
    BoxState,
    ChannelInfo,
    ClearStop,
    Configure,
    DriveEnded,
    DriveHold,
    DriveTrain,
    EndReason,
    Hazard,
    Hello,
    Identity,
    LoadClass,
    Message,
    Refusal,
    Refused,
    Status,
)

LOWEST_TRIP_MA = 10
BOOT_S = 4.0
"""Longest time in which a board must answer after opening its port has reset it."""
HELLO_EVERY_S = 0.25


@dataclass
class Fixture(Exchange):
    """The equipment of one run of the suite against one box.

    Attributes:
        line: the line to the box.
        subjects: channels that may be driven.
        attendant: someone at the box who carries out acts.
        tolerance: how late things may be.
        infos: what the box says of each channel.
        identity: what the box says of itself.
        first_look: the state of the box before this run configured anything.
        sequence: number of the last request.
        answer_s: how long an answer may take.
    """

    line: RawLine
    subjects: Subjects = field(default_factory=Subjects)
    attendant: Attendant = field(default_factory=NoAttendant)
    tolerance: Tolerance = field(default_factory=Tolerance)
    infos: dict[int, ChannelInfo] = field(default_factory=dict)
    identity: Identity | None = None
    first_look: "FirstLook | None" = None
    sequence: int = 0
    answer_s: float = 1.0

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
                raise Failed(f"`hello` was answered by {described(reply)}")
        raise Failed(f"`hello` was not answered for {BOOT_S:g} s")

    def begin_beating(self) -> None:
        """Send a heartbeat now and every 100 ms from now on."""
        self.line.beat()
        self.line.beating = True

    def fresh(self) -> None:
        """Open a new session with heartbeats, clear a stop, and configure every subject harmlessly."""
        self.line.clear()
        self.greet()
        self._leave_stop()
        for subject in self.subjects.switched[:4]:
            self.accepted(self.configuration(subject))
        for channel in self.subjects.bridge or ():
            self.accepted(self.configuration(Subject(channel, LoadClass.VALVE)))
        self.line.clear()

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
        self.expect(isinstance(reply, Ack), f"`clear_stop` was answered by {described(reply)}")

    # -- channels ------------------------------------------------------------------------------------------

    @property
    def subject(self) -> Subject:
        """The subject that most cases use."""
        return self.subjects.switched[0]

    @property
    def channel(self) -> int:
        """The number of its channel."""
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

    def sets(self, wanted: int) -> int:
        """Return how many sample sets a trace may have: as many as wanted, or as the box's memory holds."""
        return wanted if self.identity is None else min(wanted, self.identity.max_trace_samples)

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
        """Arm a hazard class."""
        self.accepted(Arm(hazard, duration_ms))

    def ended(self, reason: EndReason, within_ms: float = 0, pulses: int | None = None) -> DriveEnded:
        """Wait for the end of the drive and check its reason and number of pulses."""
        end = self.event(DriveEnded, within_ms)
        self.expect(end.reason is reason, f"the drive ended as {word(end.reason)}, not as {word(reason)}")
        self.expect(pulses in (None, end.pulses), f"{end.pulses} pulses were delivered, not {pulses}")
        return end

    def idle(self) -> Status:
        """Check that nothing is driven and return the status."""
        status = self.status()
        self.expect(
            status.driving_channel == 0 and status.state in (BoxState.IDLE, BoxState.STOPPED),
            f"the box is {word(status.state)} on channel {status.driving_channel} and should be at rest",
        )
        return status

    def ask_attendant(self, act: Act, channel: int = 0) -> None:
        """Ask the attendant for an act."""
        self.attendant.do(act, channel)


@dataclass(frozen=True)
class FirstLook:
    """The state of the box before this run configured anything."""

    before_hello: Message | None
    status: Status
    configured: tuple[int, ...]


def hello(session: int, major: int = PROTOCOL_MAJOR) -> Hello:
    """Return a hello of this console's version."""
    return Hello(major, PROTOCOL_MINOR, session, SPEC_HASH)
