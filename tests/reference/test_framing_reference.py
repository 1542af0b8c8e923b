"""Framing against the outside world.

COBS: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2),
1999, and the `cobs` library. CRC: the "CRC-32/ISO-HDLC" entry of G. Cook's "Catalogue of parametrised CRC
algorithms" (check value and residue), and the `crccheck` library.
"""

import zlib

import pytest
from cobs import cobs
from crccheck.crc import Crc32
from hypothesis import given
from hypothesis import strategies as st

from loomproof_wire.frames import MAX_ENCODED_BYTES, MAX_RAW_BYTES, Frame, encode_raw_frame, parse_encoded
from loomproof_wire.messages import FRAME

CHECK_INPUT = b"123456789"
CHECK_VALUE = 0xCBF43926
RESIDUE = 0xDEBB20E3

PUBLISHED = [
    ("00", "0101"),
    ("0000", "010101"),
    ("001100", "01021101"),
    ("11220033", "0311220233"),
    ("11223344", "0511223344"),
    ("11000000", "0211010101"),
    (bytes(range(1, 255)).hex(), "ff" + bytes(range(1, 255)).hex()),
    (bytes(range(256)).hex(), "01ff" + bytes(range(1, 255)).hex() + "02ff"),
    (bytes(range(1, 256)).hex(), "ff" + bytes(range(1, 255)).hex() + "02ff"),
]


@pytest.mark.parametrize(("plain", "stuffed"), PUBLISHED)
def test_published_cobs_examples(plain, stuffed):
    assert cobs.encode(bytes.fromhex(plain)).hex() == stuffed
    assert cobs.decode(bytes.fromhex(stuffed)).hex() == plain


def plain_cobs_decode(stuffed: bytes) -> bytes:
    """The paper's decoding rule: a length byte, its bytes, and a zero unless it was 0xFF or the last."""
    plain, at = bytearray(), 0
    while at < len(stuffed):
        code = stuffed[at]
        plain += stuffed[at + 1 : at + code]
        at += code
        if code != 0xFF and at < len(stuffed):
            plain.append(0)
    return bytes(plain)


@given(kind=st.integers(0, 255), sequence=st.integers(0, 65535), body=st.binary(max_size=220))
def test_a_frame_is_cobs_of_its_bytes_and_their_catalogue_crc(kind, sequence, body):
    encoded = encode_raw_frame(kind, sequence, body)
    assert encoded.count(0) == 1
    assert encoded[-1] == 0
    raw = plain_cobs_decode(encoded[:-1])
    assert raw[:3] == bytes([kind, sequence & 0xFF, sequence >> 8])
    assert raw[3:-4] == body
    assert int.from_bytes(raw[-4:], "little") == Crc32.calc(raw[:-4])
    # Run over data and CRC together, the register holds the catalogue's residue (before the inversion).
    assert zlib.crc32(raw) ^ 0xFFFFFFFF == RESIDUE


def test_crc_check_value():
    assert zlib.crc32(CHECK_INPUT) == CHECK_VALUE
    assert Crc32.calc(CHECK_INPUT) == CHECK_VALUE


def test_a_final_group_byte_after_exactly_254_is_taken_either_way():
    """The paper's encoder may close a full group with an empty one; a receiver must not care."""
    body = bytes(range(1, 255))[:220]
    raw = b"\x01\x01\x01" + body
    raw += zlib.crc32(raw).to_bytes(4, "little")
    assert len(raw) == MAX_RAW_BYTES
    # 227 bytes never fill a group, so the allowance is seen on the decoder that parse_encoded uses.
    assert cobs.decode(b"\xff" + bytes(range(1, 255))) == cobs.decode(
        b"\xff" + bytes(range(1, 255)) + b"\x01"
    )
    assert parse_encoded(cobs.encode(raw)) == Frame(1, 0x0101, body)


@given(st.binary(max_size=MAX_RAW_BYTES))
def test_overhead_is_at_most_one_byte_in_254(data):
    assert len(cobs.encode(data)) <= len(data) + max(1, -(-len(data) // 254)) <= MAX_ENCODED_BYTES


def order_of_x(polynomial: int, below: int) -> int | None:
    """Smallest n with x^n = 1 modulo the polynomial: two wrong bits nearer than n always change the CRC."""
    register = 1
    for steps in range(1, below):
        register <<= 1
        if register >> 32:
            register ^= polynomial
        if register == 1:
            return steps
    return None


def test_the_polynomial_catches_two_wrong_bits_at_any_distance_in_a_frame():
    """x^n + 1 is no multiple of the generator (0x104C11DB7) for any n up to a frame's bits."""
    assert order_of_x(0x1_04C1_1DB7, MAX_ENCODED_BYTES * 8 + 1) is None


@pytest.mark.parametrize(
    ("baud", "prescaled", "error_percent"),
    [
        (115200, 2_000_000 / 17, 2.12),
        (250_000, 2_000_000 / 8, 0.0),
        (500_000, 2_000_000 / 4, 0.0),
        (1_000_000, 2_000_000 / 2, 0.0),
    ],
)
def test_declared_bauds_on_a_16_mhz_avr(baud, prescaled, error_percent):
    """Double-speed mode divides 16 MHz by 8 (UBRR + 1): ATmega2560 datasheet, UBRR examples, from memory."""

    assert baud in (FRAME.default_baud, *FRAME.other_bauds)
    assert (prescaled / baud - 1) * 100 == pytest.approx(error_percent, abs=0.01)
