"""The generated messages against the declaration and the golden bytes."""

import dataclasses
import struct
import zlib
from enum import IntEnum
from struct import calcsize

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof_wire import messages
from loomproof_wire.declaration import INTEGERS, WIRE_TOML
from loomproof_wire.frames import FrameReader, decode, encode_frame
from loomproof_wire.messages import MESSAGES, RangeError, WireError

ALL = sorted(MESSAGES.values(), key=lambda message: message.KIND)


@pytest.mark.parametrize("message_type", ALL, ids=lambda message: message.NAME)
@given(data=st.data())
def test_every_message_survives_the_round_trip(message_type, strategies, data):
    sent = data.draw(strategies[message_type.NAME])
    sequence = data.draw(st.integers(0, 0xFFFF))
    (frame,) = FrameReader().feed(encode_frame(sequence, sent))
    assert frame.sequence == sequence
    received = decode(frame)
    assert type(received) is message_type
    assert received == sent
    for field in dataclasses.fields(received):
        if isinstance(getattr(sent, field.name), IntEnum):
            assert type(getattr(received, field.name)) is type(getattr(sent, field.name))


def test_the_module_has_every_declared_message_and_nothing_else(declaration):
    assert {m.NAME: m.KIND for m in ALL} == {m.name: m.kind for m in declaration.messages.values()}
    for name, declared in declaration.messages.items():
        message_type = MESSAGES[declared.kind]
        assert [f.name for f in dataclasses.fields(message_type)] == [f.name for f in declared.fields], name
        assert declared.direction == message_type.DIRECTION
        assert declared.any_sequence == message_type.ANY_SEQUENCE
        reply = declaration.messages[declared.reply].kind if declared.reply else None
        assert reply == message_type.REPLY_KIND


def test_golden_bytes_decode_and_encode(vectors):
    assert {v["kind"] for v in vectors} == set(MESSAGES)
    for vector in vectors:
        message = MESSAGES[vector["kind"]].decode_body(bytes.fromhex(vector["body"]))
        for name, value in vector["values"].items():
            got = getattr(message, name)
            expected = bytes.fromhex(value) if isinstance(got, bytes) else value
            assert (list(got) if isinstance(got, tuple) else got) == expected, (vector["message"], name)
        assert encode_frame(vector["sequence"], message) == bytes.fromhex(vector["frame"])
        (frame,) = FrameReader().feed(bytes.fromhex(vector["frame"]))
        assert (frame.kind, frame.sequence) == (vector["kind"], vector["sequence"])
        assert decode(frame) == message


def test_spec_hash_is_that_of_the_file():
    assert zlib.crc32(WIRE_TOML.read_bytes()) == messages.SPEC_HASH


def _typical(vectors, name):
    return next(
        v
        for v in vectors
        if v["message"] == name and v["case"] in ("typical", "lowest")[: 1 + (not v["values"])]
    )


def test_every_bounded_field_is_refused_just_outside_its_range(declaration, vectors):
    tried = 0
    for message in declaration.messages.values():
        message_type = MESSAGES[message.kind]
        for index, field in enumerate(message.fields):
            offset = calcsize("<" + "".join(f.struct_code for f in message.fields[:index]))
            if not field.integer:
                continue
            code, type_low, type_high = INTEGERS[field.integer]
            for outside in (field.low - 1, field.high + 1):
                good = message_type.decode_body(bytes.fromhex(_typical(vectors, message.name)["body"]))
                value = (outside,) * field.length if field.length else outside
                with pytest.raises(RangeError) as refused:
                    dataclasses.replace(good, **{field.name: value}).encode_body()
                assert (refused.value.field_index, refused.value.name) == (index, field.name)
                if type_low <= outside <= type_high:
                    body = bytearray(good.encode_body())
                    struct.pack_into("<" + code, body, offset, outside)
                    with pytest.raises(RangeError) as refused:
                        message_type.decode_body(bytes(body))
                    assert (refused.value.field_index, refused.value.value) == (index, outside)
                    tried += 1
    assert tried > 40


def test_an_enum_value_that_is_no_member_is_refused():
    with pytest.raises(RangeError) as refused:
        messages.Stopped.decode_body(b"\x63")
    assert refused.value.field_index == 0
    with pytest.raises(RangeError):
        messages.Arm.decode_body(
            messages.Arm(messages.Hazard.FUEL, 1000).encode_body().replace(b"\x01", b"\x00", 1)
        )


@pytest.mark.parametrize("message_type", ALL, ids=lambda message: message.NAME)
def test_a_body_of_the_wrong_size_is_refused(message_type, vectors):
    body = bytes.fromhex(_typical(vectors, message_type.NAME)["body"])
    layout = message_type.LAYOUT.size
    wrong = [body + b"\0"] if len(body) == layout else [b"\0" * (layout + 201)]
    if layout:
        wrong.append(body[: layout - 1])
    for bad in wrong:
        with pytest.raises(WireError):
            message_type.decode_body(bad)


@pytest.mark.parametrize("raw", [b"A\0B".ljust(16, b"\0"), b"\xff".ljust(16, b"\0"), b"\xc3".rjust(16, b"a")])
def test_text_that_is_not_padded_utf8_is_refused(raw, vectors):
    body = bytearray.fromhex(_typical(vectors, "identity")["body"])
    body[6:22] = raw
    with pytest.raises(RangeError) as refused:
        messages.Identity.decode_body(bytes(body))
    assert refused.value.name == "firmware_version"


@pytest.mark.parametrize("text", ["x" * 17, "a\0b", "é" * 9, "\udc80"])
def test_text_that_does_not_fit_is_refused(text, vectors):
    identity = messages.Identity.decode_body(bytes.fromhex(_typical(vectors, "identity")["body"]))
    with pytest.raises(RangeError):
        dataclasses.replace(identity, firmware_version=text).encode_body()


def test_a_fraction_or_a_text_for_a_number_is_refused():
    for wrong in (2.5, "3", None):
        with pytest.raises(RangeError):
            messages.GetChannel(wrong).encode_body()


def test_every_refusal_says_what_to_do():
    assert set(messages.REFUSAL_TEXT) == set(messages.Refusal)
    assert all(doc and remedy for doc, remedy in messages.REFUSAL_TEXT.values())
