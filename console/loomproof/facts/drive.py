"""What somebody wants driven: the five kinds of drive request, each with exactly what that kind needs.

A request says nothing of whether it may be driven: `loomproof.safety.approve` decides that, and only what it
returns, an `ApprovedDrive`, is taken by the box client.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

BRIDGE_CHOP_US = 200
"""How long a half-bridge pair takes from one connection of the supply to the next.

A small controller has two edges to carry out in it, and samples to take beside them.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseTrain:
    """A pulse train in whole microseconds."""

    count: int
    period_us: int
    on_time_us: int

    @property
    def duration_s(self) -> float:
        """From the first pulse to the end of the last period."""
        return self.count * self.period_us * 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceCapture:
    """Which pulses are traced, and how finely. `every` 0: none; n: the first pulse and every n-th after it."""

    every: int = 0
    decimation: int = 1
    samples: int = 0


NO_CAPTURE = TraceCapture()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chop:
    """How a peak-and-hold pulse goes on after its peak."""

    peak_us: int
    period_us: int
    duty_permille: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainRequest:
    """A pulse train on one channel."""

    channel: int
    train: PulseTrain
    capture: TraceCapture = NO_CAPTURE

    @property
    def channels(self) -> tuple[int, ...]:
        """Every channel used."""
        return (self.channel,)

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return self.train.duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakHoldRequest:
    """A pulse train on one channel whose pulses are fully on for their peak, then chopped."""

    channel: int
    train: PulseTrain
    chop: Chop
    capture: TraceCapture = NO_CAPTURE

    @property
    def channels(self) -> tuple[int, ...]:
        """Every channel used."""
        return (self.channel,)

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return self.train.duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRequest:
    """One channel switched on for a bounded time."""

    channel: int
    duration_ms: int
    capture: TraceCapture = NO_CAPTURE

    @property
    def channels(self) -> tuple[int, ...]:
        """Every channel used."""
        return (self.channel,)

    @property
    def train(self) -> PulseTrain:
        """The same as a train of one pulse."""
        return _one_pulse(self.duration_ms)

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return self.duration_ms * 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeRequest:
    """A half-bridge pair for a bounded time: `channel_supply` is chopped to the supply, the other grounded.

    `level_permille` is the share of the time that the supply is connected.
    """

    channel_supply: int
    channel_ground: int
    duration_ms: int
    level_permille: int
    capture: TraceCapture = NO_CAPTURE

    @property
    def channels(self) -> tuple[int, ...]:
        """Every channel used, the one chopped to the supply first."""
        return (self.channel_supply, self.channel_ground)

    @property
    def train(self) -> PulseTrain:
        """The same as a train of one pulse."""
        return _one_pulse(self.duration_ms)

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return self.duration_ms * 1e-3

    @property
    def level(self) -> float:
        """The level as a part of one."""
        return self.level_permille / 1000

    def reversed(self) -> BridgeRequest:
        """The same bridge the other way round."""
        return replace(self, channel_supply=self.channel_ground, channel_ground=self.channel_supply)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepperRequest:
    """Four stepper windings, one after the other; `steps` below 0 run backwards. The box traces none of them."""

    windings: tuple[int, int, int, int]
    steps: int
    step_us: int

    @property
    def channels(self) -> tuple[int, ...]:
        """Every channel used, in the order of the steps."""
        return self.windings

    @property
    def capture(self) -> TraceCapture:
        """Nothing is traced."""
        return NO_CAPTURE

    @property
    def train(self) -> PulseTrain:
        """All steps as one train, whichever way they run."""
        return PulseTrain(count=abs(self.steps), period_us=self.step_us, on_time_us=self.step_us)

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return self.train.duration_s

    def reversed(self) -> StepperRequest:
        """The same steps backwards."""
        return replace(self, steps=-self.steps)


DriveRequest = TrainRequest | PeakHoldRequest | HoldRequest | BridgeRequest | StepperRequest
"""What to drive, before anything is approved."""


def _one_pulse(duration_ms: int) -> PulseTrain:
    return PulseTrain(count=1, period_us=duration_ms * 1000, on_time_us=duration_ms * 1000)
