"""How a load is driven: the shape of the drive and its pulses."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class DriveShape(StrEnum):
    """How a load is driven."""

    TRAIN = "train"
    HOLD = "hold"
    PEAK_HOLD = "peak and hold"
    BRIDGE = "bridge"
    STEPPER = "stepper"


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """How a step means to drive its load; budgets may lower it when the supply is known.

    `channels` are all outputs used: one, or two of a bridge, or four of a stepper in the order of its steps.
    """

    shape: DriveShape
    channels: tuple[int, ...]
    count: int
    period_us: int
    on_time_us: int

    @property
    def sentence(self) -> str:
        """In words, with units."""
        if self.shape is DriveShape.BRIDGE:
            return f"{self.on_time_us / 1000:g} ms through the half-bridge pair"
        if self.shape is DriveShape.STEPPER:
            return f"{self.count} steps forwards and back"
        pulses = "pulse" if self.count == 1 else "pulses"
        rate = "" if self.count == 1 else f" at {1e6 / self.period_us:g} Hz"
        held = ", peak and hold" if self.shape is DriveShape.PEAK_HOLD else ""
        return f"{self.count} {pulses} of {self.on_time_us / 1000:g} ms{rate}{held}"


@dataclass(frozen=True, slots=True)
class Pulses:
    """A pulse train in whole microseconds."""

    count: int
    period_us: int
    on_time_us: int
