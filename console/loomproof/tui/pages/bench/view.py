"""One channel on the bench as the page shows it: ways, settings, gauges, blocks."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.tui.views.prompt import CautionView


@dataclass(frozen=True)
class WayView:
    """One way to drive a channel; `blocked` says why it cannot be used, empty: it can."""

    key: str
    label: str
    blocked: str = ""


@dataclass(frozen=True)
class SettingView:
    """One setting of a free drive: what stands in its field, its range, what sets that, what is wrong."""

    key: str
    label: str
    unit: str = ""
    text: str = ""
    limits: str = ""
    why: str = ""
    problem: str = ""
    problem_short: str = ""
    """What is wrong in the few words that fit beside the field."""
    choices: tuple[tuple[str, str], ...] = ()
    """(text, word) of each; empty: a number is typed."""


@dataclass(frozen=True)
class GaugeView:
    """One gauge: how full it is now and after the drive, 1 being full; None: words alone."""

    label: str
    now: float | None = None
    after: float | None = None
    word: str = ""
    text: str = ""


@dataclass(frozen=True)
class BenchView:
    """One channel on the bench."""

    channel: int
    way: str
    ways: tuple[WayView, ...] = ()
    settings: tuple[SettingView, ...] = ()
    problem: str = ""
    """What is wrong with the settings together."""
    blocks: tuple[tuple[str, str], ...] = ()
    """(what blocks it, how to unblock it)."""
    gauges: tuple[GaugeView, ...] = ()
    cautions: tuple[CautionView, ...] = ()
    summary: str = ""
    values: tuple[tuple[str, float], ...] = ()
    """The settings as numbers."""
    ready: bool = False
    """Within every limit; it may still be blocked."""
