"""One finding as the page shows it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FindingEntry:
    """One finding as the page shows it."""

    title: str
    sentence: str
    likelihood: str
    where: str
    evidence: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    remedy: str = ""
    next_measurement: str = ""
