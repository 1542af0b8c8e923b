"""Traces as they are drawn, and what cursors read from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Curve:
    """One trace as it is drawn. Both sequences have the same length."""

    label: str
    times_s: Sequence[float]
    values: Sequence[float]
    kind: int = -1
    """0 newest, 1 an earlier one, 2 a like load's: how it is drawn; -1: by its place in the view."""


@dataclass(frozen=True)
class TraceBand:
    """The expected range of a trace. All three sequences have the same length."""

    times_s: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    label: str = "expected"


@dataclass(frozen=True)
class TraceView:
    """Curves to be drawn over one another, the first being the newest measured one."""

    title: str = ""
    curves: tuple[Curve, ...] = ()
    band: TraceBand | None = None
    unit: str = "A"
    channel: int | None = None
    reading: str = ""
    on_time_s: float = 0.0
    """Length of the pulse, 0: unknown."""


@dataclass(frozen=True)
class ReadingView:
    """What cursors read: (name, value in words)."""

    rows: tuple[tuple[str, str], ...] = ()
