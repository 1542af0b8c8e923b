"""Cells of a pin-out table to values: numbers with decimal comma and unit, cavities, sections, lengths, yes and no."""

import math
import re
from collections.abc import Container
from dataclasses import dataclass
from typing import Generic, TypeVar

from loomproof.job.pinout.words import plain, words
from loomproof.job.wire import LARGEST_MM2, SMALLEST_MM2

T = TypeVar("T")
NUMBER = re.compile(r"^([+-]?[\d][\d .,'’]*?)\s*([^\d\s.,'’][^\d]*[²2]?)?$")
METRES = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "in": 0.0254,
    "inch": 0.0254,
    '"': 0.0254,
    "ft": 0.3048,
    "'": 0.3048,
}
"""Length units to metres; inch and foot are exact (international yard and pound agreement, 1959)."""
LONGEST_M = 60.0
SECTION_UNITS = ("", "mm2", "mm²", "sqmm", "qmm", "mm^2", "mm")
CAVITY_WORDS = r"(?:pin|cavity|cav|kammer|kontakt|klemme|terminal|broche|position|pos|no|nr)\b\.?\s*"
FULL_CAVITY = re.compile(r"^([A-Za-z0-9][A-Za-z0-9_.+]*)-0*([1-9]\d*)$")
PARTED_CAVITY = re.compile(r"^([A-Za-z]+\d*)[\s./:_]+0*([1-9]\d*)$")
LETTER_CAVITY = re.compile(r"^([A-Za-z]{1,2})0*([1-9]\d*)$")
NAME = re.compile(r"^[A-Za-z0-9][A-Za-z0-9_.+]{0,39}$")
DEFAULT_CONNECTOR = "H1"


@dataclass(frozen=True)
class Read(Generic[T]):
    """A value read; None with a reason and a remedy: it could not be. `note`: how, where that is not plain."""

    value: T | None
    note: str = ""
    reason: str = ""
    remedy: str = ""


def number(text: str) -> tuple[float, str] | None:
    """Return a number and its unit; comma or point decides decimals, the last of them where both stand."""
    found = NUMBER.match(text.strip())
    if found is None:
        return None
    digits = re.sub(r"[ '’]", "", found[1])
    last = max(digits.rfind(","), digits.rfind("."))
    if digits.count(",") + digits.count(".") > 1 and digits[last] in digits[:last]:
        return None  # 1.234.567: not a length or a section
    if last >= 0:
        digits = re.sub(r"[.,]", "", digits[:last]) + "." + digits[last + 1 :]
    try:
        value = float(digits)
    except ValueError:
        return None
    return value, (found[2] or "").strip().casefold()


def slug(text: str, default: str) -> str:
    """Return an id for a name: small letters, digits and _."""
    return plain(text).replace(" ", "_")[:40].strip("_") or default


def fresh_id(base: str, taken: Container[str]) -> str:
    """Return an id that is not taken: this one, else with the first number that makes it new."""
    found, count = base, 2
    while found in taken:
        found, count = f"{base[:36]}_{count}", count + 1
    return found


def awg_mm2(gauge: int) -> float:
    """Return the section of an American wire gauge in mm2: diameter 0.127 mm * 92^((36 - n) / 39) (ASTM B258)."""
    diameter_mm = 0.127 * float(92 ** ((36 - gauge) / 39))
    return math.pi / 4 * diameter_mm * diameter_mm


def read_section(text: str, heading: str = "") -> Read[float]:
    """Return a wire's section in mm2."""
    gauge = re.match(r"^(?:awg\s*#?|#)\s*(\d{1,2})$|^(\d{1,2})\s*(?:awg|ga|gauge)$", text.strip().casefold())
    bare = re.match(r"^(\d{1,2})$", text.strip()) if "awg" in plain(heading).split() else None
    if gauge or bare:
        size = int(next(group for group in (gauge or bare).groups() if group))  # type: ignore[union-attr]
        value = round(awg_mm2(size), 3)
        note = f"AWG {size} is {value:g} mm2 (ASTM B258)"
    else:
        read = number(text)
        if read is None or read[1] not in SECTION_UNITS:
            return Read(
                None, "", f"`{text}` is not a section", "write mm2, such as 0.75, or a gauge, such as 18 AWG"
            )
        value, note = read[0], ""
    if not SMALLEST_MM2 <= value <= LARGEST_MM2:
        remedy = f"write {SMALLEST_MM2:g} to {LARGEST_MM2:g} mm2"
        if not note and 8 <= value <= 26 and value == int(value):
            remedy += f"; if it is a gauge, write {value:g} AWG"
        return Read(None, "", f"{value:g} mm2 is no section the job file takes", remedy)
    return Read(value, note)


