"""A job half read: what could be read of each part, and where it was, for the checks between parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.engine import Engine
from loomproof.job.file.positions import Path
from loomproof.job.load_type import LoadType
from loomproof.job.model import Channel, Connector, Feed, Location
from loomproof.job.quantity import JobPart

T = TypeVar("T", bound=JobPart)


@dataclass(frozen=True)
class Placed(Generic[T]):
    """A part that could be read, and where it was."""

    path: Path
    part: T


@dataclass(frozen=True)
class Draft:
    """A job as far as it could be read.

    `names` holds every id and key that was written, also those of parts that could not be read, so that one
    mistake is reported once and not again at every mention.
    """

    connectors: tuple[Placed[Connector], ...]
    feeds: tuple[Placed[Feed], ...]
    locations: tuple[Placed[Location], ...]
    loads: tuple[Placed[LoadType], ...]
    channels: tuple[Placed[Channel], ...]
    engine: Placed[Engine] | None
    engine_written: bool
    names: dict[str, frozenset[str]]
    title: str = ""

    def base_load(self, key: str) -> LoadType | None:
        """Return the load type of that key, if it could be read."""
        own = (placed.part for placed in self.loads if placed.part.key == key)
        return next(own, None) or CATALOGUE.get(key)

    def load_of(self, channel: Channel) -> LoadType | None:
        """Return what hangs on a channel with its override, but not its train, applied."""
        base = self.base_load(channel.load)
        if base is None or channel.override is None:
            return base
        return channel.override.apply(base)

    def location(self, name: str | None) -> Location | None:
        """Return the location of that id, if it could be read."""
        return next((placed.part for placed in self.locations if placed.part.id == name), None)


def draft_of(raw: dict[str, Any]) -> Draft:
    """Return what can be read of a job, part by part."""
    names = {
        "connectors": _names(raw, "connectors", "id"),
        "feeds": _names(raw, "feeds", "id"),
        "locations": _names(raw, "locations", "id"),
        "loads": _names(raw, "loads", "key"),
    }
    engine = _read(Engine, raw.get("engine"))
    return Draft(
        connectors=_parts(raw, "connectors", Connector),
        feeds=_parts(raw, "feeds", Feed),
        locations=_parts(raw, "locations", Location),
        loads=_parts(raw, "loads", LoadType),
        channels=_parts(raw, "channels", Channel),
        engine=None if engine is None else Placed(("engine",), engine),
        engine_written="engine" in raw,
        names=names,
        title=_title(raw),
    )


def _rows(raw: dict[str, Any], key: str) -> Sequence[Any]:
    rows = raw.get(key)
    return rows if isinstance(rows, list) else ()


def _title(raw: dict[str, Any]) -> str:
    identity = raw.get("identity")
    title = identity.get("title") if isinstance(identity, dict) else None
    return title if isinstance(title, str) else ""


def _names(raw: dict[str, Any], key: str, name: str) -> frozenset[str]:
    written = (row.get(name) for row in _rows(raw, key) if isinstance(row, dict))
    return frozenset(name for name in written if isinstance(name, str))


def _read(model: type[T], value: object) -> T | None:
    """Return the part, if need be without the keys that are wrong in themselves."""
    try:
        return model.model_validate(value)
    except ValidationError as error:
        if not isinstance(value, dict):
            return None
        wrong = {details["loc"][0] for details in error.errors() if details["loc"]}
    try:
        return model.model_validate({key: inner for key, inner in value.items() if key not in wrong})
    except ValidationError:
        return None


def _parts(raw: dict[str, Any], key: str, model: type[T]) -> tuple[Placed[T], ...]:
    read = ((index, _read(model, row)) for index, row in enumerate(_rows(raw, key)))
    return tuple(Placed((key, index), part) for index, part in read if part is not None)
