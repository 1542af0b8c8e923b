"""Frozen snapshots of the wiggle page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Lane:
    """One channel on the strip chart, in seconds since the test began.

    Attributes:
        spans: when it was watched; an open end is the present.
        dips: (at, length in s, depth 0..1) of each dropout.
    """

    channel: int
    label: str
    spans: tuple[tuple[float, float], ...] = ()
    dips: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class DropoutRow:
    """One dropout for the list."""

    number: int
    channel: int
    at_s: float
    length_ms: float
    depth_percent: float
    hand: str


@dataclass(frozen=True)
class WiggleView:
    """The wiggle test as the page shows it. `now_s` counts from its beginning, when the view was made."""

    running: bool = False
    held: bool = False
    watching: int | None = None
    channels: tuple[int, ...] = ()
    lanes: tuple[Lane, ...] = ()
    rows: tuple[DropoutRow, ...] = ()
    hand: str = ""
    now_s: float = 0.0
    said: str = ""
    ok: bool = True
    fresh: int = 0
    """Dropouts that are new in this view; each is a tick."""
