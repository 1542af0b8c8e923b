"""Messages of the Loomproof box protocol. Generated from wire.toml by `python -m loomproof_wire.generate`; do not edit."""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from struct import Struct
from typing import ClassVar, Self

from loomproof_wire.codec import (
    RangeError as RangeError,
    UnknownMessage as UnknownMessage,
    WireError as WireError,
    check_enum,
    check_int,
    check_ints,
    check_tail,
    decode_text,
    encode_text,
    unpack,
    unpack_head,
)

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0
SPEC_HASH = 0x9FC71EF9
"""CRC-32 of the bytes of wire.toml."""


class Direction(StrEnum):
    """Who sends a message, and whether it is answered."""

    REQUEST = "request"
    NOTICE = "notice"
    REPLY = "reply"
    EVENT = "event"


@dataclass(frozen=True, slots=True)
class FrameConstants:
    """Constants of the frame."""

    delimiter: int = 0
    max_body_bytes: int = 220
    crc: str = "CRC-32/ISO-HDLC"
    default_baud: int = 250000
    other_bauds: tuple[int, ...] = (115200, 500000, 1000000)


@dataclass(frozen=True, slots=True)
class Timing:
    """Times that both ends keep."""

    heartbeat_period_ms: int = 100
    heartbeat_timeout_ms: int = 400
    telemetry_period_ms: int = 100
    request_timeout_ms: int = 250
    request_tries: int = 3


@dataclass(frozen=True, slots=True)
class Ceilings:
    """What no configuration can raise."""

    max_on_time_us: int = 100000
    max_hold_ms: int = 10000
    max_watch_ms: int = 600000
    max_count: int = 2000
    max_duty_permille: int = 900
    min_period_us: int = 200
    min_on_time_us: int = 50
    min_chop_period_us: int = 150
    max_current_ma: int = 20000
    min_sense_us: int = 10
    max_sense_us: int = 200
    max_arm_ms: int = 60000
    max_trace_samples: int = 600
    samples_per_chunk: int = 25
    max_channels: int = 16
    max_dropouts_per_event: int = 1
    max_stop_ahead: int = 255


FRAME = FrameConstants()
TIMING = Timing()
CEILINGS = Ceilings()


class ChannelKind(IntEnum):
    """What drives the pin."""

    LOW_SIDE = 0
    HIGH_SIDE = 1
    LOGIC = 2
    HALF_BRIDGE = 3


CHANNEL_KIND_TEXT: dict[ChannelKind, str] = {
    ChannelKind.LOW_SIDE: "switches the load to ground",
    ChannelKind.HIGH_SIDE: "switches the load to the supply",
    ChannelKind.LOGIC: "5 V logic output",
    ChannelKind.HALF_BRIDGE: "either rail",
}


class LoadClass(IntEnum):
    """What the console says hangs on a channel; the box picks its ceilings by it."""

    NONE = 0
    INJECTOR = 1
    COIL = 2
    IGNITER_COIL = 3
    RELAY = 4
    VALVE = 5
    LAMP = 6
    MOTOR = 7
    STEPPER = 8
    LOGIC_INPUT = 9


LOAD_CLASS_TEXT: dict[LoadClass, str] = {
    LoadClass.NONE: "nothing may be driven",
    LoadClass.INJECTOR: "fuel injector",
    LoadClass.COIL: "bare ignition coil primary",
    LoadClass.IGNITER_COIL: "coil with built-in igniter (logic input)",
    LoadClass.RELAY: "relay coil",
    LoadClass.VALVE: "solenoid valve",
    LoadClass.LAMP: "tungsten lamp",
    LoadClass.MOTOR: "DC motor",
    LoadClass.STEPPER: "one winding of a stepper",
    LoadClass.LOGIC_INPUT: "tachometer or other logic input",
}


class Hazard(IntEnum):
    """What can hurt someone when the channel is driven."""

    NONE = 0
    FUEL = 1
    SPARK = 2
    CRANK = 3
    MOTION = 4
    HEAT = 5


HAZARD_TEXT: dict[Hazard, str] = {
    Hazard.NONE: "needs no arming",
    Hazard.FUEL: "releases fuel",
    Hazard.SPARK: "makes high voltage and a spark",
    Hazard.CRANK: "turns the engine",
    Hazard.MOTION: "moves something that can trap or strike",
    Hazard.HEAT: "gets hot",
}


class BoxState(IntEnum):
    """The state machine of the box."""

    IDLE = 0
    DRIVING = 1
    SENSING = 2
    STOPPED = 3


BOX_STATE_TEXT: dict[BoxState, str] = {
    BoxState.IDLE: "outputs off, ready",
    BoxState.DRIVING: "a pulse train, hold or sequence is running",
    BoxState.SENSING: "sense pulses, scan or watch",
    BoxState.STOPPED: "latched; only clear_stop leaves it",
}


class StopReason(IntEnum):
    """Why the box stopped."""

    NONE = 0
    BOOT = 1
    COMMAND = 2
    STOP_INPUT = 3
    HEARTBEAT = 4
    SUPPLY = 5
    WATCHDOG = 6
    DRIVER_ON = 7
    CURRENT_PATH = 8
    TIMER = 9
    CONVERTER = 10


STOP_REASON_TEXT: dict[StopReason, str] = {
    StopReason.NONE: "not stopped",
    StopReason.BOOT: "not stopped, but nothing has been said to the box since it started",
    StopReason.COMMAND: "a stop frame",
    StopReason.STOP_INPUT: "the hardware stop input",
    StopReason.HEARTBEAT: "no heartbeat",
    StopReason.SUPPLY: "supply lost or out of range",
    StopReason.WATCHDOG: "the box found itself hung",
    StopReason.DRIVER_ON: "a driver that is off conducts; tripped_mask names its channel",
    StopReason.CURRENT_PATH: "a current reading is dead; tripped_mask names its channel",
    StopReason.TIMER: "a timer of the box stands still, or an edge did not come",
    StopReason.CONVERTER: "no current was read while a channel was on",
}


class EndReason(IntEnum):
    """Why a drive ended."""

    COMPLETE = 0
    CANCELLED = 1
    STOPPED = 2
    TRIPPED = 3
    DISARMED = 4


END_REASON_TEXT: dict[EndReason, str] = {
    EndReason.COMPLETE: "all pulses or the whole time delivered",
    EndReason.CANCELLED: "cancel",
    EndReason.STOPPED: "the box stopped",
    EndReason.TRIPPED: "over-current",
    EndReason.DISARMED: "the arm token expired or was dropped",
}


class DisarmReason(IntEnum):
    """Why a hazard class lost its arming."""

    ASKED = 0
    EXPIRED = 1
    STOPPED = 2
    RECONFIGURED = 3
    PUMP_DRIVEN = 4
    NEW_SESSION = 5
    SUPPLY_LOST = 6


DISARM_REASON_TEXT: dict[DisarmReason, str] = {
    DisarmReason.ASKED: "disarm",
    DisarmReason.EXPIRED: "its time ran out",
    DisarmReason.STOPPED: "the box stopped",
    DisarmReason.RECONFIGURED: "a channel was configured",
    DisarmReason.PUMP_DRIVEN: "a channel marked as the fuel pump was driven",
    DisarmReason.NEW_SESSION: "another hello",
    DisarmReason.SUPPLY_LOST: "the supply went away",
}


