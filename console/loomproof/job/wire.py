"""Resistance of the loom's copper: what is taken as nominal, how far sound wire strays from it.

Two published figures bracket a sound wire: it is never better than its full section of annealed copper
(1/58 ohm mm2/m at 20 degC, IEC 60028) and never worse than the largest value its standard lets through
(IEC 60228, class 5, plain). The nominal used here is the middle of the two and the tolerance half their
distance, about 6 to 8 percent, so that a verdict neither blames a wire that only just meets its standard nor
forgives more.

A section between the standard's rows, or below its smallest, has no published maximum here. It is then taken
as 1.16 times the ideal value, the largest such ratio in the rows used (1.5 and 2.5 mm2: 1.157), rounded up.
A section outside 0.13 to 16 mm2 is refused: the box neither fits nor needs it.
"""

from functools import lru_cache
from types import MappingProxyType

from loomproof.job.quantity import Quantity

IDEAL_OHM_MM2_PER_M = 1.0 / 58.0
"""Annealed copper at 20 degC, IEC 60028."""

CLASS_5_MAX_OHM_PER_M = MappingProxyType(
    {0.5: 0.0390, 0.75: 0.0260, 1.0: 0.0195, 1.5: 0.0133, 2.5: 0.00798, 4.0: 0.00495}
)
"""Largest resistance at 20 degC by nominal section in mm2, IEC 60228 class 5, plain copper."""

WORST_RATIO = 1.16
"""Maximum over ideal, taken where the standard has no row."""

SMALLEST_MM2 = 0.13
LARGEST_MM2 = 16.0

COLOURS = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR")
"""IEC 60757 letter codes. GNYE is the protective conductor's alone and takes no stripe."""

COLOUR_WORDS = MappingProxyType(
    {
        "BK": "black",
        "BN": "brown",
        "RD": "red",
        "OG": "orange",
        "YE": "yellow",
        "GN": "green",
        "BU": "blue",
        "VT": "violet",
        "GY": "grey",
        "WH": "white",
        "PK": "pink",
        "GD": "gold",
        "TQ": "turquoise",
        "SR": "silver",
        "GNYE": "green-and-yellow",
    }
)
"""What the codes stand for, IEC 60757."""

COLOUR_PATTERN = rf"^(?:(?:{'|'.join(COLOURS)})(?:/?(?:{'|'.join(COLOURS)}))?|GNYE)$"
"""Base colour, or base and stripe, joined as the standard does or with a slash between as loom drawings do."""
_PROTECTIVE = "GNYE"


def joined(code: str) -> str:
    """Return a colour's code as IEC 60757 writes it, base and stripe without a slash.

    Green with a yellow stripe keeps its slash: without it the code is that of a protective conductor.
    """
    bare = code.replace("/", "")
    return code if bare == _PROTECTIVE else bare


def parted(code: str) -> tuple[str, ...]:
    """Return the codes of base and stripe; of a protective conductor its one code."""
    if code == _PROTECTIVE:
        return (code,)
    bare = code.replace("/", "")
    return tuple(bare[at : at + 2] for at in range(0, len(bare), 2))


def colour_words(code: str) -> str:
    """Return a wire's colour in words, the stripe after the base: `green with white`."""
    return " with ".join(COLOUR_WORDS.get(part, part) for part in parted(code))


@lru_cache(maxsize=1024)
def wire_quantity(section_mm2: float, length_m: float) -> Quantity:
    """Return the resistance in ohm at 20 degC of a sound wire, with its tolerance.

    Args:
        section_mm2: Nominal conductor section, 0.13 to 16 mm2.
        length_m: Length, over 0 m.

    Raises:
        ValueError: The section is outside what this table covers.
    """
    if not SMALLEST_MM2 <= section_mm2 <= LARGEST_MM2:
        raise ValueError(f"no resistance is known for {section_mm2:g} mm2 (0.13 to 16 mm2 are)")
    ideal = IDEAL_OHM_MM2_PER_M / section_mm2
    worst = CLASS_5_MAX_OHM_PER_M.get(section_mm2)
    source = "between IEC 60028 and IEC 60228 class 5"
    if worst is None:
        worst = WORST_RATIO * ideal
        source = "between IEC 60028 and 1.16 times it; the section has no row in IEC 60228 class 5"
    nominal = (ideal + worst) / 2
    return Quantity(value=nominal * length_m, tolerance_percent=50 * (worst - ideal) / nominal, source=source)
