"""Golden bytes: the core's generated codec against tests/wire/vectors.json, which is made without it."""

import ctypes
import json
import subprocess

import pytest
from hostbox import ROOT, build

VECTORS = json.loads((ROOT / "tests/wire/vectors.json").read_text())["vectors"]
GOOD = 0xFF
WRONG_SIZE = 0xFE
ROOM = 4096


CALLS = """
uint8_t golden_decode_{0}(const uint8_t *body, uint16_t size, struct wire_{0} *out)
{{
    return wire_decode_{0}(body, size, out);
}}

uint16_t golden_encode_{0}(const struct wire_{0} *in, uint8_t *body)
{{
    return wire_encode_{0}(in, body);
}}
"""
"""The typed calls are inlined where they are used; these make functions of them."""


@pytest.fixture(scope="module")
def core():
    return ctypes.CDLL(str(build()))


@pytest.fixture(scope="module")
def codec(tmp_path_factory):
    folder = tmp_path_factory.mktemp("golden")
    source, library = folder / "calls.c", folder / "calls.so"
    messages = sorted({vector["message"] for vector in VECTORS if vector["values"]})
    source.write_text('#include "wire_messages_gen.h"\n' + "".join(map(CALLS.format, messages)))
    sources = [source, *(ROOT / "firmware/core" / name for name in ("wire_codec.c", "wire_tables_gen.c"))]
    command = [
        "gcc",
        "-std=c11",
        "-O2",
        "-fPIC",
        "-shared",
        f"-I{ROOT}/firmware/core",
        "-o",
        library,
        *sources,
    ]
    subprocess.run(command, check=True)
    return ctypes.CDLL(str(library))


def _name(vector):
    return f"{vector['message']}-{vector['case']}"


@pytest.mark.parametrize("vector", [v for v in VECTORS if v["values"]], ids=_name)
def test_a_body_is_decoded_and_encoded_to_the_same_bytes(codec, vector):
    body = bytes.fromhex(vector["body"])
    message = ctypes.create_string_buffer(ROOM)
    decode = getattr(codec, f"golden_decode_{vector['message']}")
    assert decode(body, len(body), message) & 0xFF == GOOD
    out = ctypes.create_string_buffer(ROOM)
    size = getattr(codec, f"golden_encode_{vector['message']}")(message, out)
    assert out.raw[:size] == body


@pytest.mark.parametrize("vector", [v for v in VECTORS if v["values"]], ids=_name)
def test_a_body_of_another_size_is_refused(codec, vector):
    body = bytes.fromhex(vector["body"])
    longer = body + bytes(256)
    decode = getattr(codec, f"golden_decode_{vector['message']}")
    message = ctypes.create_string_buffer(ROOM)
    assert decode(longer, len(longer), message) & 0xFF == WRONG_SIZE


@pytest.mark.parametrize("vector", VECTORS, ids=_name)
def test_a_frame_is_sent_and_received_as_the_golden_bytes_say(core, vector):
    frame, body = bytes.fromhex(vector["frame"]), bytes.fromhex(vector["body"])
    core.host_open(16)
    core.send_frame(vector["kind"], vector["sequence"], body, len(body))
    out = ctypes.create_string_buffer(ROOM)
    size = core.host_take(out, ROOM)
    assert out.raw[:size] == frame
    core.receive_byte.restype = ctypes.c_void_p
    assert not any(core.receive_byte(byte) for byte in frame[:-1])
    kept = ctypes.string_at(core.receive_byte(frame[-1]), 6)
    assert kept[0] == vector["kind"]
    assert int.from_bytes(kept[2:4], "little") == vector["sequence"]
    assert int.from_bytes(kept[4:6], "little") == len(body)
