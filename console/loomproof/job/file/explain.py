"""From a pydantic error to a reason and a remedy in the words of the job's writer."""

import re
from collections.abc import Iterator
from typing import Annotated, Any, get_args

from pydantic import BaseModel, Field, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from loomproof.job.engine import Engine
from loomproof.job.file.not_described import NOT_DESCRIBED
from loomproof.job.load_type import LoadType
from loomproof.job.model import OUTPUTS, Job
from loomproof.job.problem import Flaw, closest, nearest
from loomproof.job.quantity import Quantity
from loomproof.job.wire import COLOURS, parted

UNITS = {
    "_ms": "ms",
    "_us": "us",
    "_hz": "Hz",
    "_m": "m",
    "_mm2": "mm2",
    "_a": "A",
    "_v": "V",
    "_c": "degC",
    "_ohm": "ohm",
    "_mh": "mH",
    "_cm3": "cm3",
    "_deg": "degrees",
    "_cc_min": "cm3/min",
    "_percent": "percent",
    "_duty": "a share from 0 to 1",
    "_per_k": "1/K",
}
"""Unit by the end of a key; the longest end that fits counts."""

SLIPS = {
    "_ms": ((1e-3, "us"), (1e3, "s")),
    "_us": ((1e3, "ms"),),
    "_hz": ((1e3, "kHz"),),
    "_m": ((1e-3, "mm"), (1e-2, "cm")),
    "_a": ((1e-3, "mA"),),
    "_v": ((1e-3, "mV"),),
    "_cm3": ((1e3, "litres"),),
    "_duty": ((1e-2, "percent"),),
}
"""What a value out of bounds may have been meant in, and the factor that mends it."""

GONE = {
    (Engine, "compression_ratio"): "nothing ever depended on it",
    (LoadType, "rated_v"): "nothing ever depended on it: limits are worked out for a 12 V supply",
}
"""Keys that job files had, and why they have them no more."""

EITHER = {
    "GR": "write GY if it is grey, GN if it is green (IEC 60757)",
    "BL": "write BU if it is blue, BK if it is black (IEC 60757)",
}
"""Letters that drawings use for one colour or the other."""

FORMS = {
    "cavity": "write connector id, hyphen, cavity number, such as H1-14",
    "key": "use small letters, digits and _, beginning with a letter",
    "id": "use letters, digits, _ . and +, without blanks",
    "location": "use the id of a location",
    "feed": "use the id of a feed",
    "group": "use letters, digits, _ . and +, without blanks",
}
"""How a text must look, by the last key."""


def validation_flaws(error: ValidationError) -> Iterator[Flaw]:
    """Yield each of a job's validation errors as a flaw."""
    for details in error.errors(include_url=False):
        path = tuple(details["loc"])
        reason, remedy = _explain(details, path)
        yield Flaw(path, reason, remedy, meant=_meant(details, path))


def _meant(details: ErrorDetails, path: tuple[str | int, ...]) -> tuple[str | int, ...] | None:
    """Return the path that a misspelt key was probably to have."""
    if details["type"] != "extra_forbidden":
        return None
    model, key = _model_at(path[:-1]), str(path[-1])
    known = (model, key) in GONE or key in NOT_DESCRIBED.get(model.__name__, {})
    close = None if known else closest(key, model.model_fields)
    return None if close is None else (*path[:-1], close)


def _explain(details: ErrorDetails, path: tuple[str | int, ...]) -> tuple[str, str]:
    key = next((part for part in reversed(path) if isinstance(part, str)), "")
    kind = details["type"]
    said = details["input"]
    if kind == "missing":
        return f"`{key}` is missing", _add(path, key)
    if kind == "extra_forbidden":
        gone = GONE.get((_model_at(path[:-1]), key))
        if gone is not None:
            return f"`{key}` is a key no longer; {gone}", "remove the line; nothing else changes"
        instead = NOT_DESCRIBED.get(_model_at(path[:-1]).__name__, {}).get(key)
        if instead is not None:
            return f"`{key}` is nothing that a job describes", instead
        return f"`{key}` is not a key that belongs here", _unknown(path, key)
    if kind in ("enum", "literal_error"):
        return f"{_show(said)} is not one of the choices", _choice(said, path)
    if kind == "string_pattern_mismatch":
        return _pattern(key, str(said))
    if kind in ("greater_than_equal", "greater_than", "less_than_equal", "less_than"):
        return _bounds(details, path, key)
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return _table(said, path, key)
    return _type(details, key)


def _type(details: ErrorDetails, key: str) -> tuple[str, str]:
    kind = details["type"]
    said = _show(details["input"])
    unit = _unit(key)
    in_unit = f" in {unit}" if unit else ""
    if kind in ("float_type", "finite_number"):
        return f"{said} is not a number", f"write a number{in_unit}, without quotes and unit"
    if kind.startswith("int_"):
        return f"{said} is not a whole number", "write a whole number without quotes or point"
    if kind == "string_type":
        return f"{said} is not text", "put it in quotes"
    if kind.startswith("bool_"):
        return f"{said} is neither true nor false", "write true or false, without quotes"
    if kind == "too_short":
        return f"no {key} could be read", f"add a [[{key}]] table"
    if kind == "too_long":
        return f"there are more {key} than the box has outputs", "split the job over two boxes"
    if kind in ("tuple_type", "list_type"):
        return f"{said} is not a list", "write a list: [...] or [[...]] tables"
    if kind == "string_too_short":
        return "the text is empty", "say something"
    return f"{said}: {details['msg']}", "mend the value"


