"""The C side of the generator: members, decoders and encoders of the firmware's wire_gen.h and wire_gen.c."""

from collections.abc import Iterator
from struct import calcsize

from loomproof_wire.declaration import INTEGERS, Declaration, FieldDecl, MessageDecl

_BYTES = {"u8": 1, "i8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4}


def c_type(integer: str) -> str:
    """Return the C type of a declared integer type: `u16` -> `uint16_t`."""
    return ("u" if integer[0] == "u" else "") + f"int{integer[1:]}_t"


def c_member(field: FieldDecl) -> str:
    """Return the declaration of a field as a member of its struct, without the semicolon."""
    if field.text_bytes:
        return f"char {field.name}[{field.text_bytes}]"
    if field.tail_bytes:
        return f"uint16_t {field.name}_size; uint8_t {field.name}[{field.tail_bytes}]"
    return c_type(str(field.integer)) + f" {field.name}" + (f"[{field.length}]" if field.length else "")


def c_size(message: MessageDecl) -> str:
    """Return the expression for the size of an encoded body."""
    fixed = f"{message.fixed_bytes}u"
    return f"(uint16_t)({fixed} + in->{message.tail.name}_size)" if message.tail else fixed


def c_decode(message: MessageDecl, declaration: Declaration) -> Iterator[str]:
    """Yield the statements that decode and check the fields in order."""
    offset = 0
    for index, field in enumerate(message.fields):
        if field.tail_bytes:
            yield f"out->{field.name}_size = (uint16_t)(size - {offset}u);"
            yield f"memcpy(out->{field.name}, body + {offset}u, out->{field.name}_size);"
        elif field.text_bytes:
            yield f"memcpy(out->{field.name}, body + {offset}u, {field.text_bytes}u);"
        else:
            yield from _decode_number(field, index, offset, declaration)
        offset += calcsize("<" + field.struct_code)


def _decode_number(field: FieldDecl, index: int, offset: int, declaration: Declaration) -> Iterator[str]:
    integer = str(field.integer)
    size = _BYTES[integer]
    step = "" if size == 1 else f" * {size}u"
    at = f"body + {offset}u" + (f" + i{step}" if field.length else "")
    get = f"*({at})" if size == 1 else f"wire_get_u{8 * size}({at})"
    target = f"out->{field.name}" + ("[i]" if field.length else "")
    cast = f"({c_type(integer)})" if integer[0] == "i" else ""
    check = _check(field, target, declaration)
    pad = "    " if field.length else ""
    if field.length:
        yield f"for (uint8_t i = 0; i < {field.length}u; i++) {{"
    yield f"{pad}{target} = {cast}{get};"
    if check:
        yield f"{pad}if ({check}) {{"
        yield f"{pad}    return {index}u;"
        yield f"{pad}}}"
    if field.length:
        yield "}"


def _literal(value: int, integer: str) -> str:
    if integer[0] == "i":
        return str(value)
    return f"{value}{'ul' if value > 0xFFFF else 'u'}"


def _check(field: FieldDecl, target: str, declaration: Declaration) -> str:
    """Return the condition under which a value is refused; empty when the type allows nothing else."""
    integer = str(field.integer)
    _, lowest, highest = INTEGERS[integer]
    low, high = field.low, field.high
    if field.enum:
        members = sorted(m.value for m in declaration.enums[field.enum].members.values())
        if members != list(range(members[0], members[-1] + 1)):
            raise ValueError(f"enum {field.enum!r} has gaps; its check in C needs a list")
        low, high = max(low, members[0]), min(high, members[-1])
    parts = [f"{target} < {_literal(low, integer)}"] if low > lowest else []
    parts += [f"{target} > {_literal(high, integer)}"] if high < highest else []
    return " || ".join(parts)


def c_encode(message: MessageDecl) -> Iterator[str]:
    """Yield the statements that write the fields in order."""
    offset = 0
    for field in message.fields:
        if field.tail_bytes:
            yield f"memcpy(body + {offset}u, in->{field.name}, in->{field.name}_size);"
        elif field.text_bytes:
            yield f"memcpy(body + {offset}u, in->{field.name}, {field.text_bytes}u);"
        else:
            yield from _encode_number(field, offset)
        offset += calcsize("<" + field.struct_code)


def _encode_number(field: FieldDecl, offset: int) -> Iterator[str]:
    integer = str(field.integer)
    size = _BYTES[integer]
    source = f"in->{field.name}" + ("[i]" if field.length else "")
    cast = f"(uint{8 * size}_t)" if integer[0] == "i" else ""
    step = "" if size == 1 else f" * {size}u"
    at = f"body + {offset}u" + (f" + i{step}" if field.length else "")
    put = f"*({at}) = {cast}{source};" if size == 1 else f"wire_put_u{8 * size}({at}, {cast}{source});"
    if field.length:
        yield f"for (uint8_t i = 0; i < {field.length}u; i++) {{"
        yield f"    {put}"
        yield "}"
    else:
        yield put
