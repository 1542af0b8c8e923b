"""Drives as switch edges, each at an exact time from the start; made one by one, since a drive may have many."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from loomproof_sim.plant.spec import Drive
from loomproof_wire.messages import DriveBridge, DrivePeakHold, DriveStepper


class EdgeRole(Enum):
    """The role of an edge in its drive."""

    PULSE_ON = "on"
    PULSE_OFF = "off"
    WITHIN = "within"


@dataclass(frozen=True)
class SwitchEdge:
    """A switch edge.

    Attributes:
        at_ns: time from the start of the drive.
        drives: channels and what their drivers do from then on, in this order.
        role: begins a pulse, ends one, or neither.
        sampled: the channel whose current is sampled from then on.
    """

    at_ns: int
    drives: tuple[tuple[int, Drive], ...]
    role: EdgeRole
    sampled: int


def train(channel: int, count: int, period_us: int, on_time_us: int) -> Iterator[SwitchEdge]:
    """Yield the edges of `count` pulses of one channel.

    Args:
        channel: the channel that is driven.
        count: number of pulses.
        period_us: from one switch-on edge to the next.
        on_time_us: of each pulse.
    """
    for pulse in range(count):
        on_ns = pulse * period_us * 1000
        yield SwitchEdge(on_ns, ((channel, Drive.ON),), EdgeRole.PULSE_ON, channel)
        yield SwitchEdge(on_ns + on_time_us * 1000, ((channel, Drive.OFF),), EdgeRole.PULSE_OFF, channel)


def peak_hold(request: DrivePeakHold) -> Iterator[SwitchEdge]:
    """Yield a full-on peak, then off and on in each chop period until the on-time is over."""
    channel = request.channel
    chop_ns = request.chop_period_us * 1000
    off_part_ns = chop_ns * (1000 - request.chop_duty_permille) // 1000
    for pulse in range(request.count):
        start_ns = pulse * request.period_us * 1000
        end_ns = start_ns + request.on_time_us * 1000
        yield SwitchEdge(start_ns, ((channel, Drive.ON),), EdgeRole.PULSE_ON, channel)
        for chop_start_ns in range(start_ns + request.peak_us * 1000, end_ns, chop_ns):
            yield SwitchEdge(chop_start_ns, ((channel, Drive.OFF),), EdgeRole.WITHIN, channel)
            if chop_start_ns + off_part_ns < end_ns:
                yield SwitchEdge(
                    chop_start_ns + off_part_ns, ((channel, Drive.ON),), EdgeRole.WITHIN, channel
                )
        yield SwitchEdge(end_ns, ((channel, Drive.OFF),), EdgeRole.PULSE_OFF, channel)


def stepper(request: DriveStepper) -> Iterator[SwitchEdge]:
    """Yield one winding at a time; each goes off before the next comes on."""
    order = request.channels if request.steps >= 0 else request.channels[::-1]
    step_ns = request.step_us * 1000
    for step in range(abs(request.steps)):
        channel = order[step % len(order)]
        yield SwitchEdge(step * step_ns, ((channel, Drive.ON),), EdgeRole.PULSE_ON, channel)
        yield SwitchEdge((step + 1) * step_ns, ((channel, Drive.OFF),), EdgeRole.PULSE_OFF, channel)


def bridge(request: DriveBridge) -> Iterator[SwitchEdge]:
    """Yield a low ground side throughout, and a supply side that is high for its duty and low between.

    The low supply side lets the current run on.
    """
    supply, ground = request.channel_supply, request.channel_ground
    end_ns = request.duration_ms * 1_000_000
    chop_ns = request.chop_period_us * 1000
    high_ns = chop_ns * request.duty_permille // 1000
    for start_ns in range(0, end_ns, chop_ns):
        role = EdgeRole.WITHIN if start_ns else EdgeRole.PULSE_ON
        drives = ((supply, Drive.HIGH),) if start_ns else ((ground, Drive.LOW), (supply, Drive.HIGH))
        yield SwitchEdge(start_ns, drives, role, ground)
        if start_ns + high_ns < end_ns:
            yield SwitchEdge(start_ns + high_ns, ((supply, Drive.LOW),), EdgeRole.WITHIN, ground)
    yield SwitchEdge(end_ns, ((supply, Drive.OFF), (ground, Drive.OFF)), EdgeRole.PULSE_OFF, ground)
