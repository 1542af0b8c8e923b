"""One channel as every page shows it."""

from __future__ import annotations

from dataclasses import dataclass

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
    hazard: str = "none"
    live: Live = Live.OFF
    verdict: str = "not tested"
    measured: str = ""
    reason: str = ""
    fitted: bool = True
    cylinder: int | None = None
    role: str = ""
    """What it does at its cylinder: `fuel`, `spark` or empty."""
