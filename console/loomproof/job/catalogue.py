"""The load types every job may use, read once from `catalogue.toml` beside this file.

A catalogue value covers the sound parts of the trade, so its tolerance is wide; a job that knows its parts
better says so with an override or with a load type of its own.
"""

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from types import MappingProxyType

from loomproof.job.load_type import DriveLimits, LoadType, PeakHold, Train

__all__ = ["CATALOGUE", "DriveLimits", "LoadType", "PeakHold", "Train"]


def _read() -> Mapping[str, LoadType]:
    text = files("loomproof.job").joinpath("catalogue.toml").read_text(encoding="utf-8")
    entries = [LoadType.model_validate(entry) for entry in tomllib.loads(text)["loads"]]
    return MappingProxyType({entry.key: entry for entry in entries})


CATALOGUE: Mapping[str, LoadType] = _read()
"""Load types by key, in the order of the file."""
