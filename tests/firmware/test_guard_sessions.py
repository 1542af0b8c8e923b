"""Sessions, sequence numbers and frames at the core.

The rules and every number: docs/protocol.md.
"""

import struct
import zlib
from dataclasses import replace

import pytest
from hostconsole import (
    HOLD,
    MS,
    SESSION,
    HostConsole,
    configure,
)

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import DisarmReason, Hazard, Refusal

# -- sessions ----------------------------------------------------------------------------------------------------


def test_a_new_session_switches_off_disarms_and_wants_a_heartbeat(console):
    configure(console, HOLD)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.refusal(replace(HOLD, trace_samples=0, duration_ms=3000))
    console.wait(3)
    identity = console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, 2, 0))
    assert isinstance(identity, wire.Identity)
    assert console.on() == []
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.NEW_SESSION)]
    assert console.said(wire.DriveEnded) == []  # it ended for the old session
    assert console.refusal(HOLD) == (Refusal.NO_HEARTBEAT, 0)
    console.beat(SESSION)
    assert console.refusal(HOLD) == (Refusal.NO_HEARTBEAT, 0)
    console.wait(10, beats=False)
    console.beat(2)
    assert console.refusal(HOLD) is None


def test_a_hello_of_the_same_session_changes_nothing(console):
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    assert isinstance(console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, SESSION, 0)), wire.Identity)
    assert console.status().armed_mask == 1 << Hazard.HEAT


@pytest.mark.parametrize(
    ("body", "reason", "detail"),
    [
        (b"\2\0" + bytes(8), Refusal.BAD_VERSION, 1),
        (b"\2", Refusal.BAD_VERSION, 1),
        (b"", Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(7), Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(9), Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(8), Refusal.OUT_OF_RANGE, 2),
    ],
    ids=["version", "version alone", "empty", "short", "long", "session 0"],
)
def test_a_hello_that_is_none_opens_no_session(guarded, body, reason, detail):
    console = HostConsole(guarded)
    console.box.receive(frame(wire.Hello.KIND, 7, body))
    console.listen()
    assert console.replies == [(7, wire.Refused(wire.Hello.KIND, reason, detail))]
    assert console.ask(wire.GetStatus()).reason is Refusal.NO_SESSION


@pytest.mark.parametrize("request_", [wire.GetDigest, wire.ClearStop, wire.GetStatus, wire.Cancel])
def test_a_request_without_a_body_takes_none(console, request_):
    console.sequence += 1
    console.box.receive(frame(request_.KIND, console.sequence, b"\0"))
    console.listen()
    assert console.replies[-1] == (
        console.sequence,
        wire.Refused(request_.KIND, Refusal.UNKNOWN_MESSAGE, 0),
    )


def test_a_request_is_carried_out_once(console):
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    again = encode_frame(console.sequence, wire.Arm(Hazard.HEAT, 60_000))
    console.refusal(wire.Disarm(Hazard.HEAT))
    console.box.receive(again)
    console.listen()
    assert console.status().armed_mask == 0
    assert console.status().stale_frames == 1
    replies = len(console.replies)
    status = encode_frame(console.sequence, wire.GetStatus())
    console.box.receive(status)
    console.listen()
    assert len(console.replies) == replies + 1
    assert console.replies[-1] == console.replies[-2]
    assert console.status().stale_frames == 1


@pytest.mark.parametrize(("ahead", "new"), [(1, True), (0x7FFF, True), (0x8000, False), (0xFFFF, False)])
def test_a_sequence_number_is_new_up_to_half_the_way_round(console, ahead, new):
    console.wait(1)
    last = console.sequence
    if last == 0:
        console.status()
        last = console.sequence
    replies = len(console.replies)
    console.box.receive(encode_frame((last + ahead) & 0xFFFF, wire.GetStatus()))
    console.listen()
    assert len(console.replies) - replies == (1 if new else 0)


def test_only_the_heartbeat_of_the_session_counts(guarded):
    console = HostConsole(guarded)
    console.beat(0)
    assert not guarded.core.guard_alive()
    console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, 0x01020304, 0))
    for session in (0, 1, 0x01020305, 0x02020304):
        console.beat(session)
        assert not guarded.core.guard_alive()
    console.beat(0x01020304)
    assert guarded.core.guard_alive()


# -- frames ------------------------------------------------------------------------------------------------------


def cobs(data):
    """Stuff by the rule of Cheshire and Baker (IEEE/ACM Trans. Netw. 7(2), 1999), without the delimiter."""
    out, group = bytearray(), bytearray()
    for byte in data:
        if byte:
            group.append(byte)
        if not byte or len(group) == 254:
            out += bytes([len(group) + 1]) + group
            group.clear()
    return bytes(out + bytes([len(group) + 1]) + group)


