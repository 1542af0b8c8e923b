"""The engine as it lies, with what is proven at each cylinder."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.verdict import Verdict
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.words import Live


@dataclass(frozen=True)
class CylinderView:
    """One cylinder: where it lies and what is proven there."""

    number: int
    bank: int
    place: int
    """Position along its bank, 0 at the end numbering starts from."""
    marks: tuple[tuple[str, Verdict | Live], ...] = ()
    """(role letter, verdict; while it is driven or tripped, that) of each load at this cylinder."""
    live: bool = False


@dataclass(frozen=True)
class EngineView:
    """The engine as it lies."""

    cylinders: tuple[CylinderView, ...] = ()
    layout: str = "none"
    banks: int = 1
    orientation: str = "lengthwise"
    numbering: str = ""
    firing_order: tuple[int, ...] = ()
    start_text: str = ""
    """What lies at the end where cylinder 1 is, e.g. `belts (free end)`."""
    end_text: str = ""
    elsewhere: tuple[ChannelView, ...] = ()
