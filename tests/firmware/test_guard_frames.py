"""Frames at the core that only look sound, the queue behind them, and what a decoder refuses.

The rules and every number: docs/protocol.md.
"""

import struct
import zlib
from dataclasses import fields, replace

import pytest
from core_types import CEILINGS, configured
from hostconsole import BRIDGE, EVERY, HOLD, MS, PEAK, SENSE, STEPPER, TRAIN, WATCH, HostConsole, name

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import LoadClass, Refusal


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


def with_crc(data):
    return data + struct.pack("<I", zlib.crc32(data))


def frame(kind, sequence, body=b""):
    return cobs(with_crc(struct.pack("<BH", kind, sequence) + body)) + b"\0"


def bad_frames(console):
    return console.status().bad_frames


def counted(console, data):
    """How many bad frames these bytes are, and how many replies came."""
    before, replies = bad_frames(console), len(console.replies)
    console.box.receive(data)
    console.listen()
    said = len(console.replies) - replies
    return bad_frames(console) - before, said


# -- frames that only look sound --------------------------------------------------------------------------


def test_delimiters_alone_are_no_frame_and_one_byte_is_a_bad_one(console):
    assert counted(console, b"\0\0\0") == (0, 0)
    for code in (1, 2, 0xFE, 0xFF):
        assert counted(console, bytes([code, 0])) == (1, 0)


@pytest.mark.parametrize("size", range(7))
def test_a_sound_sum_over_too_few_bytes_makes_no_frame(console, size):
    """Kind and number are three bytes; the sum is right over fewer, too."""
    data = struct.pack("<BH", wire.GetStatus.KIND, console.sequence + 1)[: max(0, size - 4)]
    short = with_crc(data)[:size] if size < 4 else with_crc(data)
    assert counted(console, cobs(short) + b"\0") == (1, 0)


def test_a_frame_whose_last_group_lacks_a_byte_is_bad_although_its_sum_is_right(console):
    sound = frame(wire.GetStatus.KIND, console.sequence + 1)
    at = last = 0
    while sound[at] != 0:
        last, at = at, at + sound[at]
    promised = sound[:last] + bytes([sound[last] + 1]) + sound[last + 1 :]
    assert counted(console, promised) == (1, 0)


def longest(console):
    return frame(wire.GetStatus.KIND, console.sequence + 1, b"\x55" * 220)


def test_what_follows_the_longest_frame_spoils_it(console):
    """The first 228 bytes are a sound frame; without the delimiter it is not over."""
    whole = longest(console)
    assert len(whole) == 229
    for more in (b"\1", b"\1\1", b"\1" * 40):
        assert counted(console, whole[:-1] + more + b"\0") == (1, 0)
    console.sequence += 1
    console.box.receive(frame(wire.GetStatus.KIND, console.sequence, b"\x55" * 220))
    console.listen()
    assert console.replies[-1] == (
        console.sequence,
        wire.Refused(wire.GetStatus.KIND, Refusal.UNKNOWN_MESSAGE, 0),
    )


def test_a_frame_whose_length_wraps_around_is_too_long(console):
    """65 536 bytes more than a sound one: a count of 16 bits would take it for that."""
    body = bytes(1 + n % 250 for n in range(65_536))
    assert counted(console, frame(wire.GetStatus.KIND, console.sequence + 1, body)) == (1, 0)


def test_a_frame_after_a_bad_one_is_sound(console):
    console.sequence += 1
    bad = b"\x05abc\0" + longest(console)[:-1] + b"\1\0"
    console.box.receive(bad + encode_frame(console.sequence, wire.GetDigest()))
    console.listen()
    assert console.replies[-1][0] == console.sequence
    assert bad_frames(console) == 2


def test_an_empty_hello_is_not_that_of_before(guarded):
    """What waited in the queue before does not become its body."""
    console = HostConsole(guarded)
    for number in range(8):
        console.box.receive(frame(wire.Hello.KIND, number, b"\2" + bytes(9)))
        console.listen()
    console.replies.clear()
    for number in range(8):
        console.box.receive(frame(wire.Hello.KIND, 20 + number))
        console.listen()
    refused = wire.Refused(wire.Hello.KIND, Refusal.UNKNOWN_MESSAGE, 0)
    assert [reply for _, reply in console.replies] == [refused] * 8


