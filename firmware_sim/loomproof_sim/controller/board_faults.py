"""Faults of the box itself: a driver that conducts whatever it is told, a current reading that is dead."""

import numpy as np

from loomproof_sim.controller.ports import Floats, PlantPort, Sample
from loomproof_sim.plant.plant import PinSample
from loomproof_sim.plant.spec import Drive

DEAD_A = -1.0
"""What a dead reading amounts to: far below the zero of every range."""


class FaultyBoard:
    """Stands between the controller and the loom, and does to both what a faulty board does.

    Args:
        plant: the loom.
    """

    def __init__(self, plant: PlantPort) -> None:
        self._plant = plant
        self._stuck: set[int] = set()
        self._dead: set[int] = set()

    def stick_driver(self, channel: int, drive: Drive, time_s: float) -> None:
        """Make a driver conduct from an instant on, whatever it is told."""
        self._plant.switch(channel, drive, time_s)
        self._stuck.add(channel)

    def deaden_current(self, channel: int) -> None:
        """Make a channel's current read as nothing at all, not even its zero."""
        self._dead.add(channel)

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        """Set what a channel's driver does."""
        if channel not in self._stuck:
            self._plant.switch(channel, drive, time_s)

    def sample(self, channel: int, time_s: float) -> Sample:
        """Return current, drain and supply voltage of a channel, as the board sees them."""
        sample = self._plant.sample(channel, time_s)
        return PinSample(DEAD_A, sample.drain_v, sample.supply_v) if channel in self._dead else sample

    def sample_many(self, channel: int, times_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Return currents, drain voltages and supply voltages at many times, as the board sees them."""
        current, drain, supply = self._plant.sample_many(channel, times_s)
        return (np.full_like(current, DEAD_A) if channel in self._dead else current), drain, supply

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        """Return the drain voltage of an undriven channel."""
        return self._plant.resting_drain_v(channel, time_s)
