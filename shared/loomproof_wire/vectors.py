"""Golden bytes: every message with its lowest, highest and typical values.

Built from the declaration with `struct`, `cobs` and `zlib` alone, so that they check messages.py and
frames.py (and any other implementation) instead of repeating them.
"""

import struct
import zlib
from collections.abc import Mapping

from cobs import cobs

from loomproof_wire.declaration import Declaration, FieldDecl, MessageDecl

Value = int | str | list[int]
"""A field in JSON: a number (also for enums), a text, numbers, or the hex digits of a bytes field."""

CASES = ("lowest", "highest", "typical")


def build_vectors(declaration: Declaration) -> dict[str, object]:
    """Return the vectors as JSON-able data: kind, sequence, values, body and frame (in hex) of each case."""
    return {
        "comment": "Generated from wire.toml. Bytes are hex; frame includes the closing 00.",
        "protocol_major": declaration.protocol.major,
        "protocol_minor": declaration.protocol.minor,
        "spec_hash": declaration.spec_hash,
        "vectors": [
            _vector(declaration, message, case, number)
            for number, message in enumerate(declaration.messages.values())
            for case in (CASES if message.fields else CASES[:1])
        ],
    }


def _vector(declaration: Declaration, message: MessageDecl, case: str, number: int) -> dict[str, object]:
    values = {field.name: _value(declaration, field, case) for field in message.fields}
    body = encode_values(message, values)
    sequence = {"lowest": 0, "highest": 0xFFFF, "typical": 1000 + number}[case]
    frame = frame_bytes(message.kind, sequence, body)
    return {
        "message": message.name,
        "case": case,
        "kind": message.kind,
        "sequence": sequence,
        "values": values,
        "body": body.hex(),
        "frame": frame.hex(),
    }


def frame_bytes(kind: int, sequence: int, body: bytes) -> bytes:
    """Return a frame with its closing 00, made without frames.py."""
    head = struct.pack("<BH", kind, sequence) + body
    return bytes(cobs.encode(head + struct.pack("<I", zlib.crc32(head)))) + b"\0"


def encode_values(message: MessageDecl, values: Mapping[str, Value]) -> bytes:
    """Return the body for JSON-able values, without checking ranges."""
    flat: list[int | bytes] = []
    tail = b""
    for field in message.fields:
        value = values[field.name]
        if field.tail_bytes:
            tail = bytes.fromhex(str(value))
        elif isinstance(value, list):
            flat += value
        else:
            flat.append(value.encode() if isinstance(value, str) else value)
    return struct.pack(message.struct_format, *flat) + tail


def _value(declaration: Declaration, field: FieldDecl, case: str) -> Value:
    if field.text_bytes:
        return {"lowest": "", "highest": "Z" * field.text_bytes, "typical": "2026-01-31"[: field.text_bytes]}[
            case
        ]
    if field.tail_bytes:
        return {"lowest": b"", "highest": b"\xff" * field.tail_bytes, "typical": bytes(range(16))}[case].hex()
    if field.length:
        return [_number(declaration, field, case, index) for index in range(field.length)]
    return _number(declaration, field, case, 0)


def _number(declaration: Declaration, field: FieldDecl, case: str, index: int) -> int:
    allowed: list[int] | range = range(field.low, field.high + 1)
    if field.enum:
        members = declaration.enums[field.enum].members.values()
        allowed = sorted(member.value for member in members if member.value in allowed)
    if case == "lowest":
        return allowed[0]
    if case == "highest":
        return allowed[-1]
    # Any fixed choice will do, as long as neighbouring fields differ and every byte is put to use.
    return allowed[zlib.crc32(f"{field.name}/{index}".encode()) % len(allowed)]
