"""Frames on the wire: COBS( kind u8 | sequence u16 | body | CRC-32 ) 0x00. Pure: bytes in, frames out."""

import struct
import zlib
from dataclasses import dataclass
from enum import StrEnum

from cobs import cobs

from loomproof_wire.messages import FRAME, MESSAGES, Message, UnknownMessage

_HEAD = struct.Struct("<BH")
_CRC = struct.Struct("<I")
MIN_RAW_BYTES = _HEAD.size + _CRC.size
MAX_RAW_BYTES = MIN_RAW_BYTES + FRAME.max_body_bytes
MAX_ENCODED_BYTES = MAX_RAW_BYTES + 1 + MAX_RAW_BYTES // 254
"""Longest frame between two delimiters, with the one group byte that a run of exactly 254 may add."""
DELIMITER = bytes([FRAME.delimiter])


class BadReason(StrEnum):
    """Why bytes between two delimiters were no frame."""

    OVERSIZE = "oversize"
    SHORT = "short"
    COBS = "cobs"
    CRC = "crc"


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame whose CRC holds. `kind` need not be a declared one; `sequence` is 0..65535."""

    kind: int
    sequence: int
    body: bytes


@dataclass(frozen=True, slots=True)
class BadFrame:
    """Bytes between two delimiters that are no frame: to be counted and dropped."""

    reason: BadReason


def encode_frame(sequence: int, message: Message) -> bytes:
    """Return the bytes of `message`, closing delimiter included.

    Args:
        sequence: 0..65535.
        message: what to send.

    Raises:
        RangeError: a field is outside its declared range.
    """
    return encode_raw_frame(message.KIND, sequence, message.encode_body())


def encode_raw_frame(kind: int, sequence: int, body: bytes) -> bytes:
    """Return a well-formed frame around any body, declared or not; for relays and for tests of a receiver.

    Raises:
        ValueError: the body is longer than the frame allows, or kind or sequence do not fit.
    """
    if len(body) > FRAME.max_body_bytes:
        raise ValueError(f"a body holds at most {FRAME.max_body_bytes} bytes, not {len(body)}")
    if not (0 <= kind <= 0xFF and 0 <= sequence <= 0xFFFF):
        raise ValueError(f"kind {kind} or sequence {sequence} does not fit its field")
    raw = _HEAD.pack(kind, sequence) + body
    return bytes(cobs.encode(raw + _CRC.pack(zlib.crc32(raw)))) + DELIMITER


def decode(frame: Frame) -> Message:
    """Return the message in a frame.

    Raises:
        UnknownMessage: no such kind is declared.
        WireError: the body has the wrong size.
        RangeError: a field is outside its declared range.
    """
    message_type = MESSAGES.get(frame.kind)
    if message_type is None:
        raise UnknownMessage(frame.kind)
    return message_type.decode_body(frame.body)


class FrameReader:
    """Takes bytes as they come, in pieces of any size, and gives the frames in them.

    It holds at most one frame's worth of bytes and never raises. Whatever arrives before the first delimiter
    counts as a frame, so that a box that is greeted with one byte too few says so; empty runs between
    delimiters are idle fill and give nothing.
    """

    def __init__(self) -> None:
        self._held = bytearray()
        self._oversize = False

    def feed(self, data: bytes) -> list[Frame | BadFrame]:
        """Return what `data` completed, in order."""
        pieces = data.split(DELIMITER)
        found: list[Frame | BadFrame] = []
        for piece in pieces[:-1]:
            self._hold(piece)
            if self._held or self._oversize:
                found.append(self._close())
        self._hold(pieces[-1])
        return found

    def reset(self) -> None:
        """Forget a half-received frame, as after reopening a port."""
        self._held.clear()
        self._oversize = False

    def _hold(self, piece: bytes) -> None:
        if self._oversize or len(self._held) + len(piece) > MAX_ENCODED_BYTES:
            self._oversize = True
            self._held.clear()
        else:
            self._held += piece

    def _close(self) -> Frame | BadFrame:
        encoded, oversize = bytes(self._held), self._oversize
        self.reset()
        return BadFrame(BadReason.OVERSIZE) if oversize else parse_encoded(encoded)


def parse_encoded(encoded: bytes) -> Frame | BadFrame:
    """Return the frame in the bytes between two delimiters (which they must not hold)."""
    try:
        raw = cobs.decode(encoded)
    except cobs.DecodeError:
        return BadFrame(BadReason.COBS)
    if len(raw) < MIN_RAW_BYTES:
        return BadFrame(BadReason.SHORT)
    if len(raw) > MAX_RAW_BYTES:
        return BadFrame(BadReason.OVERSIZE)
    head, (crc,) = raw[: -_CRC.size], _CRC.unpack(raw[-_CRC.size :])
    if zlib.crc32(head) != crc:
        return BadFrame(BadReason.CRC)
    kind, sequence = _HEAD.unpack_from(head)
    return Frame(kind, sequence, head[_HEAD.size :])
