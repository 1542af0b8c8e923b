"""The generator: nothing in the tree is stale, and staleness and contradictions are named."""

import shutil

import pytest

from loomproof_wire import generate
from loomproof_wire.declaration import WIRE_TOML, DeclarationError
from loomproof_wire.declaration_file import parse_declaration

TEXT = WIRE_TOML.read_text()


def test_nothing_generated_is_stale(capsys):
    assert generate.main(["--check"]) == 0, capsys.readouterr().err


def test_check_names_each_stale_file_and_writes_nothing(tmp_path, capsys):
    assert generate.main(["--root", str(tmp_path)]) == 0
    assert generate.main(["--root", str(tmp_path), "--check"]) == 0
    changed, missing = tmp_path / "docs/protocol.md", tmp_path / "tests/wire/vectors.json"
    changed.write_text("old")
    missing.unlink()
    capsys.readouterr()
    assert generate.main(["--root", str(tmp_path), "--check"]) == 1
    complaint = capsys.readouterr().err
    assert "docs/protocol.md" in complaint
    assert "tests/wire/vectors.json" in complaint
    assert "messages.py" not in complaint
    assert changed.read_text() == "old"
    assert not missing.exists()
    shutil.rmtree(tmp_path)


def test_the_page_tells_every_message_field_and_refusal(declaration):
    page = generate.OUTPUTS["docs/protocol.md"](declaration)
    for message in declaration.messages.values():
        section = page.split(f"### `{message.name}` 0x{message.kind:02X}")[1].split("\n#")[0]
        for index, field in enumerate(message.fields):
            assert f"| {index} | `{field.name}` |" in section
    for enum in declaration.enums.values():
        section = page.split(f"### `{enum.name}`\n")[1].split("\n#")[0]
        for name, member in enum.members.items():
            assert f"| {member.value} | `{name}` | {member.doc} |" in section


BROKEN = [
    ("kind = 0x02\n", "kind = 0x01\n", "used 2 times"),
    ('reply = "digest"', 'reply = "trip"', "not a declared reply"),
    ('reply = "digest"', 'reply = "nobody"', "not a declared reply"),
    ('{ name = "digest", type = "u32" }', '{ name = "digest", type = "u33" }', "unknown type 'u33'"),
    ('enum = "refusal"', 'enum = "excuse"', "unknown enum 'excuse'"),
    (
        '{ name = "trace_every", type = "u16"',
        '{ name = "trace_every", type = "u8", max = 256',
        "does not fit u8",
    ),
    (
        'name = "step_us", type = "u32", unit = "us", min = 1000',
        'name = "step_us", type = "u32", min = 2000000',
        "does not fit",
    ),
    ('type = "bytes:<=200"', 'type = "bytes:<=217"', "over max_body_bytes"),
    ("max_on_time_us = 100000", "max_on_time_us = 90000", "its ceiling is 90000"),
    ("samples_per_chunk = 25", "samples_per_chunk = 24", "does not fill trace_chunk"),
    ("heartbeat_timeout_ms = 400", "heartbeat_timeout_ms = 200", "two late heartbeats"),
    (
        '{ name = "first_sample", type = "u16" },\n]',
        '{ name = "trace_id", type = "u16" },\n]',
        "'trace_id' is there 2 times",
    ),
    ('name = "pulses"', 'name = "class"', "not a usable field name"),
    ("low_side = { value = 0", "low_side = { value = 1", "value 1 is used 2 times"),
    ('doc = "no hello yet", remedy = "connect again"', 'doc = "no hello yet"', "some have none"),
    (
        'name = "firmware_version", type = "text:16"',
        'name = "firmware_version", type = "text:16", max = 3',
        "for integers only",
    ),
    ("kind = 0x80", "kind = 0x70", "not in the range of a event"),
    ("[frame]", '[frame]\nparity = "odd"', "parity"),
    ("[protocol]", "[protocol", "TOMLDecodeError"),
    ('direction = "notice"', 'direction = "shout"', "direction"),
    ('direction = "notice"', 'direction = "notice"\nreply = "ack"', "has no reply"),
]


@pytest.mark.parametrize(("old", "new", "complaint"), BROKEN)
def test_a_contradiction_is_named(old, new, complaint):
    assert old in TEXT
    with pytest.raises(DeclarationError) as error:
        parse_declaration(TEXT.replace(old, new, 1).encode())
    assert complaint in str(error.value)


def test_all_contradictions_are_told_at_once():
    broken = TEXT.replace("kind = 0x02\n", "kind = 0x01\n").replace(
        "samples_per_chunk = 25", "samples_per_chunk = 24"
    )
    with pytest.raises(DeclarationError) as error:
        parse_declaration(broken.encode())
    assert len(error.value.problems) == 2


def test_an_open_ended_field_must_be_last():
    names = ["trace_id", "first_sample", "samples"]
    types = ["u16", "u16", "bytes:<=200"]
    lines = [f'  {{ name = "{name}", type = "{kind}" }},\n' for name, kind in zip(names, types, strict=True)]
    assert "".join(lines) in TEXT
    with pytest.raises(DeclarationError, match="must be the last"):
        parse_declaration(TEXT.replace("".join(lines), lines[0] + lines[2] + lines[1]).encode())


def test_a_broken_declaration_is_told_and_fails(monkeypatch, capsys):
    def broken():
        raise DeclarationError(["kind 0x01 is used 2 times"])

    monkeypatch.setattr(generate, "load_declaration", broken)
    assert generate.main(["--check"]) == 1
    assert "kind 0x01 is used 2 times" in capsys.readouterr().err
