"""Framing: nothing that arrives raises, and nothing that was not sent is taken for a frame.

Why one and two wrong bits are caught. In the decoded bytes CRC-32/ISO-HDLC has Hamming distance 5 up to
2974 data bits and 4 up to 91607 (P. Koopman's tables, from memory; that it is above 2 for our lengths
is recomputed in tests/reference); the longest frame here has 1784 data bits. So up to four wrong bits in
data bytes cannot pass. A wrong bit in one of COBS's own length bytes, or one that makes or unmakes a zero
byte, changes more than one decoded bit or the length itself, so that argument does not reach it: those are
tried one by one, all of them for frames of common size and a sample of them for the longest.
"""

import itertools
import random
import zlib

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof_wire.frames import (
    MAX_ENCODED_BYTES,
    MAX_RAW_BYTES,
    BadFrame,
    BadReason,
    Frame,
    FrameReader,
    decode,
    encode_frame,
    encode_raw_frame,
    parse_encoded,
)
from loomproof_wire.messages import FRAME, DriveTrain, GetChannel, Heartbeat, Stop, UnknownMessage

TRAIN = DriveTrain(3, 20, 100_000, 3000, 1, 1, 400)


def split_at(stream: bytes, cuts: list[int]) -> list[bytes]:
    edges = [0, *sorted(cut % (len(stream) + 1) for cut in cuts), len(stream)]
    return [stream[a:b] for a, b in itertools.pairwise(edges)]


def frames_of(stream: bytes) -> list[Frame]:
    return [found for found in FrameReader().feed(stream) if isinstance(found, Frame)]


@given(data=st.data(), cuts=st.lists(st.integers(0, 4000), max_size=12))
def test_frames_come_out_however_the_stream_is_cut(any_message, data, cuts):
    sent = data.draw(st.lists(any_message, max_size=6))
    stream = b"".join(encode_frame(number, message) for number, message in enumerate(sent))
    reader = FrameReader()
    found = [frame for piece in split_at(stream, cuts) for frame in reader.feed(piece)]
    assert [(frame.sequence, decode(frame)) for frame in found] == list(enumerate(sent))


@given(pieces=st.lists(st.binary(max_size=600), max_size=20))
@settings(max_examples=400)
def test_no_bytes_raise_and_little_is_held(pieces):
    reader = FrameReader()
    for piece in pieces:
        for found in reader.feed(piece):
            assert isinstance(found, Frame | BadFrame)
        assert len(reader._held) <= MAX_ENCODED_BYTES


@given(
    data=st.data(),
    noise=st.lists(st.binary(max_size=60), min_size=4, max_size=4),
    cuts=st.lists(st.integers(0, 4000), max_size=6),
)
@settings(max_examples=300)
def test_noise_between_frames_yields_no_frame_that_was_not_sent(any_message, data, noise, cuts):
    sent = [(number, data.draw(any_message)) for number in range(3)]
    stream = noise[0]
    for (number, message), after in zip(sent, noise[1:], strict=True):
        stream += b"\0" + encode_frame(number, message) + after
    reader = FrameReader()
    found = [f for piece in split_at(stream, cuts) for f in reader.feed(piece) if isinstance(f, Frame)]
    # A leading delimiter closes the noise, so all three must come, in order, and nothing else.
    assert [(frame.sequence, decode(frame)) for frame in found] == sent


@given(data=st.data())
@settings(max_examples=300)
def test_a_stream_with_bytes_lost_changed_or_doubled_yields_only_what_was_sent(any_message, data):
    messages = [data.draw(any_message) for _ in range(4)]
    frames = [encode_frame(number, message) for number, message in enumerate(messages)]
    stream = bytearray(b"".join(frames))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(stream) - 1))
        match data.draw(st.sampled_from(["drop", "change", "double", "cut"])):
            case "drop":
                del stream[at]
            case "change":
                stream[at] ^= data.draw(st.integers(1, 255))
            case "double":
                stream.insert(at, stream[at])
            case "cut":
                del stream[at : at + data.draw(st.integers(1, 40))]
        if not stream:
            return
    sent = {(frame.kind, frame.sequence, frame.body) for frame in frames_of(b"".join(frames))}
    for frame in frames_of(bytes(stream)):
        assert (frame.kind, frame.sequence, frame.body) in sent


def flipped(stream: bytes, bits: tuple[int, ...]) -> bytes:
    changed = bytearray(stream)
    for bit in bits:
        changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


FOLLOWING = encode_frame(7, GetChannel(9))


def assert_caught(frame: bytes, bits: tuple[int, ...]) -> None:
    """The damaged frame, its delimiter included, followed by a sound one: at most the sound one comes out."""
    (expected,) = frames_of(FOLLOWING)
    found = frames_of(flipped(frame, bits) + FOLLOWING)
    assert found in ([], [expected]), bits


