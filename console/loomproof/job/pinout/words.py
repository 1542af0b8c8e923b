"""The words of pin-out tables, read once from `words.toml` beside this file, and how words are compared."""

import re
import tomllib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

STEM = 5
"""Words this long or longer are also found inside a compound: `farbe` in `Leitungsfarbe`."""


def plain(text: str) -> str:
    """Return text without case, accents and punctuation, words parted by one blank."""
    folded = unicodedata.normalize("NFKD", text.casefold().replace("²", "2"))
    bare = "".join(char for char in folded if not unicodedata.combining(char)).replace("ł", "l")
    return " ".join(re.findall(r"[a-z0-9]+", bare))


@cache
def words() -> dict[str, Any]:
    """Return the word lists."""
    return tomllib.loads(files("loomproof.job.pinout").joinpath("words.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class PhraseMatch:
    """A phrase that was found: its words, how many of the text's words it took, whether it stood on its own."""

    phrase: str
    size: int
    whole: bool


def find(text: str, phrases: Iterable[str]) -> PhraseMatch | None:
    """Return the longest phrase in a text (both plain): as words of its own, else within a compound word."""
    padded = f" {text} "
    best: PhraseMatch | None = None
    for phrase in phrases:
        if f" {phrase} " in padded:
            found = PhraseMatch(phrase, phrase.count(" ") + 1, whole=True)
        elif len(phrase) >= STEM and " " not in phrase and phrase in text:
            found = PhraseMatch(phrase, 1, whole=False)
        else:
            continue
        if best is None or (found.whole, found.size, len(found.phrase)) > (
            best.whole,
            best.size,
            len(best.phrase),
        ):
            best = found
    return best


def consume(text: str, labelled: Iterable[tuple[str, int]]) -> list[tuple[str, int]]:
    """Return (phrase, label) of the phrases in a plain text, longest first, no word used twice."""
    rest = f" {text} "
    found: list[tuple[str, int]] = []
    for phrase, label in sorted(labelled, key=lambda entry: (-len(entry[0]), entry[0])):
        compound = len(phrase) >= STEM and " " not in phrase and phrase in rest
        if f" {phrase} " in rest:
            rest = rest.replace(f" {phrase} ", " | ")
        elif compound:
            rest = rest.replace(phrase, "|")
        else:
            continue
        found.append((phrase, label))
    return found
