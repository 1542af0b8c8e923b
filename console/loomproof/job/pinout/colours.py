"""Wire colours as shops write them, to IEC 60757: codes, words of several languages, older abbreviations."""

import re
from dataclasses import dataclass
from functools import cache

from loomproof.job.pinout.words import plain, words
from loomproof.job.wire import COLOURS, joined

FILLERS = {
    "with",
    "stripe",
    "striped",
    "tracer",
    "mit",
    "streifen",
    "und",
    "and",
    "et",
    "bande",
    "raya",
    "con",
}
AND = {"y", "e"}
"""`And` in Spanish and Italian; as one of two words each may also stand for a colour."""
GREEN_YELLOW = "GNYE"


@dataclass(frozen=True)
class ColourReading:
    """A colour read: the code, or why there is none; `note` says how it was read where that is not plain."""

    code: str | None
    note: str = ""
    reason: str = ""
    remedy: str = ""


@cache
def _by_word() -> dict[str, str]:
    return {word: code for code, listed in words()["colours"].items() for word in listed}


def is_german(cells: tuple[str, ...]) -> bool:
    """Return whether a column is written in the two-letter codes of German drawings."""
    alone = set(words()["german_codes"]["german_alone"])
    return any(token in alone for cell in cells for token in _tokens(cell))


def _tokens(text: str) -> list[str]:
    tokens = [token for token in plain(re.sub(r"\d+", " ", text)).split() if token not in FILLERS]
    return [token for token in tokens if token not in AND] if len(tokens) == 3 else tokens


def looks_like_colour(text: str) -> bool:
    """Return whether a cell is a wire colour, in any way of writing."""
    tokens = _tokens(text)
    german = words()["german_codes"]["codes"]
    known = all(
        _token(token) is not None or token in german or token in words()["colours_unclear"]
        for token in tokens
    )
    return 0 < len(tokens) <= 2 and known and not re.search(r"\d", text)


def _token(token: str) -> str | None:
    upper = token.upper()
    if upper in COLOURS:
        return upper
    return _by_word().get(token)


def read_colour(text: str, *, german: bool = False) -> ColourReading:
    """Return the IEC 60757 code of a cell, base then stripe.

    Args:
        text: The cell.
        german: Its column is written in German two-letter codes.
    """
    if text.strip().upper() == GREEN_YELLOW:
        return ColourReading(GREEN_YELLOW)
    tokens = _split(_tokens(text), german)
    remedy = "write IEC 60757 codes, base then stripe, like GNWH: " + " ".join(COLOURS)
    if not tokens or len(tokens) > 2:
        return ColourReading(None, reason=f"`{text}` is not a wire colour", remedy=remedy)
    codes = []
    for token in tokens:
        code = words()["german_codes"]["codes"].get(token) if german else None
        code = code or _token(token) or words()["german_codes"]["codes"].get(_alone(token), None)
        if code is None:
            may_be = words()["colours_unclear"].get(token, [])
            if len(may_be) != 1:
                return _unclear(text, token, may_be, remedy)
            code = may_be[0]
        codes.append(code)
    said = joined("/".join(codes))
    written = text.strip().upper() == said
    return ColourReading(said, "" if written else f"`{text}` read as {said}")


def _alone(token: str) -> str:
    return token if token in words()["german_codes"]["german_alone"] else ""


def _unclear(text: str, token: str, may_be: list[str], remedy: str) -> ColourReading:
    if may_be:
        return ColourReading(
            None, reason=f"`{text}`: `{token}` can mean {' or '.join(may_be)}", remedy=remedy
        )
    return ColourReading(None, reason=f"`{text}` is not a wire colour", remedy=remedy)


def _split(tokens: list[str], german: bool) -> list[str]:
    """Part a pair of codes written together: `GNWH`, `swrt`."""
    if len(tokens) != 1 or len(tokens[0]) != 4 or _token(tokens[0]) is not None:
        return tokens
    halves = [tokens[0][:2], tokens[0][2:]]
    codes = words()["german_codes"]["codes"]
    sound = all(half.upper() in COLOURS or (german and half in codes) for half in halves)
    return halves if sound else tokens
