"""Checks that wire.toml does not contradict itself; each yields sentences that name the place."""

from collections import Counter
from collections.abc import Iterator
from struct import calcsize

from loomproof_wire.declaration import INTEGERS, Declaration, EnumDecl, FieldDecl, MessageDecl, is_usable_name

SAMPLE_SET_BYTES = 8
_KIND_RANGES = {
    "request": range(0x01, 0x40),
    "notice": range(0x01, 0x40),
    "reply": range(0x40, 0x80),
    "event": range(0x80, 0x100),
}


def find_problems(declaration: Declaration) -> list[str]:
    """Return every contradiction in the declaration; empty when it is sound."""
    problems: list[str] = []
    for enum in declaration.enums.values():
        problems += _enum_problems(enum)
    for message in declaration.messages.values():
        problems += _message_problems(declaration, message)
    kinds = Counter(message.kind for message in declaration.messages.values())
    problems += [f"kind 0x{kind:02X} is used {times} times" for kind, times in kinds.items() if times > 1]
    problems += _timing_problems(declaration)
    return problems


def _enum_problems(enum: EnumDecl) -> Iterator[str]:
    values = Counter(member.value for member in enum.members.values())
    for value, times in values.items():
        if times > 1:
            yield f"enum {enum.name}: value {value} is used {times} times"
    for name in (enum.name, *enum.members):
        # Members become upper case, so a Python keyword such as `none` is fine there.
        if not is_usable_name(name):
            yield f"enum {enum.name}: {name!r} is not a usable name"
    if enum.has_remedies and any(member.remedy is None for member in enum.members.values()):
        yield f"enum {enum.name}: some members have a remedy and some have none"


def _message_problems(declaration: Declaration, message: MessageDecl) -> Iterator[str]:
    where = f"message {message.name}"
    if not is_usable_name(message.name):
        yield f"{where}: not a usable name"
    if message.kind not in _KIND_RANGES[message.direction]:
        yield f"{where}: kind 0x{message.kind:02X} is not in the range of a {message.direction}"
    yield from _reply_problems(declaration, message)
    names = Counter(field.name for field in message.fields)
    yield from (
        f"{where}: field {name!r} is there {times} times" for name, times in names.items() if times > 1
    )
    size = calcsize(message.struct_format) + ((message.tail and message.tail.tail_bytes) or 0)
    if size > declaration.frame.max_body_bytes:
        yield f"{where}: body of {size} bytes is over max_body_bytes {declaration.frame.max_body_bytes}"
    for index, field in enumerate(message.fields):
        if field.tail_bytes and index != len(message.fields) - 1:
            yield f"{where}: open-ended field {field.name!r} must be the last"
        yield from _field_problems(declaration, where, field)


def _reply_problems(declaration: Declaration, message: MessageDecl) -> Iterator[str]:
    if message.direction != "request":
        if message.reply is not None:
            yield f"message {message.name}: a {message.direction} has no reply"
        return
    reply = declaration.messages.get(message.reply or "")
    if reply is None or reply.direction != "reply":
        yield f"message {message.name}: reply {message.reply!r} is not a declared reply"


def _field_problems(declaration: Declaration, where: str, field: FieldDecl) -> Iterator[str]:
    if not is_usable_name(field.name):
        yield f"{where}: {field.name!r} is not a usable field name"
    if field.integer is None:
        return
    _, type_low, type_high = INTEGERS[field.integer]
    if not type_low <= field.low <= field.high <= type_high:
        yield f"{where}: {field.name} range {field.low}..{field.high} does not fit {field.integer}"
    ceiling = declaration.ceilings.get(field.name)
    if ceiling is not None and field.max is not None and field.max != ceiling:
        yield f"{where}: {field.name} may be {field.max} but its ceiling is {ceiling}"
    if field.enum is None:
        return
    enum = declaration.enums.get(field.enum)
    if enum is None:
        yield f"{where}: {field.name} names an unknown enum {field.enum!r}"
    elif not any(field.low <= member.value <= field.high for member in enum.members.values()):
        yield f"{where}: {field.name} allows no member of {field.enum}"


def _timing_problems(declaration: Declaration) -> Iterator[str]:
    timing, ceilings = declaration.timing, declaration.ceilings
    if timing["heartbeat_timeout_ms"] < 3 * timing["heartbeat_period_ms"]:
        yield "timing: heartbeat_timeout_ms leaves no room for two late heartbeats"
    chunk = declaration.messages["trace_chunk"].tail
    chunk_bytes = (chunk.tail_bytes or 0) if chunk else 0
    if ceilings["samples_per_chunk"] * SAMPLE_SET_BYTES != chunk_bytes:
        yield "ceilings: samples_per_chunk does not fill trace_chunk"