def read_length(text: str, heading: str = "") -> Read[float]:
    """Return a wire's length in m; a cell without a unit takes its heading's, else metres."""
    read = number(text)
    if read is None or (read[1] and read[1] not in METRES):
        return Read(None, "", f"`{text}` is not a length", "write metres, such as 1.8, or a unit: 1800 mm")
    unit = read[1] or next((word for word in plain(heading).split() if word in METRES and word != "in"), "m")
    if unit == "mm" and re.match(r"^[1-9]\d*[.,]\d{3}(?!\d)", text.strip()):
        whole = re.sub(r"[.,]", "", text, count=1)
        return Read(None, "", f"`{text}` mm may be {read[0]:g} or {whole} mm", "write it without the mark")
    value = round(read[0] * METRES[unit], 6)
    if not 0 < value <= LONGEST_M:
        remedy = f"write over 0 to {LONGEST_M:g} m" + (
            "; if it is in mm, write the unit" if unit == "m" else ""
        )
        return Read(None, "", f"{value:g} m is no length of a loom's wire", remedy)
    return Read(
        value, "" if unit == "m" else f"{text} {'' if read[1] else unit} is {value:g} m".replace("  ", " ")
    )


def read_channel(text: str) -> Read[int]:
    """Return an output of the box, 1 to 16."""
    found = re.match(r"^(?:[a-z]+\s*\.?\s*)?0*(\d+)(?:\.0)?$", text.strip().casefold())
    if found is None or not 1 <= int(found[1]) <= 16:
        return Read(None, "", f"`{text}` is no output of the box", "write 1 to 16, or leave it empty")
    return Read(int(found[1]))


def read_cavity(text: str, connector: str) -> Read[tuple[str, int]]:
    """Return connector id and cavity number of a cell.

    Args:
        text: The cell.
        connector: Id of the connector that the row or a heading above it names; empty: none does.
    """
    bare = re.sub(f"^{CAVITY_WORDS}", "", text.strip(), flags=re.IGNORECASE)
    digits = re.match(r"^0*([1-9]\d*)(?:[.,]0)?$", bare)
    if digits:
        return Read((connector or DEFAULT_CONNECTOR, int(digits[1])))
    for pattern in (FULL_CAVITY, PARTED_CAVITY, LETTER_CAVITY):
        found = pattern.match(bare)
        if found is None:
            continue
        name, at = found[1], int(found[2])
        if connector and name.casefold() != connector.casefold():
            name = f"{connector}.{name}"
        elif connector:
            name = connector
        note = "" if f"{name}-{at}" == text.strip() else f"`{text}` read as cavity {at} of connector {name}"
        return Read((name, at), note)
    remedy = "write connector id, hyphen, cavity number, such as H1-14"
    return Read(None, "", f"`{text}` is not a cavity", remedy)


def read_yes_no(text: str) -> Read[bool]:
    """Return yes or no."""
    word = plain(text)
    for name, value in (("yes", True), ("no", False)):
        if word in words()["yes_no"][name]:
            return Read(value)
    return Read(None, "", f"`{text}` is neither yes nor no", "write yes or no, or leave it empty")


def looks_like_cavity(text: str) -> bool:
    """Return whether a cell is a cavity."""
    return len(text) <= 16 and read_cavity(text, "").value is not None


def looks_like_section(text: str) -> bool:
    """Return whether a cell is a wire's section and not merely a whole number."""
    whole = re.match(r"^\d+$", text.strip()) is not None
    return read_section(text).value is not None and (not whole or int(text) in (1, 2, 4, 6, 10, 16))


def looks_like_length(text: str) -> bool:
    """Return whether a cell is a length."""
    read = number(text)
    return read is not None and (read[1] == "" or read[1] in METRES) and read[0] > 0


def looks_like_channel(text: str) -> bool:
    """Return whether a cell is an output of the box."""
    return read_channel(text).value is not None
