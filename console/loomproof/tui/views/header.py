"""A header's face, with what is in its cavities."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.verdict import Verdict
from loomproof.tui.words import Live


@dataclass(frozen=True)
class CavityView:
    """One cavity of a header: what is in it, as far as the job says."""

    number: int
    wire: str = ""
    channel: int | None = None
    name: str = ""
    feed: str = ""
    """Terminal number of the feed that enters here (DIN 72552), empty: none."""
    verdict: Verdict = Verdict.NOT_TESTED
    live: Live = Live.OFF
    colours: str = ""
    """The wire's colour in words."""


@dataclass(frozen=True)
class HeaderView:
    """A header's face. `rows` holds cavity numbers from the top left, 0 where there is no cavity."""

    id: str
    name: str
    rows: tuple[tuple[int, ...], ...]
    seen_from: str = ""
    """`mating` or `wire`, the side that `rows` are seen from; empty: the job does not say."""
    cavities: tuple[CavityView, ...] = ()
    """Those in use."""
