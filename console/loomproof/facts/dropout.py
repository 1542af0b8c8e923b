"""One break of a watched load."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class SeenDropout:
    """One break.

    Attributes:
        start_s: from the first sample.
        length_s: how long the value was down by more than half of `depth`. A winding stretches a short break: its
            current needs its own time to come back.
        depth: largest fall as a share of what was due, 0 to 1; the mean over `length_s` where noise is not far below.
        strength: sigma of the filter that saw it best.
        seen_by: that filter.
        lasting: the value did not come back; the watch ended, or it was taken as the load's new value.
    """

    start_s: float
    length_s: float
    depth: float
    strength: float
    seen_by: str
    lasting: bool = False


class Watched(StrEnum):
    """What is followed."""

    CURRENT = "current"  # of a load that is held on, A
    PIN = "pin"  # distance of the resting pin from the bias, V
