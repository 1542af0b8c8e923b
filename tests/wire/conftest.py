"""Hypothesis strategies for messages, built from the declaration and not from the generated module."""

import json
from pathlib import Path

import pytest
from hypothesis import strategies as st

from loomproof_wire import messages
from loomproof_wire.declaration import Declaration, FieldDecl
from loomproof_wire.declaration_file import load_declaration


@pytest.fixture(scope="session")
def declaration() -> Declaration:
    return load_declaration()


@pytest.fixture(scope="session")
def vectors() -> list[dict]:
    return json.loads(Path(__file__).with_name("vectors.json").read_text())["vectors"]


def _fits(size_bytes: int):
    return lambda text: len(text.encode()) <= size_bytes


def _field(declaration: Declaration, field: FieldDecl) -> st.SearchStrategy:
    if field.text_bytes:
        characters = st.characters(exclude_characters="\0", exclude_categories=("Cs",))
        return st.text(characters, max_size=field.text_bytes).filter(_fits(field.text_bytes))
    if field.tail_bytes:
        return st.binary(max_size=field.tail_bytes)
    numbers = st.integers(field.low, field.high)
    if field.enum:
        members = [member.value for member in declaration.enums[field.enum].members.values()]
        enum = getattr(messages, declaration.enums[field.enum].class_name)
        numbers = st.sampled_from([enum(v) for v in members if field.low <= v <= field.high])
    if field.length:
        return st.tuples(*[numbers] * field.length)
    return numbers


@pytest.fixture(scope="session")
def strategies(declaration: Declaration) -> dict[str, st.SearchStrategy]:
    """Message name -> strategy of valid instances of its class."""
    return {
        name: st.builds(
            messages.MESSAGES[message.kind],
            **{field.name: _field(declaration, field) for field in message.fields},
        )
        for name, message in declaration.messages.items()
    }


@pytest.fixture(scope="session")
def any_message(strategies) -> st.SearchStrategy:
    return st.one_of(*strategies.values())
