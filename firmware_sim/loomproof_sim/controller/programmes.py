"""Drives as switch edges, each at an exact time from the start; made lazily, since a drive may have many."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from loomproof_sim.plant.spec import Drive
from loomproof_wire.messages import DriveBridge, DrivePeakHold, DriveStepper


class Mark(Enum):
    """What an edge is in its drive."""

    PULSE_ON = "on"
    PULSE_OFF = "off"
    WITHIN = "within"


@dataclass(frozen=True)
class Edge:
    """A switch edge.

    Attributes:
        at_ns: from the start of the drive.
        drives: what the drivers do from then on, in this order.
        mark: begins a pulse, ends one, or neither.
        sampled: the channel whose current is looked at from here.
    """

    at_ns: int
    drives: tuple[tuple[int, Drive], ...]
    mark: Mark
    sampled: int


def train(channel: int, count: int, period_us: int, on_time_us: int) -> Iterator[Edge]:
    """`count` pulses of one channel."""
    for pulse in range(count):
        on_ns = pulse * period_us * 1000
        yield Edge(on_ns, ((channel, Drive.ON),), Mark.PULSE_ON, channel)
        yield Edge(on_ns + on_time_us * 1000, ((channel, Drive.OFF),), Mark.PULSE_OFF, channel)


def peak_hold(request: DrivePeakHold) -> Iterator[Edge]:
    """Full on for the peak, then off and on in each chop period until the on-time is over."""
    channel = request.channel
    chop_ns = request.chop_period_us * 1000
    off_part_ns = chop_ns * (1000 - request.chop_duty_permille) // 1000
    for pulse in range(request.count):
        start_ns = pulse * request.period_us * 1000
        end_ns = start_ns + request.on_time_us * 1000
        yield Edge(start_ns, ((channel, Drive.ON),), Mark.PULSE_ON, channel)
        for chop_start_ns in range(start_ns + request.peak_us * 1000, end_ns, chop_ns):
            yield Edge(chop_start_ns, ((channel, Drive.OFF),), Mark.WITHIN, channel)
            if chop_start_ns + off_part_ns < end_ns:
                yield Edge(chop_start_ns + off_part_ns, ((channel, Drive.ON),), Mark.WITHIN, channel)
        yield Edge(end_ns, ((channel, Drive.OFF),), Mark.PULSE_OFF, channel)


def stepper(request: DriveStepper) -> Iterator[Edge]:
    """One winding at a time; the last one goes off before the next comes on."""
    order = request.channels if request.steps >= 0 else request.channels[::-1]
    step_ns = request.step_us * 1000
    for step in range(abs(request.steps)):
        channel = order[step % len(order)]
        yield Edge(step * step_ns, ((channel, Drive.ON),), Mark.PULSE_ON, channel)
        yield Edge((step + 1) * step_ns, ((channel, Drive.OFF),), Mark.PULSE_OFF, channel)


def bridge(request: DriveBridge) -> Iterator[Edge]:
    """Ground side low throughout; supply side high for its duty, low between so that the current runs on."""
    supply, ground = request.channel_supply, request.channel_ground
    end_ns = request.duration_ms * 1_000_000
    chop_ns = request.chop_period_us * 1000
    high_ns = chop_ns * request.duty_permille // 1000
    for start_ns in range(0, end_ns, chop_ns):
        mark = Mark.WITHIN if start_ns else Mark.PULSE_ON
        drives = ((supply, Drive.HIGH),) if start_ns else ((ground, Drive.LOW), (supply, Drive.HIGH))
        yield Edge(start_ns, drives, mark, ground)
        if start_ns + high_ns < end_ns:
            yield Edge(start_ns + high_ns, ((supply, Drive.LOW),), Mark.WITHIN, ground)
    yield Edge(end_ns, ((supply, Drive.OFF), (ground, Drive.OFF)), Mark.PULSE_OFF, ground)
