"""The words of a verdict, and what one carries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.estimate import Estimate


class Verdict(StrEnum):
    """What is said of one property of one channel."""

    PASS = "pass"
    FAIL = "fail"
    UNSURE = "unsure"
    NOT_TESTED = "not tested"
    NOT_FITTED = "not fitted"


class Property(StrEnum):
    """What a verdict is about."""

    CONTINUITY = "continuity"
    RESISTANCE = "resistance"
    INDUCTANCE = "inductance"
    ACTION = "action"
    SUPPRESSION = "suppression"
    INRUSH = "inrush"
    FEED = "feed"
    LOCATION = "location"
    CONTACT = "contact"


@dataclass(frozen=True)
class PropertyVerdict:
    """One property of one channel against its limits.

    `limit_source` says where the limits come from. `log_odds` is the natural logarithm of how much likelier the value is
    with a fault that matters than without one (Bayes factor), where the verdict rests on that; `least_joint_ohm` the
    smallest added resistance that would not be passed in 99 of 100 such circuits.
    """

    channel: int
    property: Property
    verdict: Verdict
    measured: Estimate | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    limit_source: str = ""
    reason: str = ""
    log_odds: float | None = None
    least_joint_ohm: float | None = None


_NEEDED = (Property.CONTINUITY, Property.RESISTANCE, Property.ACTION, Property.CONTACT)


def channel_verdict(verdicts: Iterable[PropertyVerdict], channel: int) -> Verdict:
    """The verdict of a whole channel: its worst property.

    Any fail fails it; else any unsure leaves it unsure; a channel that was looked at but not driven
    (continuity, resistance or action not tested), or whose contact could not be watched while the loom was
    flexed, is `not tested`, however sound it looked.
    """
    own = [v for v in verdicts if v.channel == channel]
    found = {v.verdict for v in own}
    for worst in (Verdict.NOT_FITTED, Verdict.FAIL, Verdict.UNSURE):
        if worst in found:
            return worst
    tested = {v.property for v in own if v.verdict is Verdict.PASS}
    if any(v.property in _NEEDED and v.verdict is Verdict.NOT_TESTED for v in own):
        return Verdict.NOT_TESTED
    return Verdict.PASS if Property.CONTINUITY in tested else Verdict.NOT_TESTED
