"""The C side of the generator: members of structs and the tables that the firmware's codec interprets."""

import textwrap
from dataclasses import dataclass

from loomproof_wire.declaration import INTEGERS, Declaration, FieldDecl, MessageDecl

_WORD = 2**32
_ALL = (0, _WORD - 1)
_COLUMNS = 120
"""Of the C sources, as .clang-format has it."""


@dataclass(frozen=True)
class CRow:
    """One field of the table.

    Attributes:
        message: the message whose struct holds the field.
        member: its member in the struct; for an open-ended field the member with its size.
        type: its type, without WIRE_TYPE_.
        length: number of elements, or of bytes of a text.
        range: its index in the table of ranges.
    """

    message: str
    member: str
    type: str
    length: int
    range: int


@dataclass(frozen=True)
class CLayout:
    """One message, whose fields are `count` rows from `first` on."""

    message: MessageDecl
    first: int
    count: int


@dataclass(frozen=True)
class CTables:
    """Everything that wire_tables_gen.c holds; ranges are (low, span) as `struct wire_range` has them."""

    rows: tuple[CRow, ...]
    ranges: tuple[tuple[int, int], ...]
    layouts: tuple[CLayout, ...]


def c_type(integer: str) -> str:
    """Return the C type of a declared integer type: `u16` -> `uint16_t`."""
    return ("u" if integer[0] == "u" else "") + f"int{integer[1:]}_t"


def c_member(field: FieldDecl) -> str:
    """Return the declaration of a field as a member of its struct, without the semicolon."""
    if field.text_bytes:
        return f"char {field.name}[{field.text_bytes}]"
    if field.tail_bytes:
        return f"uint16_t {field.name}_size;\n    uint8_t {field.name}[{field.tail_bytes}]"
    return c_type(str(field.integer)) + f" {field.name}" + (f"[{field.length}]" if field.length else "")


def c_comment(text: str) -> str:
    """Return a comment of its own, wrapped as clang-format wraps it."""
    return "\n".join(textwrap.wrap(f"{text} */", _COLUMNS, initial_indent="/* ", subsequent_indent=" * "))


def c_head(head: str) -> str:
    """Return the head of a function, broken before its last parameter where it is too long for a line."""
    if len(head) <= _COLUMNS:
        return head
    start, last = head.rsplit(", ", 1)
    return f"{start},\n{' ' * (head.index('(') + 1)}{last}"


def c_tables(declaration: Declaration) -> CTables:
    """Return the tables. Messages with the same fields share their rows."""
    rows: list[CRow] = []
    ranges = [_ALL]
    layouts: list[CLayout] = []
    known: dict[tuple[FieldDecl, ...], int] = {}
    for message in declaration.messages.values():
        if not message.fields:
            continue
        if message.fields not in known:
            known[message.fields] = len(rows)
            rows += [_row(message, field, ranges, declaration) for field in message.fields]
        layouts.append(CLayout(message, known[message.fields], len(message.fields)))
    if len(rows) > 256 or len(ranges) > 256:
        raise ValueError("the codec's tables are indexed with one byte")
    return CTables(tuple(rows), tuple(ranges), tuple(layouts))


def _row(
    message: MessageDecl, field: FieldDecl, ranges: list[tuple[int, int]], declaration: Declaration
) -> CRow:
    if field.tail_bytes:
        return CRow(message.name, f"{field.name}_size", "TAIL", 1, 0)
    if field.text_bytes:
        return CRow(message.name, field.name, "TEXT", field.text_bytes, 0)
    span = _range(field, declaration)
    if span not in ranges:
        ranges.append(span)
    return CRow(message.name, field.name, str(field.integer).upper(), field.length or 1, ranges.index(span))


def _range(field: FieldDecl, declaration: Declaration) -> tuple[int, int]:
    """Return (low, span) of the values allowed, modulo 2^32; the whole word when the type sets the limits."""
    _, lowest, highest = INTEGERS[str(field.integer)]
    low, high = field.low, field.high
    if field.enum:
        members = sorted(m.value for m in declaration.enums[field.enum].members.values())
        if members != list(range(members[0], members[-1] + 1)):
            raise ValueError(f"enum {field.enum!r} has gaps; its check in C needs a list")
        low, high = max(low, members[0]), min(high, members[-1])
    if (low, high) == (lowest, highest):
        return _ALL
    return low % _WORD, high - low
