"""Power-up, hello, versions, sessions."""

from collections import deque
from itertools import pairwise

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture, hello
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import Failed, NotShown
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    BoxState,
    Disarmed,
    DisarmReason,
    DriveEnded,
    DriveTrain,
    GetStatus,
    Hazard,
    Hello,
    Identity,
    Refusal,
    Refused,
    Status,
    Stop,
    Stopped,
    StopReason,
    Telemetry,
)

BOOK = CaseBook()
SESSIONS = "Sessions and versions"


@BOOK.case(
    "A box starts with every output off, nothing armed, no session and no configuration.",
    rule="What the box guarantees",
    mend="Clear the whole state in the start-up code and drive every gate low before anything else. "
    "Ports float until then: the gates need pull-down resistors.",
)
def starts_empty(fixture: Fixture) -> None:
    look = fixture.first_look
    if look is None or not isinstance(look.before_hello, Refused):
        raise NotShown("the box was not just switched on: switch it off and on, then run the suite again")
    fixture.expect(look.status.armed_mask == 0, f"armed from the start: mask {look.status.armed_mask:#04x}")
    fixture.expect(look.status.driving_channel == 0, f"channel {look.status.driving_channel} is driven")
    fixture.expect(not look.configured, f"channels {look.configured} are configured from the start")


@BOOK.case(
    "Without a session everything but hello and stop is refused with `no_session`.",
    rule=SESSIONS,
    mend="Test for a session before looking a request up; remember nothing from before hello.",
    refusals=(Refusal.NO_SESSION,),
)
def no_session_no_service(fixture: Fixture) -> None:
    look = fixture.first_look
    first = None if look is None else look.before_hello
    if isinstance(first, Status) and first.stop_reason is StopReason.BOOT:
        raise Failed("a box without a session since it started answered `get_status`")
    if not isinstance(first, Refused):
        raise NotShown("the box had a session already: switch it off and on, then run the suite again")
    fixture.must_refuse(first, "get_status", GetStatus.KIND, Refusal.NO_SESSION)


@BOOK.case(
    "identity names a protocol of this major version, 1 to 16 channels, and a sampling rate that "
    "traces can have.",
    rule=SESSIONS,
    mend="Fill identity from the generated header, not by hand.",
)
def tells_who_it_is(fixture: Fixture) -> None:
    who = fixture.greet()
    fixture.expect(who.protocol_major == PROTOCOL_MAJOR, f"major version {who.protocol_major}")
    fixture.expect(who.sample_period_ns > 0, "sample_period_ns is 0")
    fixture.expect(who.max_trace_samples > 0, "max_trace_samples is 0")
    fixture.expect(
        all(info.channel == n for n, info in fixture.infos.items()), "channel_info names other channels"
    )


@BOOK.case(
    "A hello of another major version is refused with `bad_version`, whatever its body looks like "
    "otherwise, and leaves the session as it was.",
    rule=SESSIONS,
    mend="Check the first byte of the body before its size; the detail is your own major version.",
    refusals=(Refusal.BAD_VERSION,),
)
def other_version_refused(fixture: Fixture) -> None:
    fixture.refused(hello(77, PROTOCOL_MAJOR + 1), Refusal.BAD_VERSION, PROTOCOL_MAJOR)
    for body in (bytes([PROTOCOL_MAJOR + 1]), bytes([PROTOCOL_MAJOR + 1]) + bytes(30)):
        sequence = fixture.next_sequence()
        fixture.line.send_raw(Hello.KIND, sequence, body)
        name = f"hello of version {PROTOCOL_MAJOR + 1} with {len(body)} bytes"
        fixture.must_refuse(fixture.answer(sequence), name, Hello.KIND, Refusal.BAD_VERSION, PROTOCOL_MAJOR)
    fixture.expect(fixture.status().state is not BoxState.STOPPED, "the refused hello ended the session")


