"""What to drive, before anything is approved."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loomproof.facts.drive import DriveShape, Pulses
from loomproof.safety.trains import TrainProblem


class OverBudgetError(Exception):
    """A train over its budget; `problems` says in what, and what would fit."""

    def __init__(self, problems: tuple[TrainProblem, ...]) -> None:
        super().__init__(" ".join(str(problem) for problem in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Capture:
    """Which pulses are traced, and how finely. `every` 0: none."""

    every: int = 0
    decimation: int = 1
    samples: int = 0


@dataclass(frozen=True, slots=True)
class Chop:
    """How a peak-and-hold pulse goes on after its peak."""

    peak_us: int
    period_us: int
    duty_permille: int


@dataclass(frozen=True, slots=True)
class DriveRequest:
    """What to drive.

    `channels` as in `DrivePlan`; for a bridge or a hold `pulses.on_time_us` is how long, and of a bridge the
    first channel is the one chopped to the supply; for a stepper `pulses.count` is the steps, negative for
    backwards. `chop` is for peak and hold, None: the load type's own. `level_permille` is the
    bridge's duty, None: as much as its channels may have.
    """

    shape: DriveShape
    channels: tuple[int, ...]
    pulses: Pulses
    capture: Capture = Capture()
    chop: Chop | None = None
    level_permille: int | None = None

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        if self.shape in (DriveShape.BRIDGE, DriveShape.HOLD):
            return self.pulses.on_time_us * 1e-6
        return abs(self.pulses.count) * self.pulses.period_us * 1e-6


def reversed_bridge(request: DriveRequest) -> DriveRequest:
    """The same bridge the other way round."""
    return replace(request, channels=request.channels[::-1])