class Refusal(IntEnum):
    """Why a request was not carried out."""

    UNKNOWN_MESSAGE = 1
    BAD_VERSION = 2
    NO_SESSION = 3
    OUT_OF_RANGE = 4
    NO_SUCH_CHANNEL = 5
    WRONG_KIND = 6
    NOT_CONFIGURED = 7
    STOPPED = 8
    STOP_INPUT_OPEN = 9
    NOT_ARMED = 10
    BUSY = 11
    OVER_ON_TIME = 12
    OVER_DUTY = 13
    OVER_COUNT = 14
    OVER_CURRENT_LIMIT = 15
    TRIPPED = 16
    SUPPLY_OUT_OF_RANGE = 17
    NO_TRACE = 18
    NO_HEARTBEAT = 19
    PUMP_CHANNEL = 20
    RESTING = 21


REFUSAL_TEXT: dict[Refusal, tuple[str, str]] = {
    Refusal.UNKNOWN_MESSAGE: ("the box does not know this message", "use a console and box of the same protocol version"),
    Refusal.BAD_VERSION: ("another major protocol version", "update the console or the box firmware"),
    Refusal.NO_SESSION: ("no hello yet", "connect again"),
    Refusal.OUT_OF_RANGE: ("a field is outside its declared range; detail is its index", "mend the value"),
    Refusal.NO_SUCH_CHANNEL: ("the box has no such channel", "use a channel the box lists"),
    Refusal.WRONG_KIND: ("the channel's driver cannot do this", "use another channel or another drive"),
    Refusal.NOT_CONFIGURED: ("the channel has no configuration", "configure the channel first"),
    Refusal.STOPPED: ("the box is stopped", "find out why, then clear the stop"),
    Refusal.STOP_INPUT_OPEN: ("the hardware stop input is open", "release the stop button"),
    Refusal.NOT_ARMED: ("the channel's hazard class is not armed; detail is the class", "make the statement and arm"),
    Refusal.BUSY: ("another channel is being driven; detail is it", "wait or cancel"),
    Refusal.OVER_ON_TIME: ("on-time over the ceiling; detail is the ceiling in us", "shorten the pulse"),
    Refusal.OVER_DUTY: ("duty over the ceiling; detail is the ceiling in permille", "lengthen the period or shorten the pulse"),
    Refusal.OVER_COUNT: ("count over the ceiling; detail is the ceiling", "use fewer pulses"),
    Refusal.OVER_CURRENT_LIMIT: ("current limit over the ceiling; detail is the ceiling in mA", "lower the limit"),
    Refusal.TRIPPED: ("the channel tripped on over-current and is latched", "mend the short, then configure the channel again"),
    Refusal.SUPPLY_OUT_OF_RANGE: ("supply missing, too low or too high; detail is mV", "check the battery and the box's fuse"),
    Refusal.NO_TRACE: ("no such trace is held", "capture again"),
    Refusal.NO_HEARTBEAT: ("no heartbeat yet in this session", "send heartbeats before driving"),
    Refusal.PUMP_CHANNEL: ("fuel cannot be armed while a fuel pump channel is driven", "end the pump's drive first"),
    Refusal.RESTING: ("the channel still owes rest for its last drive; detail is the ms left", "wait that long, then ask again"),
}
"""What each member means, and what to do about it."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Opens a session: all outputs off, everything disarmed, sequence numbers start from this frame's. Does not clear a stop.

    Attributes:
        protocol_major: u8.
        protocol_minor: u8.
        session: u32, 1 to 4294967295; random; a repeat of the same number is a retry.
        spec_hash: u32; CRC-32 of wire.toml as the console knows it.
    """

    KIND: ClassVar[int] = 0x01
    NAME: ClassVar[str] = "hello"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x42
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBII")

    protocol_major: int
    protocol_minor: int
    session: int
    spec_hash: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "protocol_major", self.protocol_major, 0, 255),
            check_int(1, "protocol_minor", self.protocol_minor, 0, 255),
            check_int(2, "session", self.session, 1, 4294967295),
            check_int(3, "spec_hash", self.spec_hash, 0, 4294967295),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("hello", cls.LAYOUT, body)
        return cls(
            protocol_major=check_int(0, "protocol_major", values[0], 0, 255),
            protocol_minor=check_int(1, "protocol_minor", values[1], 0, 255),
            session=check_int(2, "session", values[2], 1, 4294967295),
            spec_hash=check_int(3, "spec_hash", values[3], 0, 4294967295),
        )


@dataclass(frozen=True, slots=True)
class GetChannel:
    """What one channel is, its ceilings and its calibration.

    Attributes:
        channel: u8, 1 to 16.
    """

    KIND: ClassVar[int] = 0x02
    NAME: ClassVar[str] = "get_channel"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x43
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<B")

    channel: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("get_channel", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
        )


@dataclass(frozen=True, slots=True)
class Configure:
    """Says what hangs on a channel. Clears its trip latch, drops every arming. Limits may only lower the ceilings.

    Attributes:
        channel: u8, 1 to 16.
        load_class: u8, a LoadClass.
        hazard: u8, a Hazard.
        fuel_pump: u8, 0 to 1; 1: driving this channel drops the arming of fuel.
        max_on_time_us: u32, us, 50 to 100000.
        max_hold_ms: u16, ms, 0 to 10000; 0: may not be held.
        max_duty_permille: u16, 1 to 900.
        max_count: u16, 1 to 2000.
        max_current_ma: u16, mA, 10 to 20000.
        max_sense_us: u16, us, 0 to 200; 0: no sense pulse on this channel.
    """

    KIND: ClassVar[int] = 0x03
    NAME: ClassVar[str] = "configure"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBBBIHHHHH")

    channel: int
    load_class: LoadClass
    hazard: Hazard
    fuel_pump: int
    max_on_time_us: int
    max_hold_ms: int
    max_duty_permille: int
    max_count: int
    max_current_ma: int
    max_sense_us: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_enum(1, "load_class", self.load_class, 0, 255, kind=LoadClass),
            check_enum(2, "hazard", self.hazard, 0, 255, kind=Hazard),
            check_int(3, "fuel_pump", self.fuel_pump, 0, 1),
            check_int(4, "max_on_time_us", self.max_on_time_us, 50, 100000),
            check_int(5, "max_hold_ms", self.max_hold_ms, 0, 10000),
            check_int(6, "max_duty_permille", self.max_duty_permille, 1, 900),
            check_int(7, "max_count", self.max_count, 1, 2000),
            check_int(8, "max_current_ma", self.max_current_ma, 10, 20000),
            check_int(9, "max_sense_us", self.max_sense_us, 0, 200),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("configure", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            load_class=check_enum(1, "load_class", values[1], 0, 255, kind=LoadClass),
            hazard=check_enum(2, "hazard", values[2], 0, 255, kind=Hazard),
            fuel_pump=check_int(3, "fuel_pump", values[3], 0, 1),
            max_on_time_us=check_int(4, "max_on_time_us", values[4], 50, 100000),
            max_hold_ms=check_int(5, "max_hold_ms", values[5], 0, 10000),
            max_duty_permille=check_int(6, "max_duty_permille", values[6], 1, 900),
            max_count=check_int(7, "max_count", values[7], 1, 2000),
            max_current_ma=check_int(8, "max_current_ma", values[8], 10, 20000),
            max_sense_us=check_int(9, "max_sense_us", values[9], 0, 200),
        )


@dataclass(frozen=True, slots=True)
class GetConfig:
    """Reads a channel's configuration back.

    Attributes:
        channel: u8, 1 to 16.
    """

    KIND: ClassVar[int] = 0x04
    NAME: ClassVar[str] = "get_config"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x44
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<B")

    channel: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("get_config", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
        )


@dataclass(frozen=True, slots=True)
class GetDigest:
    """CRC-32 over the channel_config bodies of all the box's channels, in channel order."""

    KIND: ClassVar[int] = 0x05
    NAME: ClassVar[str] = "get_digest"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x45
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<")

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        unpack("get_digest", cls.LAYOUT, body)
        return cls()


