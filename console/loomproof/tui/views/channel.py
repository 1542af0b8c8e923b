"""One channel as every page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.kinds import HazardClass
from loomproof.facts.verdict import Verdict
from loomproof.tui.words import Live


@dataclass(frozen=True)
class ChannelView:
    """One channel's strip."""

    channel: int
    name: str
    load: str
    cavity: str
    wire: str
    location: str
    feed: str = ""
    hazard: HazardClass = HazardClass.NONE
    live: Live = Live.OFF
    verdict: Verdict = Verdict.NOT_TESTED
    measured: str = ""
    reason: str = ""
    fitted: bool = True
    cylinder: int | None = None
    role: str = ""
    """The letter of its mark at its cylinder, `I` or `S`; empty: it has none."""
