"""The hardware as the controller sees it: the loom behind the pins, and the drivers."""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.plant.spec import Drive

Floats = NDArray[np.float64]
NEVER_NS = 2**63 - 1
"""A time that never comes."""


class Sample(Protocol):
    """One pin at one instant."""

    @property
    def current_a(self) -> float:
        """Current into the driver's drain."""

    @property
    def drain_v(self) -> float:
        """Voltage from pin to ground."""

    @property
    def supply_v(self) -> float:
        """Voltage at the box's supply terminals."""


class PlantPort(Protocol):
    """The loom behind the pins, sampled and switched at instants in seconds.

    Switching never goes back in time. Sampling changes nothing: any instant since the last switch may be
    sampled, in any order. So samples are taken in blocks, after the fact, and a sample over the current limit
    switches the driver off at its own instant, as a comparator would have done.
    """

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        """Set what a channel's driver does from an instant on."""

    def sample(self, channel: int, time_s: float) -> Sample:
        """Return current, drain and supply voltage of a channel."""

    def sample_many(self, channel: int, times_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Return currents, drain voltages and supply voltages at many times."""

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        """Return the drain voltage of an undriven channel."""


class Outputs:
    """The only place that switches a driver."""

    def __init__(self, plant: PlantPort, channel_count: int) -> None:
        self.plant = plant
        self._drives = dict.fromkeys(range(1, channel_count + 1), Drive.OFF)

    def set(self, channel: int, drive: Drive, time_ns: int) -> None:
        """Switch one driver at an exact time."""
        self.plant.switch(channel, drive, time_ns / 1e9)
        self._drives[channel] = drive

    def all_off(self, time_ns: int) -> None:
        """Switch every driver off that is not off."""
        for channel, drive in self._drives.items():
            if drive is not Drive.OFF:
                self.set(channel, Drive.OFF, time_ns)

    def drive(self, channel: int) -> Drive:
        """Return what a channel's driver does."""
        return self._drives[channel]

    @property
    def any_on(self) -> bool:
        """Whether any driver conducts."""
        return any(drive is not Drive.OFF for drive in self._drives.values())