@dataclass(frozen=True, slots=True)
class Arm:
    """Arms one hazard class for a bounded time. Refused while stopped, before a heartbeat, and for `none`.

    Attributes:
        hazard: u8, a Hazard, 1 and up.
        duration_ms: u16, ms, 100 to 60000.
    """

    KIND: ClassVar[int] = 0x06
    NAME: ClassVar[str] = "arm"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BH")

    hazard: Hazard
    duration_ms: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_enum(0, "hazard", self.hazard, 1, 255, kind=Hazard),
            check_int(1, "duration_ms", self.duration_ms, 100, 60000),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("arm", cls.LAYOUT, body)
        return cls(
            hazard=check_enum(0, "hazard", values[0], 1, 255, kind=Hazard),
            duration_ms=check_int(1, "duration_ms", values[1], 100, 60000),
        )


@dataclass(frozen=True, slots=True)
class Disarm:
    """Drops the arming of one class, or of all with `none`; a drive that needed it ends.

    Attributes:
        hazard: u8, a Hazard.
    """

    KIND: ClassVar[int] = 0x07
    NAME: ClassVar[str] = "disarm"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<B")

    hazard: Hazard

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_enum(0, "hazard", self.hazard, 0, 255, kind=Hazard),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("disarm", cls.LAYOUT, body)
        return cls(
            hazard=check_enum(0, "hazard", values[0], 0, 255, kind=Hazard),
        )


@dataclass(frozen=True, slots=True)
class Stop:
    """Outputs off before the reply is sent; latched. Obeyed with any sequence number, with or without a session."""

    KIND: ClassVar[int] = 0x08
    NAME: ClassVar[str] = "stop"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = True
    LAYOUT: ClassVar[Struct] = Struct("<")

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        unpack("stop", cls.LAYOUT, body)
        return cls()


