"""Circuits that no job may have as a channel: restraint systems and high voltage, by what they are called (pure).

One list, `refused_circuits.toml`, and one function that reads it; whatever makes a job asks here.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any

from loomproof.job.pinout.words import STEM, plain

LOW_VOLTAGE_V = 60.0
"""Most that counts as low voltage on a vehicle: class A of ISO 6469-3 and UN Regulation 100 (from memory)."""
_VOLTS = re.compile(r"\b(\d{2,4}) ?v(?:olts?|dc|ac)?\b")
_UMLAUT = re.compile(r"([aou])e")
_CASE = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])|(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])")


class Danger(StrEnum):
    """Why a circuit is refused."""

    RESTRAINT = "restraint"
    HIGH_VOLTAGE = "high_voltage"


REASON: Mapping[Danger, str] = {
    Danger.RESTRAINT: "names a restraint or pyrotechnic circuit; the shortest pulse of this box can fire one",
    Danger.HIGH_VOLTAGE: "names a high-voltage circuit; this box must neither touch nor switch one",
}
REMEDY: Mapping[Danger, str] = {
    Danger.RESTRAINT: "take it out of the job, leave its connector unplugged from the box and its work to trained persons; "
    "if it is something else, name it in full",
    Danger.HIGH_VOLTAGE: "take it out of the job and leave it to persons qualified for high-voltage vehicles; "
    "if it is something else, name it in full",
}


@dataclass(frozen=True, slots=True)
class RefusedCircuit:
    """What is refused, and by which word."""

    danger: Danger
    word: str

    @property
    def reason(self) -> str:
        """Why, in words."""
        return f"`{self.word}` {REASON[self.danger]}"

    @property
    def remedy(self) -> str:
        """What to do, in words."""
        return REMEDY[self.danger]


@cache
def refused_words() -> tuple[dict[str, Any], ...]:
    """Return the entries of the list."""
    text = files("loomproof.job").joinpath("refused_circuits.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["refused"])


def refused_circuit(*texts: str, sparks: bool = False) -> RefusedCircuit | None:
    """Return what a name says of a circuit that is refused, or None.

    Args:
        *texts: The name as somebody wrote it, or the cells of its row: words may come from several, a voltage stands
            in one (cavity 61 beside a name that begins with V is none).
        sparks: The load is an ignition coil: its secondary's high voltage is no reason.
    """
    return next(_refusals(texts, sparks), None)


def _refusals(texts: Sequence[str], sparks: bool) -> Iterator[RefusedCircuit]:
    text = " ".join(texts)
    spellings = (plain(text), plain(_CASE.sub(" ", text)))
    for way in dict.fromkeys((*spellings, *(_UMLAUT.sub(r"\1", way) for way in spellings))):
        for entry in refused_words():
            if (sparks and entry.get("of_coils")) or any(
                _holds(way, word) for word in entry.get("unless", ())
            ):
                continue
            found = _found(way, entry)
            if found:
                yield RefusedCircuit(Danger(entry["danger"]), found)
    found_v = (match for one in texts for match in _VOLTS.finditer(plain(one)))
    volts = [match for match in found_v if float(match[1]) > LOW_VOLTAGE_V]
    if volts and not sparks:
        yield RefusedCircuit(Danger.HIGH_VOLTAGE, volts[0][0])


def _found(way: str, entry: dict[str, Any]) -> str:
    word = next((word for word in entry.get("words", ()) if _holds(way, word)), "")
    word = word or next((word for word in way.split() if word.startswith(tuple(entry.get("begins", ())))), "")
    groups = entry.get("together", ())
    if word or not groups:
        return word
    parts = [next((part for part in group if _holds(way, part)), "") for group in groups]
    return " ".join(parts) if all(parts) else ""


def _holds(way: str, word: str) -> bool:
    return f" {word} " in f" {way} " or (len(word) >= STEM and " " not in word and word in way)
