"""Limits of a sound quantity, and the constants that several rooms of diagnosis share."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

TERMINALS_OHM = 0.05  # all crimps and pins of one circuit, sound; common practice, no source
WARM_FILAMENT = 1.3  # a small filament cools for seconds after the look before; common practice, no source
FINE_SOURCE_U_OHM = 0.06  # standard uncertainty up to which a supply's resistance can be passed; judgment

# Two rates of false alarm, one-sided, for limits that come from statistics and not from a tolerance: beyond the
# first a value is no longer passed, beyond the second it is failed.
DOUBT_RATE = 5e-3
FAIL_RATE = 2e-4


class Among(StrEnum):
    """What the middle of a band is the middle of."""

    CATALOGUE = "the catalogue"
    SISTERS = "its sisters"
    EARLIER_RECORD = "its own earlier record"


@dataclass(frozen=True)
class LimitBand:
    """Limits of a sound quantity, its middle, and how uncertain the limits themselves are (one sigma).

    Between `high` and `high` + `doubt`, and between `low` and `low` - `doubt_below`, lies what has an innocent
    explanation, but no proof of it: never a pass, never a fail.

    Attributes:
        same_scale: the limits were measured with the same scale as the value, whose error cancels.
        among: what the middle is the middle of.
        statistical: the limits are those of a prediction that already holds the measurement's own uncertainty, so
            no guard band is added.
    """

    low: float
    high: float
    middle: float
    u: float
    source: str
    doubt: float = 0.0
    doubt_below: float = 0.0
    same_scale: bool = False
    among: Among = Among.CATALOGUE
    statistical: bool = False