@dataclass(frozen=True, slots=True)
class ClearStop:
    """Leaves `stopped`. Refused while the stop input is open or the supply is out of range. Re-arms nothing."""

    KIND: ClassVar[int] = 0x09
    NAME: ClassVar[str] = "clear_stop"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<")

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        unpack("clear_stop", cls.LAYOUT, body)
        return cls()


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Keeps the box live; not answered. Counts only for the session it names.

    Attributes:
        session: u32.
    """

    KIND: ClassVar[int] = 0x0A
    NAME: ClassVar[str] = "heartbeat"
    DIRECTION: ClassVar[Direction] = Direction.NOTICE
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = True
    LAYOUT: ClassVar[Struct] = Struct("<I")

    session: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "session", self.session, 0, 4294967295),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("heartbeat", cls.LAYOUT, body)
        return cls(
            session=check_int(0, "session", values[0], 0, 4294967295),
        )


@dataclass(frozen=True, slots=True)
class GetStatus:
    """The same body as telemetry, at once."""

    KIND: ClassVar[int] = 0x0B
    NAME: ClassVar[str] = "get_status"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x46
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<")

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        unpack("get_status", cls.LAYOUT, body)
        return cls()


@dataclass(frozen=True, slots=True)
class DriveTrain:
    """A pulse train on one channel. Ends with drive_ended; traced pulses announce themselves with trace_ready.

    Attributes:
        channel: u8, 1 to 16.
        count: u16, 1 to 2000.
        period_us: u32, us, 200 to 10000000.
        on_time_us: u32, us, 50 to 100000.
        trace_every: u16; 0: none; n: the first pulse and every n-th after it.
        trace_decimation: u8, 1 to 255; keep every n-th sample set.
        trace_samples: u16, 0 to 600.
    """

    KIND: ClassVar[int] = 0x10
    NAME: ClassVar[str] = "drive_train"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BHIIHBH")

    channel: int
    count: int
    period_us: int
    on_time_us: int
    trace_every: int
    trace_decimation: int
    trace_samples: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_int(1, "count", self.count, 1, 2000),
            check_int(2, "period_us", self.period_us, 200, 10000000),
            check_int(3, "on_time_us", self.on_time_us, 50, 100000),
            check_int(4, "trace_every", self.trace_every, 0, 65535),
            check_int(5, "trace_decimation", self.trace_decimation, 1, 255),
            check_int(6, "trace_samples", self.trace_samples, 0, 600),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_train", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            count=check_int(1, "count", values[1], 1, 2000),
            period_us=check_int(2, "period_us", values[2], 200, 10000000),
            on_time_us=check_int(3, "on_time_us", values[3], 50, 100000),
            trace_every=check_int(4, "trace_every", values[4], 0, 65535),
            trace_decimation=check_int(5, "trace_decimation", values[5], 1, 255),
            trace_samples=check_int(6, "trace_samples", values[6], 0, 600),
        )


@dataclass(frozen=True, slots=True)
class DriveHold:
    """Switches one channel on for a bounded time.

    Attributes:
        channel: u8, 1 to 16.
        duration_ms: u16, ms, 1 to 10000.
        trace_decimation: u8, 1 to 255.
        trace_samples: u16, 0 to 600.
    """

    KIND: ClassVar[int] = 0x11
    NAME: ClassVar[str] = "drive_hold"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BHBH")

    channel: int
    duration_ms: int
    trace_decimation: int
    trace_samples: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_int(1, "duration_ms", self.duration_ms, 1, 10000),
            check_int(2, "trace_decimation", self.trace_decimation, 1, 255),
            check_int(3, "trace_samples", self.trace_samples, 0, 600),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_hold", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            duration_ms=check_int(1, "duration_ms", values[1], 1, 10000),
            trace_decimation=check_int(2, "trace_decimation", values[2], 1, 255),
            trace_samples=check_int(3, "trace_samples", values[3], 0, 600),
        )


@dataclass(frozen=True, slots=True)
class DrivePeakHold:
    """For low-resistance injectors: full on for peak_us, then chopped until on_time_us. The chopping counts towards nothing but the total on-time.

    Attributes:
        channel: u8, 1 to 16.
        count: u16, 1 to 2000.
        period_us: u32, us, 200 to 10000000.
        on_time_us: u32, us, 50 to 100000.
        peak_us: u32, us, 50 to 100000.
        chop_period_us: u16, us, 150 to 1000.
        chop_duty_permille: u16, 50 to 950.
        trace_every: u16.
        trace_decimation: u8, 1 to 255.
        trace_samples: u16, 0 to 600.
    """

    KIND: ClassVar[int] = 0x12
    NAME: ClassVar[str] = "drive_peak_hold"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BHIIIHHHBH")

    channel: int
    count: int
    period_us: int
    on_time_us: int
    peak_us: int
    chop_period_us: int
    chop_duty_permille: int
    trace_every: int
    trace_decimation: int
    trace_samples: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_int(1, "count", self.count, 1, 2000),
            check_int(2, "period_us", self.period_us, 200, 10000000),
            check_int(3, "on_time_us", self.on_time_us, 50, 100000),
            check_int(4, "peak_us", self.peak_us, 50, 100000),
            check_int(5, "chop_period_us", self.chop_period_us, 150, 1000),
            check_int(6, "chop_duty_permille", self.chop_duty_permille, 50, 950),
            check_int(7, "trace_every", self.trace_every, 0, 65535),
            check_int(8, "trace_decimation", self.trace_decimation, 1, 255),
            check_int(9, "trace_samples", self.trace_samples, 0, 600),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_peak_hold", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            count=check_int(1, "count", values[1], 1, 2000),
            period_us=check_int(2, "period_us", values[2], 200, 10000000),
            on_time_us=check_int(3, "on_time_us", values[3], 50, 100000),
            peak_us=check_int(4, "peak_us", values[4], 50, 100000),
            chop_period_us=check_int(5, "chop_period_us", values[5], 150, 1000),
            chop_duty_permille=check_int(6, "chop_duty_permille", values[6], 50, 950),
            trace_every=check_int(7, "trace_every", values[7], 0, 65535),
            trace_decimation=check_int(8, "trace_decimation", values[8], 1, 255),
            trace_samples=check_int(9, "trace_samples", values[9], 0, 600),
        )


@dataclass(frozen=True, slots=True)
class DriveStepper:
    """A four-channel stepper sequence, one winding at a time (wave drive). Negative steps run backwards.

    Attributes:
        channels: u8*4, 1 to 16.
        steps: i16, -2000 to 2000.
        step_us: u32, us, 1000 to 1000000.
    """

    KIND: ClassVar[int] = 0x13
    NAME: ClassVar[str] = "drive_stepper"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<4BhI")

    channels: tuple[int, ...]
    steps: int
    step_us: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            *check_ints(0, "channels", self.channels, 1, 16, length=4),
            check_int(1, "steps", self.steps, -2000, 2000),
            check_int(2, "step_us", self.step_us, 1000, 1000000),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_stepper", cls.LAYOUT, body)
        return cls(
            channels=check_ints(0, "channels", values[0:4], 1, 16, length=4),
            steps=check_int(1, "steps", values[4], -2000, 2000),
            step_us=check_int(2, "step_us", values[5], 1000, 1000000),
        )


@dataclass(frozen=True, slots=True)
class DriveBridge:
    """A half-bridge pair: one side chopped to the supply, the other held to ground.

    Attributes:
        channel_supply: u8, 1 to 16.
        channel_ground: u8, 1 to 16.
        duration_ms: u16, ms, 1 to 10000.
        chop_period_us: u16, us, 150 to 1000.
        duty_permille: u16, 1 to 900.
        trace_decimation: u8, 1 to 255.
        trace_samples: u16, 0 to 600.
    """

    KIND: ClassVar[int] = 0x14
    NAME: ClassVar[str] = "drive_bridge"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBHHHBH")

    channel_supply: int
    channel_ground: int
    duration_ms: int
    chop_period_us: int
    duty_permille: int
    trace_decimation: int
    trace_samples: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel_supply", self.channel_supply, 1, 16),
            check_int(1, "channel_ground", self.channel_ground, 1, 16),
            check_int(2, "duration_ms", self.duration_ms, 1, 10000),
            check_int(3, "chop_period_us", self.chop_period_us, 150, 1000),
            check_int(4, "duty_permille", self.duty_permille, 1, 900),
            check_int(5, "trace_decimation", self.trace_decimation, 1, 255),
            check_int(6, "trace_samples", self.trace_samples, 0, 600),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_bridge", cls.LAYOUT, body)
        return cls(
            channel_supply=check_int(0, "channel_supply", values[0], 1, 16),
            channel_ground=check_int(1, "channel_ground", values[1], 1, 16),
            duration_ms=check_int(2, "duration_ms", values[2], 1, 10000),
            chop_period_us=check_int(3, "chop_period_us", values[3], 150, 1000),
            duty_permille=check_int(4, "duty_permille", values[4], 1, 900),
            trace_decimation=check_int(5, "trace_decimation", values[5], 1, 255),
            trace_samples=check_int(6, "trace_samples", values[6], 0, 600),
        )


@dataclass(frozen=True, slots=True)
class Cancel:
    """Ends whatever is driven or sensed, without latching."""

    KIND: ClassVar[int] = 0x15
    NAME: ClassVar[str] = "cancel"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<")

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        unpack("cancel", cls.LAYOUT, body)
        return cls()


@dataclass(frozen=True, slots=True)
class Sense:
    """One sense pulse on one channel, too short to move or spark anything; needs no arming. The trace follows as trace_ready.

    Attributes:
        channel: u8, 1 to 16.
        on_time_us: u16, us, 10 to 200.
        trace_samples: u16, 1 to 600.
    """

    KIND: ClassVar[int] = 0x18
    NAME: ClassVar[str] = "sense"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BHH")

    channel: int
    on_time_us: int
    trace_samples: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_int(1, "on_time_us", self.on_time_us, 10, 200),
            check_int(2, "trace_samples", self.trace_samples, 1, 600),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("sense", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            on_time_us=check_int(1, "on_time_us", values[1], 10, 200),
            trace_samples=check_int(2, "trace_samples", values[2], 1, 600),
        )


@dataclass(frozen=True, slots=True)
class Scan:
    """Resting drain voltage, then one sense pulse where allowed, on every channel of the mask.

    Attributes:
        mask: u16; bit 0 is channel 1.
        on_time_us: u16, us, 0 to 200; 0: drain voltages only; capped by each channel's max_sense_us.
    """

    KIND: ClassVar[int] = 0x19
    NAME: ClassVar[str] = "scan"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x47
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<HH")

    mask: int
    on_time_us: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "mask", self.mask, 0, 65535),
            check_int(1, "on_time_us", self.on_time_us, 0, 200),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("scan", cls.LAYOUT, body)
        return cls(
            mask=check_int(0, "mask", values[0], 0, 65535),
            on_time_us=check_int(1, "on_time_us", values[1], 0, 200),
        )


@dataclass(frozen=True, slots=True)
class Watch:
    """Holds (or senses) one channel and reports every dropout until its time is up or cancel. A held watch needs the channel's arming.

    Attributes:
        channel: u8, 1 to 16.
        held: u8, 0 to 1; 1: the load is held on, its current watched; 0: the distance of the resting drain from its bias.
        duration_ms: u32, ms, 1 to 600000.
        sample_hz: u16, Hz, 1000 to 10000.
        depth_permille: u16, 20 to 1000; a dropout is a fall by this much of the settled value.
    """

    KIND: ClassVar[int] = 0x1B
    NAME: ClassVar[str] = "watch"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x40
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBIHH")

    channel: int
    held: int
    duration_ms: int
    sample_hz: int
    depth_permille: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 1, 16),
            check_int(1, "held", self.held, 0, 1),
            check_int(2, "duration_ms", self.duration_ms, 1, 600000),
            check_int(3, "sample_hz", self.sample_hz, 1000, 10000),
            check_int(4, "depth_permille", self.depth_permille, 20, 1000),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("watch", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 1, 16),
            held=check_int(1, "held", values[1], 0, 1),
            duration_ms=check_int(2, "duration_ms", values[2], 1, 600000),
            sample_hz=check_int(3, "sample_hz", values[3], 1000, 10000),
            depth_permille=check_int(4, "depth_permille", values[4], 20, 1000),
        )


@dataclass(frozen=True, slots=True)
class ReadTrace:
    """One chunk of a held trace. The reader asks for each, so a slow reader cannot overrun the box.

    Attributes:
        trace_id: u16.
        first_sample: u16.
    """

    KIND: ClassVar[int] = 0x20
    NAME: ClassVar[str] = "read_trace"
    DIRECTION: ClassVar[Direction] = Direction.REQUEST
    REPLY_KIND: ClassVar[int | None] = 0x48
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<HH")

    trace_id: int
    first_sample: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "trace_id", self.trace_id, 0, 65535),
            check_int(1, "first_sample", self.first_sample, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("read_trace", cls.LAYOUT, body)
        return cls(
            trace_id=check_int(0, "trace_id", values[0], 0, 65535),
            first_sample=check_int(1, "first_sample", values[1], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class Ack:
    """Done (or begun, for a drive).

    Attributes:
        request_kind: u8.
    """

    KIND: ClassVar[int] = 0x40
    NAME: ClassVar[str] = "ack"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<B")

    request_kind: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "request_kind", self.request_kind, 0, 255),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("ack", cls.LAYOUT, body)
        return cls(
            request_kind=check_int(0, "request_kind", values[0], 0, 255),
        )


@dataclass(frozen=True, slots=True)
class Refused:
    """Not done, and why.

    Attributes:
        request_kind: u8.
        reason: u8, a Refusal.
        detail: u32.
    """

    KIND: ClassVar[int] = 0x41
    NAME: ClassVar[str] = "refused"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBI")

    request_kind: int
    reason: Refusal
    detail: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "request_kind", self.request_kind, 0, 255),
            check_enum(1, "reason", self.reason, 0, 255, kind=Refusal),
            check_int(2, "detail", self.detail, 0, 4294967295),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("refused", cls.LAYOUT, body)
        return cls(
            request_kind=check_int(0, "request_kind", values[0], 0, 255),
            reason=check_enum(1, "reason", values[1], 0, 255, kind=Refusal),
            detail=check_int(2, "detail", values[2], 0, 4294967295),
        )


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the box is and what it can do.

    Attributes:
        protocol_major: u8.
        protocol_minor: u8.
        spec_hash: u32.
        firmware_version: text:16.
        build_hash: u32.
        board: text:24.
        serial_number: text:16.
        simulated: u8, 0 to 1; 1: a simulated box; a record made with it says so.
        channel_count: u8, 1 to 16.
        adc_bits: u8, 8 to 16.
        sample_period_ns: u32, ns; one sample set (both current ranges, supply, drain).
        max_trace_samples: u16.
        calibrated_on: text:10; YYYY-MM-DD.
    """

    KIND: ClassVar[int] = 0x42
    NAME: ClassVar[str] = "identity"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBI16sI24s16sBBBIH10s")

    protocol_major: int
    protocol_minor: int
    spec_hash: int
    firmware_version: str
    build_hash: int
    board: str
    serial_number: str
    simulated: int
    channel_count: int
    adc_bits: int
    sample_period_ns: int
    max_trace_samples: int
    calibrated_on: str

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "protocol_major", self.protocol_major, 0, 255),
            check_int(1, "protocol_minor", self.protocol_minor, 0, 255),
            check_int(2, "spec_hash", self.spec_hash, 0, 4294967295),
            encode_text(3, "firmware_version", self.firmware_version, 16),
            check_int(4, "build_hash", self.build_hash, 0, 4294967295),
            encode_text(5, "board", self.board, 24),
            encode_text(6, "serial_number", self.serial_number, 16),
            check_int(7, "simulated", self.simulated, 0, 1),
            check_int(8, "channel_count", self.channel_count, 1, 16),
            check_int(9, "adc_bits", self.adc_bits, 8, 16),
            check_int(10, "sample_period_ns", self.sample_period_ns, 0, 4294967295),
            check_int(11, "max_trace_samples", self.max_trace_samples, 0, 65535),
            encode_text(12, "calibrated_on", self.calibrated_on, 10),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("identity", cls.LAYOUT, body)
        return cls(
            protocol_major=check_int(0, "protocol_major", values[0], 0, 255),
            protocol_minor=check_int(1, "protocol_minor", values[1], 0, 255),
            spec_hash=check_int(2, "spec_hash", values[2], 0, 4294967295),
            firmware_version=decode_text(3, "firmware_version", values[3]),
            build_hash=check_int(4, "build_hash", values[4], 0, 4294967295),
            board=decode_text(5, "board", values[5]),
            serial_number=decode_text(6, "serial_number", values[6]),
            simulated=check_int(7, "simulated", values[7], 0, 1),
            channel_count=check_int(8, "channel_count", values[8], 1, 16),
            adc_bits=check_int(9, "adc_bits", values[9], 8, 16),
            sample_period_ns=check_int(10, "sample_period_ns", values[10], 0, 4294967295),
            max_trace_samples=check_int(11, "max_trace_samples", values[11], 0, 65535),
            calibrated_on=decode_text(12, "calibrated_on", values[12]),
        )


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """A channel's driver, its ceilings and how counts become amperes and volts: value = (counts - offset) * per_count.

    Attributes:
        channel: u8.
        channel_kind: u8, a ChannelKind.
        max_on_time_us: u32, us.
        max_hold_ms: u16, ms.
        max_duty_permille: u16.
        max_count: u16.
        max_current_ma: u16, mA.
        max_sense_us: u16, us.
        wide_na_per_count: u32, nA; 20 A range.
        wide_offset_counts_x100: i16.
        fine_na_per_count: u32, nA; 2 A range.
        fine_offset_counts_x100: i16.
        supply_uv_per_count: u32, uV.
        drain_uv_per_count: u32, uV.
        gain_uncertainty_ppm: u16, ppm; standard uncertainty of the current scales.
        noise_counts_x100: u16; standard deviation of one sample.
        bias_mv: u16, mV; where an unconnected drain rests.
        bias_ohm: u32, ohm.
        clamp_mv: u32, mV; drain voltage at which the driver clamps.
    """

    KIND: ClassVar[int] = 0x43
    NAME: ClassVar[str] = "channel_info"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBIHHHHHIhIhIIHHHII")

    channel: int
    channel_kind: ChannelKind
    max_on_time_us: int
    max_hold_ms: int
    max_duty_permille: int
    max_count: int
    max_current_ma: int
    max_sense_us: int
    wide_na_per_count: int
    wide_offset_counts_x100: int
    fine_na_per_count: int
    fine_offset_counts_x100: int
    supply_uv_per_count: int
    drain_uv_per_count: int
    gain_uncertainty_ppm: int
    noise_counts_x100: int
    bias_mv: int
    bias_ohm: int
    clamp_mv: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 0, 255),
            check_enum(1, "channel_kind", self.channel_kind, 0, 255, kind=ChannelKind),
            check_int(2, "max_on_time_us", self.max_on_time_us, 0, 4294967295),
            check_int(3, "max_hold_ms", self.max_hold_ms, 0, 65535),
            check_int(4, "max_duty_permille", self.max_duty_permille, 0, 65535),
            check_int(5, "max_count", self.max_count, 0, 65535),
            check_int(6, "max_current_ma", self.max_current_ma, 0, 65535),
            check_int(7, "max_sense_us", self.max_sense_us, 0, 65535),
            check_int(8, "wide_na_per_count", self.wide_na_per_count, 0, 4294967295),
            check_int(9, "wide_offset_counts_x100", self.wide_offset_counts_x100, -32768, 32767),
            check_int(10, "fine_na_per_count", self.fine_na_per_count, 0, 4294967295),
            check_int(11, "fine_offset_counts_x100", self.fine_offset_counts_x100, -32768, 32767),
            check_int(12, "supply_uv_per_count", self.supply_uv_per_count, 0, 4294967295),
            check_int(13, "drain_uv_per_count", self.drain_uv_per_count, 0, 4294967295),
            check_int(14, "gain_uncertainty_ppm", self.gain_uncertainty_ppm, 0, 65535),
            check_int(15, "noise_counts_x100", self.noise_counts_x100, 0, 65535),
            check_int(16, "bias_mv", self.bias_mv, 0, 65535),
            check_int(17, "bias_ohm", self.bias_ohm, 0, 4294967295),
            check_int(18, "clamp_mv", self.clamp_mv, 0, 4294967295),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("channel_info", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 0, 255),
            channel_kind=check_enum(1, "channel_kind", values[1], 0, 255, kind=ChannelKind),
            max_on_time_us=check_int(2, "max_on_time_us", values[2], 0, 4294967295),
            max_hold_ms=check_int(3, "max_hold_ms", values[3], 0, 65535),
            max_duty_permille=check_int(4, "max_duty_permille", values[4], 0, 65535),
            max_count=check_int(5, "max_count", values[5], 0, 65535),
            max_current_ma=check_int(6, "max_current_ma", values[6], 0, 65535),
            max_sense_us=check_int(7, "max_sense_us", values[7], 0, 65535),
            wide_na_per_count=check_int(8, "wide_na_per_count", values[8], 0, 4294967295),
            wide_offset_counts_x100=check_int(9, "wide_offset_counts_x100", values[9], -32768, 32767),
            fine_na_per_count=check_int(10, "fine_na_per_count", values[10], 0, 4294967295),
            fine_offset_counts_x100=check_int(11, "fine_offset_counts_x100", values[11], -32768, 32767),
            supply_uv_per_count=check_int(12, "supply_uv_per_count", values[12], 0, 4294967295),
            drain_uv_per_count=check_int(13, "drain_uv_per_count", values[13], 0, 4294967295),
            gain_uncertainty_ppm=check_int(14, "gain_uncertainty_ppm", values[14], 0, 65535),
            noise_counts_x100=check_int(15, "noise_counts_x100", values[15], 0, 65535),
            bias_mv=check_int(16, "bias_mv", values[16], 0, 65535),
            bias_ohm=check_int(17, "bias_ohm", values[17], 0, 4294967295),
            clamp_mv=check_int(18, "clamp_mv", values[18], 0, 4294967295),
        )


@dataclass(frozen=True, slots=True)
class ChannelConfig:
    """The configuration as the box holds it. A channel never configured has load class and hazard `none` and every limit 0.

    Attributes:
        channel: u8.
        load_class: u8, a LoadClass.
        hazard: u8, a Hazard.
        fuel_pump: u8.
        max_on_time_us: u32, us.
        max_hold_ms: u16, ms.
        max_duty_permille: u16.
        max_count: u16.
        max_current_ma: u16, mA.
        max_sense_us: u16, us.
    """

    KIND: ClassVar[int] = 0x44
    NAME: ClassVar[str] = "channel_config"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BBBBIHHHHH")

    channel: int
    load_class: LoadClass
    hazard: Hazard
    fuel_pump: int
    max_on_time_us: int
    max_hold_ms: int
    max_duty_permille: int
    max_count: int
    max_current_ma: int
    max_sense_us: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 0, 255),
            check_enum(1, "load_class", self.load_class, 0, 255, kind=LoadClass),
            check_enum(2, "hazard", self.hazard, 0, 255, kind=Hazard),
            check_int(3, "fuel_pump", self.fuel_pump, 0, 255),
            check_int(4, "max_on_time_us", self.max_on_time_us, 0, 4294967295),
            check_int(5, "max_hold_ms", self.max_hold_ms, 0, 65535),
            check_int(6, "max_duty_permille", self.max_duty_permille, 0, 65535),
            check_int(7, "max_count", self.max_count, 0, 65535),
            check_int(8, "max_current_ma", self.max_current_ma, 0, 65535),
            check_int(9, "max_sense_us", self.max_sense_us, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("channel_config", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 0, 255),
            load_class=check_enum(1, "load_class", values[1], 0, 255, kind=LoadClass),
            hazard=check_enum(2, "hazard", values[2], 0, 255, kind=Hazard),
            fuel_pump=check_int(3, "fuel_pump", values[3], 0, 255),
            max_on_time_us=check_int(4, "max_on_time_us", values[4], 0, 4294967295),
            max_hold_ms=check_int(5, "max_hold_ms", values[5], 0, 65535),
            max_duty_permille=check_int(6, "max_duty_permille", values[6], 0, 65535),
            max_count=check_int(7, "max_count", values[7], 0, 65535),
            max_current_ma=check_int(8, "max_current_ma", values[8], 0, 65535),
            max_sense_us=check_int(9, "max_sense_us", values[9], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class Digest:
    """See get_digest.

    Attributes:
        digest: u32.
    """

    KIND: ClassVar[int] = 0x45
    NAME: ClassVar[str] = "digest"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<I")

    digest: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "digest", self.digest, 0, 4294967295),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("digest", cls.LAYOUT, body)
        return cls(
            digest=check_int(0, "digest", values[0], 0, 4294967295),
        )


@dataclass(frozen=True, slots=True)
class Status:
    """The state of the box.

    Attributes:
        uptime_ms: u32, ms.
        state: u8, a BoxState.
        stop_reason: u8, a StopReason.
        stop_input_open: u8, 0 to 1.
        supply_mv: u16, mV.
        board_temperature_dc: i16, 0.1 degC.
        driving_channel: u8; 0: none.
        tripped_mask: u16.
        armed_mask: u8; bit n is hazard n.
        armed_left_ms: u16*5, ms; fuel, spark, crank, motion, heat.
        free_traces: u8.
        bad_frames: u16; saturates.
        stale_frames: u16; saturates.
        overruns: u16; saturates.
    """

    KIND: ClassVar[int] = 0x46
    NAME: ClassVar[str] = "status"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<IBBBHhBHB5HBHHH")

    uptime_ms: int
    state: BoxState
    stop_reason: StopReason
    stop_input_open: int
    supply_mv: int
    board_temperature_dc: int
    driving_channel: int
    tripped_mask: int
    armed_mask: int
    armed_left_ms: tuple[int, ...]
    free_traces: int
    bad_frames: int
    stale_frames: int
    overruns: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "uptime_ms", self.uptime_ms, 0, 4294967295),
            check_enum(1, "state", self.state, 0, 255, kind=BoxState),
            check_enum(2, "stop_reason", self.stop_reason, 0, 255, kind=StopReason),
            check_int(3, "stop_input_open", self.stop_input_open, 0, 1),
            check_int(4, "supply_mv", self.supply_mv, 0, 65535),
            check_int(5, "board_temperature_dc", self.board_temperature_dc, -32768, 32767),
            check_int(6, "driving_channel", self.driving_channel, 0, 255),
            check_int(7, "tripped_mask", self.tripped_mask, 0, 65535),
            check_int(8, "armed_mask", self.armed_mask, 0, 255),
            *check_ints(9, "armed_left_ms", self.armed_left_ms, 0, 65535, length=5),
            check_int(10, "free_traces", self.free_traces, 0, 255),
            check_int(11, "bad_frames", self.bad_frames, 0, 65535),
            check_int(12, "stale_frames", self.stale_frames, 0, 65535),
            check_int(13, "overruns", self.overruns, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("status", cls.LAYOUT, body)
        return cls(
            uptime_ms=check_int(0, "uptime_ms", values[0], 0, 4294967295),
            state=check_enum(1, "state", values[1], 0, 255, kind=BoxState),
            stop_reason=check_enum(2, "stop_reason", values[2], 0, 255, kind=StopReason),
            stop_input_open=check_int(3, "stop_input_open", values[3], 0, 1),
            supply_mv=check_int(4, "supply_mv", values[4], 0, 65535),
            board_temperature_dc=check_int(5, "board_temperature_dc", values[5], -32768, 32767),
            driving_channel=check_int(6, "driving_channel", values[6], 0, 255),
            tripped_mask=check_int(7, "tripped_mask", values[7], 0, 65535),
            armed_mask=check_int(8, "armed_mask", values[8], 0, 255),
            armed_left_ms=check_ints(9, "armed_left_ms", values[9:14], 0, 65535, length=5),
            free_traces=check_int(10, "free_traces", values[14], 0, 255),
            bad_frames=check_int(11, "bad_frames", values[15], 0, 65535),
            stale_frames=check_int(12, "stale_frames", values[16], 0, 65535),
            overruns=check_int(13, "overruns", values[17], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class ScanResult:
    """One value per channel, zero for channels outside the mask.

    Attributes:
        mask: u16.
        sensed_mask: u16; channels that were given a pulse.
        on_time_us: u16, us; as asked; each channel's own cap may be lower.
        supply_counts: u16.
        drain_counts: u16*16; resting drain voltage.
        fine_counts: u16*16; 2 A range at the end of the sense pulse.
        wide_counts: u16*16; 20 A range at the end of the sense pulse.
    """

    KIND: ClassVar[int] = 0x47
    NAME: ClassVar[str] = "scan_result"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<HHHH16H16H16H")

    mask: int
    sensed_mask: int
    on_time_us: int
    supply_counts: int
    drain_counts: tuple[int, ...]
    fine_counts: tuple[int, ...]
    wide_counts: tuple[int, ...]

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "mask", self.mask, 0, 65535),
            check_int(1, "sensed_mask", self.sensed_mask, 0, 65535),
            check_int(2, "on_time_us", self.on_time_us, 0, 65535),
            check_int(3, "supply_counts", self.supply_counts, 0, 65535),
            *check_ints(4, "drain_counts", self.drain_counts, 0, 65535, length=16),
            *check_ints(5, "fine_counts", self.fine_counts, 0, 65535, length=16),
            *check_ints(6, "wide_counts", self.wide_counts, 0, 65535, length=16),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("scan_result", cls.LAYOUT, body)
        return cls(
            mask=check_int(0, "mask", values[0], 0, 65535),
            sensed_mask=check_int(1, "sensed_mask", values[1], 0, 65535),
            on_time_us=check_int(2, "on_time_us", values[2], 0, 65535),
            supply_counts=check_int(3, "supply_counts", values[3], 0, 65535),
            drain_counts=check_ints(4, "drain_counts", values[4:20], 0, 65535, length=16),
            fine_counts=check_ints(5, "fine_counts", values[20:36], 0, 65535, length=16),
            wide_counts=check_ints(6, "wide_counts", values[36:52], 0, 65535, length=16),
        )


@dataclass(frozen=True, slots=True)
class TraceChunk:
    """Sample sets of a trace, eight bytes each: fine, wide, supply and drain counts as u16.

    Attributes:
        trace_id: u16.
        first_sample: u16.
        samples: bytes:<=200.
    """

    KIND: ClassVar[int] = 0x48
    NAME: ClassVar[str] = "trace_chunk"
    DIRECTION: ClassVar[Direction] = Direction.REPLY
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<HH")

    trace_id: int
    first_sample: int
    samples: bytes

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "trace_id", self.trace_id, 0, 65535),
            check_int(1, "first_sample", self.first_sample, 0, 65535),
        ) + check_tail(2, "samples", self.samples, 200)

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values, tail = unpack_head("trace_chunk", cls.LAYOUT, body)
        return cls(
            trace_id=check_int(0, "trace_id", values[0], 0, 65535),
            first_sample=check_int(1, "first_sample", values[1], 0, 65535),
            samples=check_tail(2, "samples", tail, 200),
        )