def _show(value: object) -> str:
    text = "true" if value is True else "false" if value is False else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _model_at(path: tuple[str | int, ...]) -> type[BaseModel]:
    """Return the model whose keys stand at `path`."""
    model: type[BaseModel] = Job
    for part in path:
        if isinstance(part, str) and part in model.model_fields:
            model = _inner_model(model.model_fields[part].annotation) or model
    return model


def _inner_model(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in get_args(annotation):
        found = _inner_model(argument)
        if found is not None:
            return found
    return None


def _field(path: tuple[str | int, ...]) -> FieldInfo | None:
    keys = [part for part in path if isinstance(part, str)]
    return _model_at(path[:-1]).model_fields.get(keys[-1]) if keys else None


def _adapter(field: FieldInfo) -> TypeAdapter[Any]:
    whole: Any = Annotated[(field.annotation, *field.metadata, Field())]
    return TypeAdapter(whole)


def _add(path: tuple[str | int, ...], key: str) -> str:
    field = _field(path)
    doc = "" if field is None or field.description is None else f" ({field.description.splitlines()[0]})"
    if field is not None and _inner_model(field.annotation) not in (None, Quantity):
        listed = "tuple" in str(field.annotation)
        return f"add a [[{key}]] table" if listed else f"add a [{key}] table"
    return f"add `{key} = ...`{doc}"


def _unknown(path: tuple[str | int, ...], key: str) -> str:
    known = _model_at(path[:-1]).model_fields
    if closest(key, known) is None:
        return "remove it; the keys here are " + ", ".join(known)
    return nearest(key, known)


def _choice(said: object, path: tuple[str | int, ...]) -> str:
    field = _field(path)
    if field is None:
        return "mend the value"
    schema = _adapter(field).json_schema()
    return nearest(str(said), _choices(schema))


def _choices(schema: object) -> set[str]:
    """Return every choice a JSON schema offers."""
    if isinstance(schema, list):
        return {choice for inner in schema for choice in _choices(inner)}
    if not isinstance(schema, dict):
        return set()
    found = {str(choice) for choice in schema.get("enum", ())}
    if "const" in schema:
        found.add(str(schema["const"]))
    return found.union(*(_choices(inner) for inner in schema.values()))


def _pattern(key: str, said: str) -> tuple[str, str]:
    if key != "wire":
        return f"`{said}` has not the form it needs", FORMS.get(key, "mend the text")
    two_ways = [
        two for part in said.upper().replace("/", " ").replace("-", " ").split() if (two := EITHER.get(part))
    ]
    if two_ways:
        return f"`{said}` may be either of two colours", f"look at the wire: {two_ways[0]}"
    codes = " ".join(COLOURS)
    guess = re.sub(r"[-/ ]", "", said.upper())
    parts = parted(guess)
    sound = len(parts) <= 2 and all(part in COLOURS for part in parts)
    advice = f"did you mean `{guess}`?" if sound else f"use {codes}, base then stripe, like GNWH (IEC 60757)"
    return f"`{said}` is not a wire colour", advice


def _bounds(details: ErrorDetails, path: tuple[str | int, ...], key: str) -> tuple[str, str]:
    bounds: dict[str, Any] = dict(details.get("ctx", {}))
    limit = next(iter(bounds.values()))
    words = {"ge": "least", "gt": "least", "le": "most", "lt": "most"}
    word = words[next(iter(bounds))]
    than = " and not that itself" if next(iter(bounds)) in ("gt", "lt") else ""
    unit = _unit(key)
    said = details["input"]
    reason = f"{said:g} is impossible here: the {word} is {limit:g}{' ' + unit if unit else ''}{than}"
    if key in ("channel", "partner"):
        return (
            reason,
            f"the box has outputs 1 to {OUTPUTS}: use a free one of them, or split the job over two boxes",
        )
    return reason, _slip(
        path, key, float(said)
    ) or f"write a value{f' in {unit}' if unit else ''} within that"


def _slip(path: tuple[str | int, ...], key: str, said: float) -> str | None:
    """Return what the value would be if it was written in another unit, where that makes it possible."""
    field = _field(path)
    if field is None:
        return None
    adapter = _adapter(field)
    for factor, unit in SLIPS.get(_ending(key, SLIPS), ()):
        try:
            adapter.validate_python(said * factor)
        except ValidationError:
            continue
        return f"it is in {_unit(key)}: if you meant {said:g} {unit}, write {said * factor:g}"
    return None


def _ending(key: str, table: dict[str, Any]) -> str:
    return max((end for end in table if f"_{key}".endswith(end)), key=len, default="")


def _unit(key: str) -> str:
    return UNITS.get(_ending(key, UNITS), "")


def _table(said: object, path: tuple[str | int, ...], key: str) -> tuple[str, str]:
    field = _field(path)
    wanted = None if field is None else _inner_model(field.annotation)
    if wanted is Quantity:
        value = f"{said:g}" if isinstance(said, int | float) else "..."
        remedy = f'write {{ value = {value}, tolerance_percent = 10, source = "..." }}'
        return f"{_show(said)} is not a value with its tolerance and source", remedy
    header = f"[[{key}]]" if path and isinstance(path[-1], int) else f"[{key}]"
    return f"{_show(said)} is not a table", f"write {header} and its keys below"
