"""Facts as JSON text of exactly one spelling, so that it can be hashed."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from enum import Enum
from typing import Any

from pydantic import BaseModel

Json = None | bool | int | float | str | list[Any] | dict[str, Any]

_NOT_FINITE = {math.inf: "Infinity", -math.inf: "-Infinity"}


def jsonable(value: object) -> Json:
    """Return `value` as plain JSON data.

    Dataclasses, pydantic models, enums, tuples, mappings and numpy scalars are converted. JSON has no infinity:
    it becomes one of the strings `Infinity`, `-Infinity` and `NaN`, which pydantic reads back as floats.

    Raises:
        TypeError: the value is of another type (arrays and bytes belong in a trace, not in an entry).
    """
    if isinstance(value, Enum):
        return jsonable(value.value)
    if isinstance(value, BaseModel):
        return jsonable(value.model_dump(mode="json"))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: jsonable(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {_key(k): jsonable(v) for k, v in value.items()}
    if isinstance(value, tuple | list | set | frozenset):
        items = sorted(value, key=repr) if isinstance(value, set | frozenset) else value
        return [jsonable(item) for item in items]
    return _scalar(value)


def _key(key: object) -> str:
    return str(key.value if isinstance(key, Enum) else key)


def _scalar(value: object) -> Json:
    if value is None or isinstance(value, bool | str):
        return str(value) if isinstance(value, str) else value
    if hasattr(value, "item") and getattr(value, "ndim", 0) == 0:  # a numpy scalar
        value = value.item()
    if isinstance(value, float):
        if math.isnan(value):
            return "NaN"
        return _NOT_FINITE.get(value, value)
    if isinstance(value, bool | int | str):
        return value
    raise TypeError(
        f"{type(value).__name__} cannot be kept in a record entry: convert it to plain numbers and text."
    )


def canonical_json(value: object) -> str:
    """Return the one spelling of `value`: keys sorted, no spaces, ASCII, floats that read back equal."""
    return json.dumps(
        jsonable(value), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )
