"""The hands at the box: what a case may ask of whoever stands there."""

from enum import StrEnum
from typing import Protocol

from loomproof.boxcheck.errors import NotShown
from loomproof.boxcheck.need import Need


class Act(StrEnum):
    """What hands do when a case asks; the value is what a person is told."""

    PRESS_STOP = "Press the stop button and keep it pressed"
    RELEASE_STOP = "Release the stop button"
    SUPPLY_OFF = "Switch the supply of the loads off (leave the box's USB plugged in)"
    SUPPLY_ON = "Switch the supply on again"
    PULL = "Pull the connector of the load"
    SEAT = "Plug the connector of the load in again"


class Hands(Protocol):
    """Whoever stands at the box. `can` are the needs they meet, `patience_s` how long an act may take."""

    can: frozenset[Need]
    patience_s: float

    def do(self, act: Act, channel: int) -> None:
        """Do it, or ask a person to; returns at once. `channel` names the load of PULL and SEAT."""


class NoHands:
    """Nobody stands at the box."""

    can: frozenset[Need] = frozenset()
    patience_s = 0.0

    def do(self, act: Act, channel: int) -> None:
        """Nobody does it."""
        raise NotShown(f"nobody is there to do this: {act.value}")