@BOOK.case(
    "A message that the box does not know, one that is not for a box, and one whose body has the wrong "
    "size are refused with `unknown_message`.",
    rule=SESSIONS,
    mend="The dispatcher must answer what it does not find in its table, and compare body sizes with "
    "the table.",
    refusals=(Refusal.UNKNOWN_MESSAGE,),
)
def unknown_refused(fixture: Fixture) -> None:
    for kind, body, what in (
        (0x3F, b"", "an undeclared request"),
        (Refused.KIND, b"\0\1\0\0\0\0", "a reply"),
        (Telemetry.KIND, bytes(32), "an event"),
        (GetStatus.KIND, b"\0", "get_status with a byte too many"),
        (DriveTrain.KIND, bytes(5), "drive_train cut short"),
    ):
        sequence = fixture.next_sequence()
        fixture.line.send_raw(kind, sequence, body)
        fixture.must_refuse(fixture.answer(sequence, what), what, kind, Refusal.UNKNOWN_MESSAGE)


@BOOK.case(
    "A hello with a new session number ends the drive without an event, disarms every class with an "
    "event each, and waits for a first heartbeat.",
    rule=SESSIONS,
    needs=(Need.CHANNEL,),
    mend="Opening a session must go through the same code that switches everything off.",
    refusals=(Refusal.NO_HEARTBEAT,),
)
def new_session_drops_all(fixture: Fixture) -> None:
    fixture.arm(Hazard.MOTION)
    fixture.accepted(fixture.hold())
    fixture.wait_ms(20)
    fixture.greet(beating=False)
    first = fixture.received(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.NEW_SESSION)
    fixture.expect(first.sequence == 0, f"the first event of the session has the counter {first.sequence}")
    fixture.no_event(DriveEnded, 30)
    status = fixture.idle()
    fixture.expect(status.armed_mask == 0, f"still armed: mask {status.armed_mask:#04x}")
    fixture.refused(fixture.train(), Refusal.NO_HEARTBEAT)
    fixture.line.beat()
    fixture.accepted(fixture.train())


@BOOK.case(
    "A hello with the session number of the open session is answered again and changes nothing.",
    rule=SESSIONS,
    mend="Compare the session number before resetting anything: the first answer may have been lost.",
)
def hello_again_changes_nothing(fixture: Fixture) -> None:
    fixture.arm(Hazard.MOTION)
    fixture.get(hello(fixture.line.session), Identity)
    fixture.expect(fixture.status().armed_mask == 1 << Hazard.MOTION, "the repeated hello dropped an arming")
    fixture.no_event(Disarmed, 10)


@BOOK.case(
    "A latched stop survives a new session.",
    rule=SESSIONS,
    mend="Only clear_stop may leave the stopped state.",
)
def stop_survives_hello(fixture: Fixture) -> None:
    fixture.accepted(Stop())
    fixture.event(Stopped, 0)
    fixture.greet()
    fixture.expect(fixture.status().state is BoxState.STOPPED, "hello cleared the stop")


@BOOK.case(
    "Telemetry comes every 100 ms while a session is open, and events count up one by one from 0.",
    rule="Sequence numbers",
    mend="Start the telemetry timer and set the event counter to 0 when a session is opened.",
)
def telemetry_comes(fixture: Fixture) -> None:
    fixture.event(Telemetry, 150)
    fixture.greet()
    line = fixture.line
    line.events = deque(received for received in line.events if received.order > line.replied)
    received = [fixture.received(Telemetry, 150) for _ in range(4)]
    counters = [one.sequence for one in received]
    fixture.expect(counters == [0, 1, 2, 3], f"event counters {counters}, not 0, 1, 2, 3")
    uptimes = [one.message.uptime_ms for one in received if isinstance(one.message, Telemetry)]
    for before, after in pairwise(uptimes):
        fixture.between(
            "the time between two telemetry events", after - before, 99, 101 + fixture.tolerance.box_ms, "ms"
        )