@dataclass(frozen=True, slots=True)
class Telemetry:
    """The state of the box, every telemetry period while a session is open.

    Attributes:
        uptime_ms: u32, ms.
        state: u8, a BoxState.
        stop_reason: u8, a StopReason.
        stop_input_open: u8, 0 to 1.
        supply_mv: u16, mV.
        board_temperature_dc: i16, 0.1 degC.
        driving_channel: u8; 0: none.
        tripped_mask: u16.
        armed_mask: u8; bit n is hazard n.
        armed_left_ms: u16*5, ms; fuel, spark, crank, motion, heat.
        free_traces: u8.
        bad_frames: u16; saturates.
        stale_frames: u16; saturates.
        overruns: u16; saturates.
    """

    KIND: ClassVar[int] = 0x80
    NAME: ClassVar[str] = "telemetry"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<IBBBHhBHB5HBHHH")

    uptime_ms: int
    state: BoxState
    stop_reason: StopReason
    stop_input_open: int
    supply_mv: int
    board_temperature_dc: int
    driving_channel: int
    tripped_mask: int
    armed_mask: int
    armed_left_ms: tuple[int, ...]
    free_traces: int
    bad_frames: int
    stale_frames: int
    overruns: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "uptime_ms", self.uptime_ms, 0, 4294967295),
            check_enum(1, "state", self.state, 0, 255, kind=BoxState),
            check_enum(2, "stop_reason", self.stop_reason, 0, 255, kind=StopReason),
            check_int(3, "stop_input_open", self.stop_input_open, 0, 1),
            check_int(4, "supply_mv", self.supply_mv, 0, 65535),
            check_int(5, "board_temperature_dc", self.board_temperature_dc, -32768, 32767),
            check_int(6, "driving_channel", self.driving_channel, 0, 255),
            check_int(7, "tripped_mask", self.tripped_mask, 0, 65535),
            check_int(8, "armed_mask", self.armed_mask, 0, 255),
            *check_ints(9, "armed_left_ms", self.armed_left_ms, 0, 65535, length=5),
            check_int(10, "free_traces", self.free_traces, 0, 255),
            check_int(11, "bad_frames", self.bad_frames, 0, 65535),
            check_int(12, "stale_frames", self.stale_frames, 0, 65535),
            check_int(13, "overruns", self.overruns, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("telemetry", cls.LAYOUT, body)
        return cls(
            uptime_ms=check_int(0, "uptime_ms", values[0], 0, 4294967295),
            state=check_enum(1, "state", values[1], 0, 255, kind=BoxState),
            stop_reason=check_enum(2, "stop_reason", values[2], 0, 255, kind=StopReason),
            stop_input_open=check_int(3, "stop_input_open", values[3], 0, 1),
            supply_mv=check_int(4, "supply_mv", values[4], 0, 65535),
            board_temperature_dc=check_int(5, "board_temperature_dc", values[5], -32768, 32767),
            driving_channel=check_int(6, "driving_channel", values[6], 0, 255),
            tripped_mask=check_int(7, "tripped_mask", values[7], 0, 65535),
            armed_mask=check_int(8, "armed_mask", values[8], 0, 255),
            armed_left_ms=check_ints(9, "armed_left_ms", values[9:14], 0, 65535, length=5),
            free_traces=check_int(10, "free_traces", values[14], 0, 255),
            bad_frames=check_int(11, "bad_frames", values[15], 0, 65535),
            stale_frames=check_int(12, "stale_frames", values[16], 0, 65535),
            overruns=check_int(13, "overruns", values[17], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class Trip:
    """A channel went over its current limit and is latched off.

    Attributes:
        channel: u8.
        current_ma: u16, mA.
    """

    KIND: ClassVar[int] = 0x81
    NAME: ClassVar[str] = "trip"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BH")

    channel: int
    current_ma: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 0, 255),
            check_int(1, "current_ma", self.current_ma, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("trip", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 0, 255),
            current_ma=check_int(1, "current_ma", values[1], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class Stopped:
    """The box stopped.

    Attributes:
        reason: u8, a StopReason.
    """

    KIND: ClassVar[int] = 0x82
    NAME: ClassVar[str] = "stopped"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<B")

    reason: StopReason

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_enum(0, "reason", self.reason, 0, 255, kind=StopReason),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("stopped", cls.LAYOUT, body)
        return cls(
            reason=check_enum(0, "reason", values[0], 0, 255, kind=StopReason),
        )


@dataclass(frozen=True, slots=True)
class DriveEnded:
    """A drive, sense or watch is over.

    Attributes:
        channel: u8.
        pulses: u16; pulses delivered in full.
        reason: u8, a EndReason.
    """

    KIND: ClassVar[int] = 0x83
    NAME: ClassVar[str] = "drive_ended"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BHB")

    channel: int
    pulses: int
    reason: EndReason

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 0, 255),
            check_int(1, "pulses", self.pulses, 0, 65535),
            check_enum(2, "reason", self.reason, 0, 255, kind=EndReason),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("drive_ended", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 0, 255),
            pulses=check_int(1, "pulses", values[1], 0, 65535),
            reason=check_enum(2, "reason", values[2], 0, 255, kind=EndReason),
        )


@dataclass(frozen=True, slots=True)
class TraceReady:
    """A trace is held under this number until newer ones push it out.

    Attributes:
        trace_id: u16.
        channel: u8.
        pulse_index: u16; 0 is the first.
        sample_count: u16.
        sample_period_ns: u32, ns; after decimation.
        on_time_us: u32, us; as delivered.
        first_sample_ns: i32, ns; of the current ranges, from the switch-on edge.
        supply_skew_ns: i16, ns; supply sample after the current sample.
        drain_skew_ns: i16, ns; drain sample after the current sample.
        truncated: u8, 0 to 1; 1: the pulse was longer than the trace.
        tripped: u8, 0 to 1.
    """

    KIND: ClassVar[int] = 0x84
    NAME: ClassVar[str] = "trace_ready"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<HBHHIIihhBB")

    trace_id: int
    channel: int
    pulse_index: int
    sample_count: int
    sample_period_ns: int
    on_time_us: int
    first_sample_ns: int
    supply_skew_ns: int
    drain_skew_ns: int
    truncated: int
    tripped: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "trace_id", self.trace_id, 0, 65535),
            check_int(1, "channel", self.channel, 0, 255),
            check_int(2, "pulse_index", self.pulse_index, 0, 65535),
            check_int(3, "sample_count", self.sample_count, 0, 65535),
            check_int(4, "sample_period_ns", self.sample_period_ns, 0, 4294967295),
            check_int(5, "on_time_us", self.on_time_us, 0, 4294967295),
            check_int(6, "first_sample_ns", self.first_sample_ns, -2147483648, 2147483647),
            check_int(7, "supply_skew_ns", self.supply_skew_ns, -32768, 32767),
            check_int(8, "drain_skew_ns", self.drain_skew_ns, -32768, 32767),
            check_int(9, "truncated", self.truncated, 0, 1),
            check_int(10, "tripped", self.tripped, 0, 1),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("trace_ready", cls.LAYOUT, body)
        return cls(
            trace_id=check_int(0, "trace_id", values[0], 0, 65535),
            channel=check_int(1, "channel", values[1], 0, 255),
            pulse_index=check_int(2, "pulse_index", values[2], 0, 65535),
            sample_count=check_int(3, "sample_count", values[3], 0, 65535),
            sample_period_ns=check_int(4, "sample_period_ns", values[4], 0, 4294967295),
            on_time_us=check_int(5, "on_time_us", values[5], 0, 4294967295),
            first_sample_ns=check_int(6, "first_sample_ns", values[6], -2147483648, 2147483647),
            supply_skew_ns=check_int(7, "supply_skew_ns", values[7], -32768, 32767),
            drain_skew_ns=check_int(8, "drain_skew_ns", values[8], -32768, 32767),
            truncated=check_int(9, "truncated", values[9], 0, 1),
            tripped=check_int(10, "tripped", values[10], 0, 1),
        )


@dataclass(frozen=True, slots=True)
class Dropout:
    """A watched load let go and came back (or was still away when the watch ended).

    Attributes:
        channel: u8.
        start_us: u32, us; from the start of the watch.
        length_us: u32, us.
        depth_permille: u16.
    """

    KIND: ClassVar[int] = 0x85
    NAME: ClassVar[str] = "dropout"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BIIH")

    channel: int
    start_us: int
    length_us: int
    depth_permille: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "channel", self.channel, 0, 255),
            check_int(1, "start_us", self.start_us, 0, 4294967295),
            check_int(2, "length_us", self.length_us, 0, 4294967295),
            check_int(3, "depth_permille", self.depth_permille, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("dropout", cls.LAYOUT, body)
        return cls(
            channel=check_int(0, "channel", values[0], 0, 255),
            start_us=check_int(1, "start_us", values[1], 0, 4294967295),
            length_us=check_int(2, "length_us", values[2], 0, 4294967295),
            depth_permille=check_int(3, "depth_permille", values[3], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class SupplyEvent:
    """The supply went away or came back.

    Attributes:
        present: u8, 0 to 1.
        supply_mv: u16, mV.
    """

    KIND: ClassVar[int] = 0x86
    NAME: ClassVar[str] = "supply_event"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BH")

    present: int
    supply_mv: int

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_int(0, "present", self.present, 0, 1),
            check_int(1, "supply_mv", self.supply_mv, 0, 65535),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("supply_event", cls.LAYOUT, body)
        return cls(
            present=check_int(0, "present", values[0], 0, 1),
            supply_mv=check_int(1, "supply_mv", values[1], 0, 65535),
        )


@dataclass(frozen=True, slots=True)
class Disarmed:
    """A hazard class lost its arming.

    Attributes:
        hazard: u8, a Hazard.
        reason: u8, a DisarmReason.
    """

    KIND: ClassVar[int] = 0x87
    NAME: ClassVar[str] = "disarmed"
    DIRECTION: ClassVar[Direction] = Direction.EVENT
    REPLY_KIND: ClassVar[int | None] = None
    ANY_SEQUENCE: ClassVar[bool] = False
    LAYOUT: ClassVar[Struct] = Struct("<BB")

    hazard: Hazard
    reason: DisarmReason

    def encode_body(self) -> bytes:
        """Return the body bytes; raises RangeError for a value outside its range."""
        return self.LAYOUT.pack(
            check_enum(0, "hazard", self.hazard, 0, 255, kind=Hazard),
            check_enum(1, "reason", self.reason, 0, 255, kind=DisarmReason),
        )

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """Return the message; raises WireError for a wrong size, RangeError for a value outside its range."""
        values = unpack("disarmed", cls.LAYOUT, body)
        return cls(
            hazard=check_enum(0, "hazard", values[0], 0, 255, kind=Hazard),
            reason=check_enum(1, "reason", values[1], 0, 255, kind=DisarmReason),
        )


Request = (
    Hello
    | GetChannel
    | Configure
    | GetConfig
    | GetDigest
    | Arm
    | Disarm
    | Stop
    | ClearStop
    | Heartbeat
    | GetStatus
    | DriveTrain
    | DriveHold
    | DrivePeakHold
    | DriveStepper
    | DriveBridge
    | Cancel
    | Sense
    | Scan
    | Watch
    | ReadTrace
)

Reply = (
    Ack
    | Refused
    | Identity
    | ChannelInfo
    | ChannelConfig
    | Digest
    | Status
    | ScanResult
    | TraceChunk
)

Event = (
    Telemetry
    | Trip
    | Stopped
    | DriveEnded
    | TraceReady
    | Dropout
    | SupplyEvent
    | Disarmed
)
Message = Request | Reply | Event

MESSAGES: dict[int, type[Message]] = {
    0x01: Hello,
    0x02: GetChannel,
    0x03: Configure,
    0x04: GetConfig,
    0x05: GetDigest,
    0x06: Arm,
    0x07: Disarm,
    0x08: Stop,
    0x09: ClearStop,
    0x0A: Heartbeat,
    0x0B: GetStatus,
    0x10: DriveTrain,
    0x11: DriveHold,
    0x12: DrivePeakHold,
    0x13: DriveStepper,
    0x14: DriveBridge,
    0x15: Cancel,
    0x18: Sense,
    0x19: Scan,
    0x1B: Watch,
    0x20: ReadTrace,
    0x40: Ack,
    0x41: Refused,
    0x42: Identity,
    0x43: ChannelInfo,
    0x44: ChannelConfig,
    0x45: Digest,
    0x46: Status,
    0x47: ScanResult,
    0x48: TraceChunk,
    0x80: Telemetry,
    0x81: Trip,
    0x82: Stopped,
    0x83: DriveEnded,
    0x84: TraceReady,
    0x85: Dropout,
    0x86: SupplyEvent,
    0x87: Disarmed,
}
"""Kind byte -> message class."""
