"""`python -m loomproof_wire.generate [--check]`: writes everything that follows from wire.toml.

Without options it writes the files that changed; with `--check` it writes nothing and exits 1, naming
each stale file.
"""

import argparse
import json
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from struct import calcsize

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from loomproof_wire.c_code import c_comment, c_head, c_member, c_tables
from loomproof_wire.declaration import Declaration, DeclarationError, FieldDecl, MessageDecl
from loomproof_wire.declaration_file import load_declaration
from loomproof_wire.vectors import build_vectors, encode_values, frame_bytes

ROOT = Path(__file__).resolve().parents[2]


def _from_template(template: str) -> Callable[[Declaration], str]:
    def render(declaration: Declaration) -> str:
        environment = Environment(
            loader=FileSystemLoader(Path(__file__).with_name("templates")),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            autoescape=False,  # the output is source code, not HTML
        )
        environment.filters.update(
            py_type=py_type,
            py_encode=py_encode,
            py_decode=py_decode,
            span=span,
            quoted=json.dumps,
            body_size=body_size,
            crc_example=crc_example,
            c_comment=c_comment,
            c_head=c_head,
            c_member=c_member,
        )
        return environment.get_template(template).render(
            d=declaration,
            tables=c_tables(declaration),
            train_example=lambda: train_example(declaration),
        )

    return render


def _vectors(declaration: Declaration) -> str:
    return json.dumps(build_vectors(declaration), indent=1) + "\n"


OUTPUTS: dict[str, Callable[[Declaration], str]] = {
    "shared/loomproof_wire/messages.py": _from_template("messages.py.j2"),
    "docs/protocol.md": _from_template("protocol.md.j2"),
    "tests/wire/vectors.json": _vectors,
    "firmware/core/wire_gen.h": _from_template("wire_gen.h.j2"),
    "firmware/core/wire_messages_gen.h": _from_template("wire_messages_gen.h.j2"),
    "firmware/core/wire_tables_gen.c": _from_template("wire_tables_gen.c.j2"),
}
"""Path below the root of the source tree -> what makes its content."""


def py_type(field: FieldDecl, declaration: Declaration) -> str:
    """Python annotation of a field."""
    if field.enum:
        return declaration.enums[field.enum].class_name
    if field.text_bytes:
        return "str"
    if field.tail_bytes:
        return "bytes"
    return "tuple[int, ...]" if field.length else "int"


def py_encode(field: FieldDecl, index: int, declaration: Declaration) -> str:
    """Expression that checks `self.<field>` and yields what `struct` packs (starred for an array)."""
    head = f'{index}, "{field.name}"'
    value = f"self.{field.name}"
    if field.text_bytes:
        return f"encode_text({head}, {value}, {field.text_bytes})"
    if field.tail_bytes:
        return f"check_tail({head}, {value}, {field.tail_bytes})"
    checked = _py_check(field, head, value, declaration)
    return f"*{checked}" if field.length else checked


def py_decode(field: FieldDecl, message: MessageDecl, declaration: Declaration) -> str:
    """Expression that checks and yields the field from `values` (fixed fields) or `tail`."""
    index = message.fields.index(field)
    position = sum(earlier.length or 1 for earlier in message.fields[:index])
    head = f'{index}, "{field.name}"'
    if field.tail_bytes:
        return f"check_tail({head}, tail, {field.tail_bytes})"
    if field.text_bytes:
        return f"decode_text({head}, values[{position}])"
    value = f"values[{position}:{position + field.length}]" if field.length else f"values[{position}]"
    return _py_check(field, head, value, declaration)


def _py_check(field: FieldDecl, head: str, value: str, declaration: Declaration) -> str:
    limits = f"{field.low}, {field.high}"
    if field.enum:
        return f"check_enum({head}, {value}, {limits}, kind={declaration.enums[field.enum].class_name})"
    if field.length:
        return f"check_ints({head}, {value}, {limits}, length={field.length})"
    return f"check_int({head}, {value}, {limits})"


def span(field: FieldDecl) -> str:
    """The declared range in words, empty when only the type bounds it."""
    if field.min is None and field.max is None:
        return ""
    if field.enum:
        return f"{field.low} and up"
    return f"{field.low} to {field.high}"


def body_size(message: MessageDecl) -> str:
    """Size of a message's body in bytes, in words."""
    fixed = calcsize(message.struct_format)
    return f"{fixed} to {fixed + (message.tail.tail_bytes or 0)}" if message.tail else str(fixed)


def crc_example(text: str) -> str:
    """CRC-32/ISO-HDLC of an ASCII text, as eight hex digits."""
    return f"{zlib.crc32(text.encode('ascii')):08X}"


def train_example(declaration: Declaration) -> dict[str, str]:
    """Body and frame, in spaced hex, of the drive that the protocol page shows."""
    message = declaration.messages["drive_train"]
    numbers = (3, 20, 100_000, 3000, 20, 1, 400)
    values = {field.name: number for field, number in zip(message.fields, numbers, strict=True)}
    body = encode_values(message, values)
    return {"body": body.hex(" "), "frame": frame_bytes(message.kind, 1042, body).hex(" ")}


def stale_outputs(root: Path, rendered: dict[str, str]) -> list[str]:
    """Return the paths below `root` whose content is not what was rendered."""
    return [
        name
        for name, text in rendered.items()
        if not (root / name).is_file() or (root / name).read_text(encoding="utf-8") != text
    ]


def main(arguments: list[str] | None = None) -> int:
    """Run the generator; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m loomproof_wire.generate", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; exit 1 when a file is stale")
    parser.add_argument("--root", type=Path, default=ROOT, help="root of the source tree (default: this one)")
    options = parser.parse_args(arguments)
    try:
        declaration = load_declaration()
    except DeclarationError as error:
        for problem in error.problems:
            print(f"wire.toml: {problem}", file=sys.stderr)
        return 1
    rendered = {name: make(declaration) for name, make in OUTPUTS.items()}
    stale = stale_outputs(options.root, rendered)
    for name in stale:
        if options.check:
            print(f"stale: {name} (run `python -m loomproof_wire.generate`)", file=sys.stderr)
            continue
        (options.root / name).parent.mkdir(parents=True, exist_ok=True)
        (options.root / name).write_text(rendered[name], encoding="utf-8")
        print(f"wrote {name}")
    return 1 if options.check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