def test_a_frame_waits_until_it_is_taken(console):
    core = console.box.core
    console.wait_ns(MS)
    assert not core.receive_waiting()
    for byte in frame(wire.GetStatus.KIND, console.sequence + 1):
        core.core_rx_byte(byte)
    assert core.receive_waiting()
    console.wait_ns(MS)
    assert not core.receive_waiting()


# -- what a decoder refuses comes first ----------------------------------------------------------------------


def refused(console, kind, body):
    console.sequence += 1
    console.box.receive(frame(kind, console.sequence, body))
    console.listen()
    sequence, reply = console.replies[-1]
    assert sequence == console.sequence
    assert reply.request_kind == kind
    return reply.reason, reply.detail


@pytest.mark.parametrize("message", EVERY, ids=name)
def test_a_body_of_another_size_is_refused_before_all_else(console, message):
    """On channels that are not configured, and with a stopped box."""
    body = message.encode_body()
    for stopped in (False, True):
        if stopped:
            console.refusal(wire.Stop())
        for wrong in (body[:-1], body + b"\0", b""):
            assert refused(console, message.KIND, wrong) == (Refusal.UNKNOWN_MESSAGE, 0)


@pytest.mark.parametrize("message", EVERY, ids=name)
@pytest.mark.parametrize("channel", [0, 17, 255])
def test_a_channel_that_no_box_has_is_refused_before_all_else(console, message, channel):
    body = bytes([channel]) + message.encode_body()[1:]
    assert refused(console, message.KIND, body) == (Refusal.OUT_OF_RANGE, 0)


@pytest.mark.parametrize(
    ("message", "field", "beyond"),
    [
        (TRAIN, "count", b"\0\0"),
        (HOLD, "duration_ms", b"\0\0"),
        (PEAK, "count", b"\0\0"),
        (SENSE, "on_time_us", b"\xc9\0"),
        (WATCH, "held", b"\2"),
        (BRIDGE, "channel_ground", b"\x11"),
    ],
    ids=lambda value: getattr(value, "NAME", str(value)),
)
def test_a_field_out_of_its_range_is_refused_before_all_else(console, message, field, beyond):
    """The second field of each, one past its range."""
    body = message.encode_body()
    wrong = body[:1] + beyond + body[1 + len(beyond) :]
    assert fields(message)[1].name == field
    assert refused(console, message.KIND, wrong) == (Refusal.OUT_OF_RANGE, 1)


def test_windings_that_are_the_same_come_after_their_range_and_before_all_else(console):
    same = replace(STEPPER, channels=(1, 2, 3, 3))
    assert console.refusal(same) == (Refusal.OUT_OF_RANGE, 0)
    console.refusal(wire.Stop())
    assert console.refusal(same) == (Refusal.OUT_OF_RANGE, 0)
    assert console.refusal(replace(STEPPER, steps=0, channels=(1, 1, 1, 1))) == (Refusal.OUT_OF_RANGE, 1)


# -- the digest ------------------------------------------------------------------------------------------------


def test_every_bit_of_the_digest_counts(guarded):
    """CRC-32 (ISO 3309) of the configurations, of which half have a last bit."""
    guarded.restart()
    core = guarded.core
    seen = set()
    for count in range(1, 9):
        assert configured(core, 1, LoadClass.VALVE, **(CEILINGS | {"max_count": count})) == (0, 0)
        bodies = b"".join(
            wire.ChannelConfig.LAYOUT.pack(
                *(getattr(core.limits_config(n).contents, field.name) for field in fields(wire.ChannelConfig))
            )
            for n in range(1, 17)
        )
        digest = core.limits_digest()
        assert digest == zlib.crc32(bodies)
        seen.add(digest & 1)
    assert seen == {0, 1}
