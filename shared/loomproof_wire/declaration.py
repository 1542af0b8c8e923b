"""The models of wire.toml, for the generator and the tests; both ends of the line use messages.py."""

import keyword
import re
from functools import cached_property
from pathlib import Path
from struct import calcsize
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

WIRE_TOML = Path(__file__).with_name("wire.toml")

INTEGERS: dict[str, tuple[str, int, int]] = {
    "u8": ("B", 0, 2**8 - 1),
    "u16": ("H", 0, 2**16 - 1),
    "u32": ("I", 0, 2**32 - 1),
    "i8": ("b", -(2**7), 2**7 - 1),
    "i16": ("h", -(2**15), 2**15 - 1),
    "i32": ("i", -(2**31), 2**31 - 1),
}
"""Integer type -> its `struct` code, lowest and highest value."""

_TYPE = re.compile(
    r"(?P<integer>[ui](?:8|16|32))(?:\*(?P<length>[1-9]\d*))?|text:(?P<text>[1-9]\d*)|bytes:<=(?P<tail>[1-9]\d*)"
)
_NAME = re.compile(r"[a-z][a-z0-9_]*")


class DeclarationError(Exception):
    """wire.toml contradicts itself.

    Attributes:
        problems: every contradiction.
    """

    def __init__(self, problems: list[str]) -> None:
        super().__init__("wire.toml: " + "; ".join(problems))
        self.problems = tuple(problems)


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Protocol(_Model):
    """The version and the magic of the protocol."""

    major: int = Field(ge=0, le=255)
    minor: int = Field(ge=0, le=255)
    magic: str


class FrameDecl(_Model):
    """The constants of a frame."""

    delimiter: Literal[0]
    max_body_bytes: int = Field(ge=1, le=240)
    crc: Literal["CRC-32/ISO-HDLC"]
    default_baud: int
    other_bauds: tuple[int, ...]


class EnumValue(_Model):
    """One member of an enum."""

    value: int = Field(ge=0, le=255)
    doc: str
    remedy: str | None = None


class EnumDecl(_Model):
    """One enum, with its members in the order of declaration."""

    name: str
    doc: str
    members: dict[str, EnumValue]

    @property
    def class_name(self) -> str:
        """The name of the generated class."""
        return pascal(self.name)

    @property
    def has_remedies(self) -> bool:
        """Whether its members have remedies."""
        return any(member.remedy is not None for member in self.members.values())


class FieldDecl(_Model):
    """One field of a message."""

    name: str
    type: str
    unit: str | None = None
    min: int | None = None
    max: int | None = None
    enum: str | None = None
    doc: str | None = None

    @model_validator(mode="after")
    def _type_is_known(self) -> Self:
        if _TYPE.fullmatch(self.type) is None:
            raise ValueError(f"field {self.name!r}: unknown type {self.type!r}")
        if self.integer is None and (self.min is not None or self.max is not None or self.enum is not None):
            raise ValueError(f"field {self.name!r}: min, max and enum are for integers only")
        return self

    @cached_property
    def _parts(self) -> dict[str, str | None]:
        match = _TYPE.fullmatch(self.type)
        return match.groupdict() if match else {}

    @property
    def integer(self) -> str | None:
        """The integer type of the field or of its elements; None for text and bytes."""
        return self._parts["integer"]

    @property
    def length(self) -> int | None:
        """The number of elements of an array; None for other fields."""
        return int(length) if (length := self._parts["length"]) else None

    @property
    def text_bytes(self) -> int | None:
        """Size of a text field, in bytes."""
        return int(text) if (text := self._parts["text"]) else None

    @property
    def tail_bytes(self) -> int | None:
        """Largest size of an open-ended last field, in bytes."""
        return int(tail) if (tail := self._parts["tail"]) else None

    @property
    def struct_code(self) -> str:
        """The `struct` format of the field; empty for an open-ended one."""
        if self.integer is not None:
            return f"{self.length or ''}{INTEGERS[self.integer][0]}"
        return f"{self.text_bytes}s" if self.text_bytes else ""

    @property
    def low(self) -> int:
        """Lowest value allowed."""
        type_low = INTEGERS[self.integer or "u8"][1]
        return type_low if self.min is None else self.min

    @property
    def high(self) -> int:
        """Highest value allowed."""
        type_high = INTEGERS[self.integer or "u8"][2]
        return type_high if self.max is None else self.max


class MessageDecl(_Model):
    """One message."""

    name: str
    kind: int = Field(ge=1, le=255)
    direction: Literal["request", "notice", "reply", "event"]
    doc: str
    reply: str | None = None
    any_sequence: bool = False
    fields: tuple[FieldDecl, ...]

    @property
    def class_name(self) -> str:
        """The name of the generated class."""
        return pascal(self.name)

    @property
    def struct_format(self) -> str:
        """`struct` format of the fixed fields, little-endian."""
        return "<" + "".join(field.struct_code for field in self.fields)

    @property
    def fixed_bytes(self) -> int:
        """Size of the fixed fields, in bytes."""
        return calcsize(self.struct_format)

    @property
    def tail(self) -> FieldDecl | None:
        """The open-ended last field, if it has one."""
        return self.fields[-1] if self.fields and self.fields[-1].tail_bytes else None


class Declaration(_Model):
    """The whole wire.toml, checked."""

    protocol: Protocol
    frame: FrameDecl
    timing: dict[str, int]
    ceilings: dict[str, int]
    enums: dict[str, EnumDecl]
    messages: dict[str, MessageDecl]
    spec_hash: int

    def by_direction(self, direction: str) -> list[MessageDecl]:
        """Return the messages of one direction, in the order of declaration."""
        return [message for message in self.messages.values() if message.direction == direction]


def pascal(name: str) -> str:
    """Return a name in Pascal case: `drive_train` becomes `DriveTrain`."""
    return "".join(part.capitalize() for part in name.split("_"))


def is_usable_name(name: str) -> bool:
    """Return whether a name is lower snake case and usable as a field or class in Python and C."""
    return _NAME.fullmatch(name) is not None and not keyword.iskeyword(name)