def frame(kind, sequence, body=b""):
    head = struct.pack("<BH", kind, sequence) + body
    return cobs(head + struct.pack("<I", zlib.crc32(head))) + b"\0"


def bad_frames(console):
    return console.status().bad_frames


def test_bad_frames_are_counted_and_good_ones_are_not(console):
    assert bad_frames(console) == 0
    console.box.receive(b"\0\0\0")
    assert bad_frames(console) == 0
    console.box.receive(b"\x05abc\0")  # ends within a group
    assert bad_frames(console) == 1
    sound = frame(wire.GetStatus.KIND, 1000)
    console.box.receive(sound[:2] + bytes([sound[2] ^ 1]) + sound[3:])
    assert bad_frames(console) == 2
    console.box.receive(cobs(b"\x01\x02\x03" + b"abc") + b"\0")  # shorter than head and CRC
    assert bad_frames(console) == 3
    console.box.receive(frame(wire.GetStatus.KIND, console.sequence + 1))
    console.sequence += 1
    assert bad_frames(console) == 3


@pytest.mark.parametrize(("size", "bad"), [(219, 0), (220, 0), (221, 1), (300, 1)])
def test_a_body_may_have_220_bytes(console, size, bad):
    for fill in (b"\x55", b"\0"):
        before = bad_frames(console)
        replies = len(console.replies)
        console.sequence += 1
        console.box.receive(frame(wire.GetStatus.KIND, console.sequence, fill * size))
        console.listen()
        assert bad_frames(console) == before + bad
        refused = [reply for _, reply in console.replies[replies:] if isinstance(reply, wire.Refused)]
        assert [reply.reason for reply in refused] == [] if bad else [Refusal.UNKNOWN_MESSAGE]


def test_a_lost_byte_spoils_its_frame_alone(console):
    sound = frame(wire.GetStatus.KIND, console.sequence + 1)
    console.box.receive(sound[:4])
    console.box.core.core_rx_lost()
    replies = len(console.replies)
    console.box.receive(sound[4:])
    console.listen()
    assert len(console.replies) == replies
    assert bad_frames(console) == 1
    console.box.receive(frame(wire.GetStatus.KIND, console.sequence + 1))
    console.listen()
    assert console.replies[-1][0] == console.sequence + 1


def test_a_heartbeat_of_another_size_is_a_bad_frame(console):
    body = struct.pack("<I", SESSION)
    for wrong in (body[:3], body + b"\0", b""):
        before = bad_frames(console)
        console.box.receive(frame(wire.Heartbeat.KIND, 0, wrong))
        assert bad_frames(console) == before + 1


@pytest.mark.parametrize("count", [3, 4, 6])
def test_three_frames_wait_and_more_are_lost_and_counted(console, count):
    """Without a turn of the main loop in between: bytes go to the interrupt's entry alone."""
    first = console.sequence + 1
    replies = len(console.replies)
    for number in range(count):
        for byte in frame(wire.GetStatus.KIND, first + number):
            console.box.core.core_rx_byte(byte)
    console.wait_ns(5 * MS)
    console.listen()
    assert [sequence for sequence, _ in console.replies[replies:]] == list(
        range(first, first + min(count, 3))
    )
    console.sequence = first + count
    assert console.status().overruns == count - min(count, 3)
    assert bad_frames(console) == 0


# -- the number of a stop ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [10, 0xFFF0, 0xFFFE])
@pytest.mark.parametrize(
    ("ahead", "stale"), [(0, False), (1, False), (2, True), (255, True), (256, False), (40_000, False)]
)
def test_what_is_numbered_before_the_last_stop_is_stale(console, start, ahead, stale):
    """The stop has the number of the next request: a clear that was lost before it and comes after it is dropped."""
    console.sequence = (start - 1) & 0xFFFF
    console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, 2, 0))
    console.box.receive(encode_frame((start + ahead) & 0xFFFF, wire.Stop()))
    for older in range(start + 1, start + min(ahead, 4)):
        console.box.receive(encode_frame(older & 0xFFFF, wire.ClearStop()))
    assert bool(console.box.core.guard_stopped() & 0xFF) is (stale or ahead < 2)
    console.box.receive(encode_frame((start + ahead) & 0xFFFF, wire.ClearStop()))
    assert bool(console.box.core.guard_stopped() & 0xFF) is (ahead == 0)


def test_a_stop_before_any_session_leaves_the_numbers_alone(guarded):
    console = HostConsole(guarded)
    console.box.receive(encode_frame(200, wire.Stop()))
    console.greet()
    assert console.status().state is wire.BoxState.STOPPED
