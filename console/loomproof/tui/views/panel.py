"""What the status bar shows: the link, the supply, the arming, the stop."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.kinds import HazardClass


class LinkState(StrEnum):
    """Whether the box answers."""

    CONNECTING = "connecting"
    LIVE = "live"
    LOST = "LOST"
    NONE = "no box"


class BoxActivity(StrEnum):
    """What the box does."""

    UNKNOWN = ""
    IDLE = "idle"
    DRIVING = "driving"
    SENSING = "sensing"
    STOPPED = "stopped"


@dataclass(frozen=True)
class Armed:
    """One hazard class with its arming; `left_s` 0 means blocked."""

    hazard: HazardClass
    left_s: float = 0.0


@dataclass(frozen=True)
class PanelView:
    """What the status bar shows: the link, the supply, what is armed and whether the box is stopped."""

    link: LinkState = LinkState.NONE
    box_name: str = ""
    simulated: bool = False
    supply_v: float | None = None
    state: BoxActivity = BoxActivity.UNKNOWN
    stopped: bool = False
    stop_reason: str = ""
    stop_input_open: bool = False
    armed: tuple[Armed, ...] = ()
    isolation_left_s: float | None = None
    """Seconds the fuel-isolation statement still holds; None: no such statement."""
    driving_channel: int = 0
    held: bool = False
    """The channel that is watched is held on meanwhile: it is driven."""
    tripped: tuple[int, ...] = ()
    waiting: str = ""
    """A question that waits for an answer, in a few words; empty: none."""
    reading: bool = False
    """This console only reads and senses: it is in a browser."""
    fuel: bool = True
    """A channel of the job may let fuel out, so that its isolation is of interest."""