@pytest.mark.parametrize("message", [TRAIN, Stop(), Heartbeat(0x01020304)], ids=lambda m: m.NAME)
def test_every_one_and_two_bit_error_is_caught(message):
    frame = encode_frame(0x1234, message)
    bits = range(len(frame) * 8)
    for one in bits:
        assert_caught(frame, (one,))
    for two in itertools.combinations(bits, 2):
        assert_caught(frame, two)


def test_one_and_two_bit_errors_in_golden_frames_are_caught(vectors):
    chooser = random.Random(1)
    for vector in vectors:
        frame = bytes.fromhex(vector["frame"])
        bits = range(len(frame) * 8)
        for one in bits:
            assert_caught(frame, (one,))
        for _ in range(300):
            assert_caught(frame, tuple(chooser.sample(bits, 2)))


def test_sampled_two_bit_errors_in_the_longest_frame_are_caught():
    chooser = random.Random(2)
    for body in (
        bytes(FRAME.max_body_bytes),
        bytes(chooser.randbytes(FRAME.max_body_bytes)),
        b"\xff" * FRAME.max_body_bytes,
    ):
        frame = encode_raw_frame(0x48, 0xFFFF, body)
        bits = range(len(frame) * 8)
        for one in bits:
            assert_caught(frame, (one,))
        for _ in range(15_000):
            assert_caught(frame, tuple(chooser.sample(bits, 2)))


@pytest.mark.parametrize(
    ("stream", "reason"),
    [
        (b"\x05\x01\x02\x00", BadReason.COBS),
        (b"\x03\x01\x02\x00", BadReason.SHORT),
        (b"\x01\x00", BadReason.SHORT),
        (b"\x08\x01\x02\x03\x04\x05\x06\x07\x00", BadReason.CRC),
        (b"\x01" * (MAX_ENCODED_BYTES + 1) + b"\x00", BadReason.OVERSIZE),
        (b"\x01" * (MAX_RAW_BYTES + 2) + b"\x00", BadReason.OVERSIZE),
    ],
)
def test_each_kind_of_bad_frame_is_named_and_the_next_is_read(stream, reason):
    for pieces in ([stream], [bytes([byte]) for byte in stream]):
        reader = FrameReader()
        found = [item for piece in pieces for item in reader.feed(piece)]
        assert found == [BadFrame(reason)]
        assert reader.feed(FOLLOWING) == frames_of(FOLLOWING)


def test_a_flood_without_a_delimiter_is_not_kept():
    reader = FrameReader()
    for _ in range(50):
        assert reader.feed(b"\x05" * 100) == []
        assert len(reader._held) <= MAX_ENCODED_BYTES
    assert reader.feed(b"\0" + FOLLOWING) == [BadFrame(BadReason.OVERSIZE), *frames_of(FOLLOWING)]


def test_a_body_over_the_limit_is_no_frame_even_with_a_sound_crc():
    raw = bytes([1, 0, 0]) + b"\1" * (FRAME.max_body_bytes + 1)
    encoded = cobs.encode(raw + zlib.crc32(raw).to_bytes(4, "little"))
    assert parse_encoded(encoded) == BadFrame(BadReason.OVERSIZE)
    assert FrameReader().feed(encoded + b"\0") == [BadFrame(BadReason.OVERSIZE)]


def test_idle_zeros_are_nothing():
    assert FrameReader().feed(b"\0\0\0" + FOLLOWING + b"\0\0") == frames_of(FOLLOWING)


def test_the_longest_frame_is_taken_and_one_byte_more_refused_at_the_sender():
    for body in (b"\0" * FRAME.max_body_bytes, b"\1" * FRAME.max_body_bytes):
        (frame,) = FrameReader().feed(encode_raw_frame(1, 2, body))
        assert frame == Frame(1, 2, body)
    with pytest.raises(ValueError, match="at most 220"):
        encode_raw_frame(1, 2, b"\0" * (FRAME.max_body_bytes + 1))
    for kind, sequence in ((256, 0), (-1, 0), (1, 65536), (1, -1)):
        with pytest.raises(ValueError, match="fit"):
            encode_raw_frame(kind, sequence, b"")


def test_reset_forgets_half_a_frame():
    reader = FrameReader()
    reader.feed(FOLLOWING[:5])
    reader.reset()
    assert reader.feed(FOLLOWING) == frames_of(FOLLOWING)


def test_an_undeclared_kind_is_a_frame_but_no_message():
    (frame,) = FrameReader().feed(encode_raw_frame(0x3F, 1, b"abc"))
    assert frame == Frame(0x3F, 1, b"abc")
    with pytest.raises(UnknownMessage) as unknown:
        decode(frame)
    assert unknown.value.kind == 0x3F
