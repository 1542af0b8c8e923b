"""What a pin-out's words say of a load: its catalogue type, or which it may be. Nothing is chosen in silence."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.pinout.words import consume, find, plain, words

SWITCHED_UNKNOWN = HazardClass.MOTION
"""Of a relay whose purpose the table does not say: something may move. An operator who knows better removes it."""


@dataclass(frozen=True)
class LoadReading:
    """A load read. `key` None: it is to be settled among `candidates` (none: any type of the catalogue)."""

    key: str | None
    why: str
    candidates: tuple[str, ...] = ()
    stated: bool = False
    """The table or a person named the type itself."""


@dataclass(frozen=True)
class HazardReading:
    """What driving the load may do, as far as the words say, and why."""

    hazard: HazardClass
    fuel_pump: bool
    why: str


@cache
def _named() -> dict[str, str]:
    """Return catalogue keys by how they are written out."""
    return {plain(key): key for key in CATALOGUE} | {plain(load.name): key for key, load in CATALOGUE.items()}


@cache
def _phrases() -> tuple[tuple[str, int], ...]:
    return tuple((phrase, index) for index, entry in enumerate(words()["loads"]) for phrase in entry["words"])


def names_a_load(text: str) -> bool:
    """Return whether a cell names a load."""
    found = plain(text)
    return found in _named() or bool(consume(found, _phrases()))


def read_load(load: str, name: str, settled: Mapping[str, str]) -> LoadReading:
    """Return what a row's load is.

    Args:
        load: The cell that names the load's type; may be empty.
        name: The cell that names the circuit.
        settled: Types that a person chose, by words; they settle only what the table leaves open.
    """
    named = _named().get(plain(load)) or (name.casefold() if name.casefold() in CATALOGUE else None)
    if named is not None:
        return LoadReading(named, f"`{load or name}` names the type", stated=True)
    reading = _by_words(plain(load), plain(name))
    if reading.key is None:
        for phrase, key in settled.items():
            fits = not reading.candidates or key in reading.candidates
            if fits and find(f"{plain(load)} {plain(name)}", [plain(phrase)]) is not None:
                return LoadReading(key, f"you said that `{phrase}` is {key}", reading.candidates, stated=True)
    return reading


def _by_words(load: str, name: str) -> LoadReading:
    text = f"{load} {name}"
    found = sorted(consume(text, _phrases()), key=lambda entry: text.find(entry[0]))
    if not found:
        said = f"`{load or name}`" if load or name else "an empty cell"
        return LoadReading(None, f"{said} says no load that is known")
    sets = [set(words()["loads"][label]["types"]) for _, label in found]
    allowed = set.intersection(*sets)
    listed = " and ".join(f"`{phrase}`" for phrase, _ in found)
    if not allowed:
        everything = _ordered(set.union(*sets))
        return LoadReading(None, f"{listed} point to different loads", everything)
    if len(allowed) == 1:
        key = next(iter(allowed))
        return LoadReading(key, f"{listed} can only be {CATALOGUE[key].name}", (key,))
    return LoadReading(None, f"{listed} may be any of {len(allowed)} types", _ordered(allowed))


def _ordered(keys: set[str]) -> tuple[str, ...]:
    return tuple(key for key in CATALOGUE if key in keys)


def not_an_output(load: str, name: str) -> str | None:
    """Return why a row is no output, or None where it may be one."""
    text = plain(f"{load} {name}")
    is_load = bool(consume(text, _phrases()))
    if find(text, words()["hazards"]["heat"]) is not None:
        return None  # also of a sensor: its heater is an output
    if plain(load) in _named() or plain(name) in _named():
        return None
    for entry in words()["not_outputs"]:
        found = find(text, [word for word in entry["words"] if f" {word} " in f" {text} "])
        if found is not None and (entry.get("always") or not is_load):
            return f"{entry['reason']} (`{found.phrase}`)"
    return None


def read_hazard(key: str, text: str) -> HazardReading:
    """Return the strictest hazard that a row's words allow, beside what the load type has already.

    Args:
        key: The load type.
        text: Everything the row says in words.
    """
    load = CATALOGUE[key]
    bare = plain(text)
    pump = load.fuel_pump
    why = []
    if not pump and LOAD_TRAITS[load.kind].runs_pump:
        named = pump_word(bare)
        if named and (says_fuel(bare) or find(bare, words()["pumps"]["not_fuel"]) is None):
            pump = True
            why.append(f"`{named}` may be the fuel pump")
    if load.hazard is not HazardClass.NONE:
        return HazardReading(HazardClass.NONE, pump, "; ".join(why))
    hazard, reason = _switched(load.kind, bare)
    if reason:
        why.append(reason)
    return HazardReading(hazard, pump, "; ".join(why))


def pump_word(bare: str) -> str:
    """Return the word of a plain text that names a pump, alone or in a compound, or nothing."""
    return next((word for word in bare.split() if any(pump in word for pump in words()["pumps"]["pump"])), "")


def says_fuel(bare: str) -> bool:
    """Return whether a plain text names fuel."""
    return find(bare, words()["hazards"]["fuel"]) is not None


def _switched(kind: LoadKind, bare: str) -> tuple[HazardClass, str]:
    if not LOAD_TRAITS[kind].commands:
        return HazardClass.NONE, ""
    for name, listed in words()["hazards"].items():
        found = find(bare, listed)
        if found is not None and name == "none":
            return HazardClass.NONE, ""
        if found is not None:
            return HazardClass(name), f"`{found.phrase}`: what it switches may hurt someone"
    if kind is not LoadKind.RELAY:
        return HazardClass.NONE, ""
    return SWITCHED_UNKNOWN, "the table does not say what the relay switches"
