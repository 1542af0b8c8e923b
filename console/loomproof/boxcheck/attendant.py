"""The attendant: a person at the box, or a simulated one, who does what a case asks for."""

from enum import StrEnum
from typing import Protocol

from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import NotShown


class Act(StrEnum):
    """An act that a case asks for; the value is the sentence that a person reads."""

    PRESS_STOP = "Press the stop button and keep it pressed"
    RELEASE_STOP = "Release the stop button"
    SUPPLY_OFF = "Switch the supply of the loads off (leave the box's USB plugged in)"
    SUPPLY_ON = "Switch the supply on again"
    PULL = "Pull the connector of the load"
    SEAT = "Plug the connector of the load in again"


class Attendant(Protocol):
    """Someone at the box who carries out acts.

    Attributes:
        can: the needs that the attendant meets.
        patience_s: how long an act may take.
    """

    can: frozenset[Need]
    patience_s: float

    def do(self, act: Act, channel: int) -> None:
        """Carry out an act, or ask a person to, and return at once; `channel` names the load of PULL and SEAT."""


class NoAttendant:
    """Nobody is at the box."""

    can: frozenset[Need] = frozenset()
    patience_s = 0.0

    def do(self, act: Act, channel: int) -> None:
        """Refuse, since nobody is there."""
        raise NotShown(f"nobody is there to do this: {act.value}")
