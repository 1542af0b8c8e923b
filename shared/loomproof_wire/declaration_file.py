"""Reads the bytes of wire.toml into a checked declaration."""

import tomllib
import zlib
from pathlib import Path

from pydantic import ValidationError

from loomproof_wire.declaration import WIRE_TOML, Declaration, DeclarationError
from loomproof_wire.declaration_checks import find_problems


def load_declaration(path: Path = WIRE_TOML) -> Declaration:
    """Read and check a declaration.

    Raises:
        DeclarationError: the declaration is wrong; the error lists every problem.
    """
    return parse_declaration(path.read_bytes())


def parse_declaration(raw: bytes) -> Declaration:
    """Check the bytes of a declaration; see `load_declaration`."""
    try:
        declaration = _build(tomllib.loads(raw.decode()), zlib.crc32(raw))
    except ValidationError as error:
        raise DeclarationError(
            [f"{'.'.join(str(part) for part in item['loc'])}: {item['msg']}" for item in error.errors()]
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError) as error:
        raise DeclarationError([f"{type(error).__name__}: {error}"]) from error
    problems = find_problems(declaration)
    if problems:
        raise DeclarationError(problems)
    return declaration


def _build(data: dict[str, dict[str, dict[str, object]]], spec_hash: int) -> Declaration:
    enums = {
        name: {"name": name, "doc": body["doc"], "members": {k: v for k, v in body.items() if k != "doc"}}
        for name, body in data["enum"].items()
    }
    messages: dict[str, dict[str, object]] = {}
    for name, body in data["message"].items():
        message = {"name": name, **body}
        if (model := message.pop("same_fields_as", None)) is not None:
            message["fields"] = data["message"][str(model)]["fields"]
        messages[name] = message
    sections = {key: data[key] for key in ("protocol", "frame", "timing", "ceilings")}
    return Declaration.model_validate(
        {**sections, "enums": enums, "messages": messages, "spec_hash": spec_hash}
    )
