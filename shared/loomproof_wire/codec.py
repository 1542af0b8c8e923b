"""The functions that the generated messages use: errors, range checks, text and byte fields."""

from collections.abc import Iterable
from enum import IntEnum
from struct import Struct
from typing import Any, SupportsIndex, TypeVar

EnumT = TypeVar("EnumT", bound=IntEnum)


class WireError(ValueError):
    """A body does not match the declaration of its message kind."""


class UnknownMessage(WireError):  # noqa: N818 - the name says what happened
    """A frame has a kind that is not declared.

    Attributes:
        kind: the kind byte of the frame.
    """

    def __init__(self, kind: int) -> None:
        super().__init__(f"unknown message kind 0x{kind:02X}")
        self.kind = kind


class RangeError(WireError):
    """A field is outside its declared range.

    Attributes:
        field_index: position of the field in its message, from 0.
        name: name of the field.
        value: the value out of range.
    """

    def __init__(self, field_index: int, name: str, value: object) -> None:
        super().__init__(f"field {name!r} is out of range: {value!r}")
        self.field_index = field_index
        self.name = name
        self.value = value


def check_int(index: int, name: str, value: SupportsIndex, low: int, high: int) -> int:
    """Return `value` as an int.

    Args:
        index: position of the field in its message.
        name: name of the field.
        value: its value.
        low: least value allowed.
        high: greatest value allowed.

    Raises:
        RangeError: the value is no integer or outside low to high.
    """
    try:
        number = value.__index__()
    except AttributeError:
        raise RangeError(index, name, value) from None
    if not low <= number <= high:
        raise RangeError(index, name, value)
    return number


def check_ints(
    index: int, name: str, values: Iterable[SupportsIndex], low: int, high: int, *, length: int
) -> tuple[int, ...]:
    """Return `values` as a tuple of ints.

    Args:
        index: position of the field in its message.
        name: name of the field.
        values: its values.
        low: least value allowed.
        high: greatest value allowed.
        length: number of values.

    Raises:
        RangeError: a value is outside low to high, or there are more or fewer than `length`.
    """
    numbers = tuple(check_int(index, name, value, low, high) for value in values)
    if len(numbers) != length:
        raise RangeError(index, name, numbers)
    return numbers


def check_enum(
    index: int, name: str, value: SupportsIndex, low: int, high: int, *, kind: type[EnumT]
) -> EnumT:
    """Return the member of an enum.

    Args:
        index: position of the field in its message.
        name: name of the field.
        value: number of the member.
        low: least number allowed.
        high: greatest number allowed.
        kind: the enum.

    Raises:
        RangeError: the enum has no such member, or it is outside low to high.
    """
    number = check_int(index, name, value, low, high)
    try:
        return kind(number)
    except ValueError:
        raise RangeError(index, name, value) from None


def encode_text(index: int, name: str, value: str, size_bytes: int) -> bytes:
    """Return a text as UTF-8, padded with zeros.

    Args:
        index: position of the field in its message.
        name: name of the field.
        value: the text.
        size_bytes: size of the field.

    Raises:
        RangeError: the text is too long or contains a NUL.
    """
    try:
        raw = value.encode()
    except UnicodeEncodeError:
        raise RangeError(index, name, value) from None
    if len(raw) > size_bytes or b"\0" in raw:
        raise RangeError(index, name, value)
    return raw.ljust(size_bytes, b"\0")


def decode_text(index: int, name: str, raw: bytes) -> str:
    """Return the text of a field padded with zeros.

    Raises:
        RangeError: the text is not UTF-8, or continues after a NUL.
    """
    stripped = raw.rstrip(b"\0")
    if b"\0" in stripped:
        raise RangeError(index, name, raw)
    try:
        return stripped.decode()
    except UnicodeDecodeError:
        raise RangeError(index, name, raw) from None


def check_tail(index: int, name: str, value: bytes, limit_bytes: int) -> bytes:
    """Return the bytes of a last, open-ended field.

    Args:
        index: position of the field in its message.
        name: name of the field.
        value: its bytes.
        limit_bytes: most bytes allowed.

    Raises:
        RangeError: there are more than `limit_bytes`.
    """
    if len(value) > limit_bytes:
        raise RangeError(index, name, value)
    return bytes(value)


def unpack(message: str, layout: Struct, body: bytes) -> tuple[Any, ...]:
    """Return the fixed fields of `body`.

    Raises:
        WireError: the body is not exactly as long as the layout.
    """
    if len(body) != layout.size:
        raise WireError(f"{message}: the body must be {layout.size} bytes, not {len(body)}")
    return layout.unpack(body)


def unpack_head(message: str, layout: Struct, body: bytes) -> tuple[tuple[Any, ...], bytes]:
    """Return the fixed fields and the open-ended rest.

    Raises:
        WireError: the body is too short.
    """
    if len(body) < layout.size:
        raise WireError(f"{message}: the body must be at least {layout.size} bytes, not {len(body)}")
    return layout.unpack_from(body), body[layout.size :]
