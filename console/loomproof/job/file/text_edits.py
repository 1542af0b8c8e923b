"""Small changes to a job file's text that leave everything else in it as it was written, comments included.

tomlkit keeps comments, but what it adds to a table it puts below the comments that precede the next one. So the
place of a change is found by `positions.statements`, and tomlkit writes the one statement that changes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import tomlkit

from loomproof.job.engine import Engine
from loomproof.job.file.positions import TomlStatement, statements
from loomproof.job.model import Channel, Connector, Feed, Location, LoomIdentity

ORDER: Mapping[str, Sequence[str]] = {
    "identity": tuple(LoomIdentity.model_fields),
    "engine": tuple(Engine.model_fields),
    "connectors": tuple(Connector.model_fields),
    "feeds": tuple(Feed.model_fields),
    "locations": tuple(Location.model_fields),
    "channels": tuple(Channel.model_fields),
}
"""Order of keys in a table: a new one goes where it belongs."""
SINGLE = ("identity", "engine")
"""Tables that stand once."""
TABLES = ("connectors", "feeds", "locations", "channels")
"""Order of the tables in a file."""


class EditError(ValueError):
    """A change that cannot be made in a text as it stands: it has to be made in the text itself."""


@dataclass
class _Section:
    name: str
    listed: bool
    header: TomlStatement | None
    body: list[TomlStatement] = field(default_factory=list)

    @property
    def end(self) -> int:
        """The index of the line after its last statement."""
        last = self.body[-1] if self.body else self.header
        return 0 if last is None else _end(last)


def _end(statement: TomlStatement) -> int:
    return statement.line + statement.text.count("\n")


def _sections(text: str) -> list[_Section]:
    sections = [_Section("", False, None)]
    for statement in statements(text):
        if statement.is_header:
            keys, listed = statement.header
            sections.append(_Section(".".join(keys), listed, statement))
        else:
            sections[-1].body.append(statement)
    return sections


def _tables(text: str, table: str) -> list[_Section]:
    return [section for section in _sections(text) if section.name == table and section.listed]


def _lines(text: str) -> list[str]:
    return text.split("\n")


def _literal(value: object) -> str:
    return tomlkit.item(value).as_string()


def set_value(text: str, table: str, index: int, keys: tuple[str, ...], value: object | None) -> str:
    """Return the text with one value changed, added, or (None) taken out.

    Args:
        text: The job file.
        table: `channels`, `identity`, ...; empty for the keys at the top.
        index: Which of the tables, from 0.
        keys: The key, and the key inside it: `("train", "count")`.
        value: What it is to be.

    Raises:
        EditError: The table is not written as `[[table]]`, or the key in a way that only a person can change.
    """
    section = _section(text, table, index)
    for statement in section.body:
        if statement.holds is not None and keys[0] in statement.holds:
            return _change(text, statement, keys, value)
    if value is None:
        return text
    if any(other.name == f"{table}.{keys[0]}" for other in _sections(text)):
        raise EditError(f"{keys[0]} has a table of its own here: change it in the text")
    for inner in reversed(keys[1:]):
        value = {inner: value}
    return _insert(text, table, section, keys[0], value)


def _section(text: str, table: str, index: int) -> _Section:
    if not table:
        return _sections(text)[0]
    single = [section for section in _sections(text) if section.name == table and not section.listed]
    if single:
        return single[0]
    found = _tables(text, table)
    if not found and table in SINGLE:
        raise EditError(f"there is no [{table}] table yet: add it in the text")
    if index >= len(found):
        raise EditError(f"{table} are not written as [[{table}]]: change them in the text")
    return found[index]


def _change(text: str, statement: TomlStatement, keys: tuple[str, ...], value: object | None) -> str:
    lines = _lines(text)
    document = tomlkit.parse(statement.text)
    inner: Any = document
    for key in keys[:-1]:
        if key not in inner:
            inner[key] = tomlkit.inline_table()
        inner = inner[key]
        if not hasattr(inner, "items"):
            raise EditError(f"{key} is no table here: change it in the text")
    if value is not None:
        inner[keys[-1]] = value if not isinstance(value, Mapping) else dict(value)
    elif keys[-1] in inner:
        del inner[keys[-1]]
    empty = not document or (len(keys) > 1 and not document[keys[0]])
    written = [] if empty else tomlkit.dumps(document).rstrip("\n").split("\n")
    lines[statement.line - 1 : _end(statement)] = written
    return "\n".join(lines)


def _insert(text: str, table: str, section: _Section, key: str, value: object) -> str:
    order = list(ORDER.get(table, ()))
    at = section.end
    if key in order:
        before = {*order[: order.index(key)]}
        earlier = [s for s in section.body if s.holds and before & s.holds.keys()]
        at = _end(earlier[-1]) if earlier else (section.header.line if section.header else 0)
    lines = _lines(text)
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        inline.update(value)
        value = inline
    lines[at:at] = [f"{key} = {_literal(value)}"]
    return "\n".join(lines)


def add_table(text: str, table: str, content: Mapping[str, object]) -> str:
    """Return the text with one more `[[table]]`, after the last of its kind or where its kind belongs."""
    written = [f"[[{table}]]", *(f"{key} = {_literal(value)}" for key, value in content.items())]
    earlier = TABLES[: TABLES.index(table) + 1]
    found = [section for section in _sections(text) if section.name.split(".")[0] == table]
    before = [section for section in _sections(text) if section.name.split(".")[0] in earlier]
    lines = _lines(text)
    at = found[-1].end if found else before[-1].end if before else len(lines)
    following = [] if at < len(lines) and not lines[at].strip() else [""]
    lines[at:at] = ["", *written, *following]
    return "\n".join(lines)


def remove_table(text: str, table: str, index: int) -> str:
    """Return the text without one `[[table]]` and its sub-tables; comments after its last key stay.

    Raises:
        EditError: The table is not written as `[[table]]`.
    """
    section = _section(text, table, index)
    sections = _sections(text)
    end = section.end
    for other in sections[next(i for i, s in enumerate(sections) if s.header == section.header) + 1 :]:
        if not other.name.startswith(f"{table}."):
            break
        end = other.end
    lines = _lines(text)
    assert section.header is not None
    start = section.header.line - 1
    if end < len(lines) and not lines[end].strip() and start and not lines[start - 1].strip():
        end += 1
    del lines[start:end]
    return "\n".join(lines)
