"""The ways in which a channel can be driven freely, and the settings of each (pure)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.drive import PulseTrain
from loomproof.job.model import Job
from loomproof.procedure.drive.own_drive import BRIDGE_MS, STEP_US, STEPS_PER_WINDING, stepper_groups
from loomproof.safety.budget import Budget
from loomproof.safety.trains import fit_train, pulse_train
from loomproof_wire.messages import CEILINGS, ChannelKind


class Way(StrEnum):
    """How a channel is driven."""

    TRAIN = "train"
    HOLD = "hold"
    PEAK_HOLD = "peak and hold"
    FREQUENCY_SWEEP = "frequency sweep"
    WIDTH_SWEEP = "width sweep"
    STEPPER = "stepper"
    BRIDGE = "half-bridge"


SWEEPS = (Way.FREQUENCY_SWEEP, Way.WIDTH_SWEEP)
Values = Mapping[str, float]
"""Settings by key, in the units that the settings name."""
DEFAULT_PEAK_SHARE = 0.4
DEFAULT_HOLD_PERCENT = 30.0
SHORTEST_CHOP_US, LONGEST_CHOP_US = CEILINGS.min_chop_period_us, 1000
CHOP_SHARE = 0.1
"""Of a load's time constant: the current then ripples little. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One number of a way of driving. With `choices` (value, word) it takes no other value."""

    key: str
    label: str
    unit: str = ""
    whole: bool = False
    choices: tuple[tuple[float, str], ...] = ()


_COUNT = Setting("count", "Pulses", whole=True)
_FREQUENCY = Setting("frequency_hz", "Rate", "per second")
_WIDTH = Setting("width_ms", "On-time", "ms")
_TRAINS = Setting("trains", "Trains", whole=True)
_EACH = Setting("count", "Pulses each", whole=True)
_DURATION = Setting("duration_ms", "Duration", "ms", whole=True)

SETTINGS: Mapping[Way, tuple[Setting, ...]] = {
    Way.TRAIN: (_WIDTH, _FREQUENCY, _COUNT),
    Way.HOLD: (_DURATION,),
    Way.PEAK_HOLD: (
        _WIDTH,
        _FREQUENCY,
        _COUNT,
        Setting("peak_ms", "Peak", "ms"),
        Setting("hold_percent", "Hold level", "%"),
    ),
    Way.FREQUENCY_SWEEP: (
        _WIDTH,
        Setting("from_hz", "From", "per second"),
        Setting("to_hz", "To", "per second"),
        _TRAINS,
        _EACH,
    ),
    Way.WIDTH_SWEEP: (
        Setting("from_ms", "From", "ms"),
        Setting("to_ms", "To", "ms"),
        _FREQUENCY,
        _TRAINS,
        _EACH,
    ),
    Way.STEPPER: (
        Setting("steps", "Steps", whole=True),
        Setting("rate_hz", "Rate", "/s"),
        Setting("direction", "Direction", choices=((1, "forwards"), (-1, "backwards"))),
    ),
    Way.BRIDGE: (
        Setting("direction", "Direction", choices=((1, "forwards"), (-1, "backwards"))),
        Setting("level_percent", "Level", "%"),
        _DURATION,
    ),
}


def channels_of(job: Job, channel: int, way: Way) -> tuple[int, ...]:
    """The channels that a way of driving uses, the first being the one chopped or stepped first.

    Raises:
        ValueError: the job has no such group or partner, or the channel has no load.
    """
    entry = job.channel(channel)
    if not entry.fitted:
        raise ValueError(f"channel {channel} has no load fitted")
    if way is Way.STEPPER:
        group = next((g for g in stepper_groups(job).values() if channel in g), ())
        if not group:
            raise ValueError("the job names no group of four stepper windings with this channel")
        return group
    if way is Way.BRIDGE:
        if entry.partner is None:
            raise ValueError("the job names no partner of this channel")
        return channel, entry.partner
    return (channel,)


def ways_of(job: Job, channel: int, kind: ChannelKind | None = None) -> dict[Way, str]:
    """The ways a channel can be driven at all, each with why it cannot (empty: it can).

    Ways that make no sense for the load are left out. `kind` is the box's driver, if it is known.
    """
    entry = job.channel(channel)
    bridged = entry.partner is not None or kind is ChannelKind.HALF_BRIDGE
    if bridged:
        if entry.partner is None:
            return {Way.BRIDGE: "the job names no partner of this channel"}
        wrong = kind not in (None, ChannelKind.HALF_BRIDGE)
        return {Way.BRIDGE: "this box has no half-bridge on this channel" if wrong else ""}
    load = job.load_type(channel)
    never = "this load is never held on" if load.limits.max_hold_ms == 0 else ""
    logic = kind is ChannelKind.LOGIC
    found = {
        Way.TRAIN: "",
        Way.HOLD: never,
        Way.PEAK_HOLD: "a logic output cannot chop a current" if logic else "",
        Way.FREQUENCY_SWEEP: "",
        Way.WIDTH_SWEEP: "",
    }
    if any(channel in group for group in stepper_groups(job).values()):
        found[Way.STEPPER] = ""
    return found


def chop_period_us(job: Job, channel: int) -> int:
    """Period at which a peak-and-hold pulse is chopped: the load type's own, or a tenth of its time constant."""
    load = job.load_type(channel)
    if load.peak_hold is not None:
        return load.peak_hold.chop_period_us
    if load.inductance_mh is None or load.resistance_ohm is None:
        return LONGEST_CHOP_US
    period_us = CHOP_SHARE * load.inductance_mh.value * 1e3 / load.resistance_ohm.value
    return round(min(max(period_us, SHORTEST_CHOP_US), LONGEST_CHOP_US))


def first_way(job: Job, channel: int) -> Way:
    """How a channel is driven unless somebody chooses."""
    if job.channel(channel).partner is not None:
        return Way.BRIDGE
    return Way.TRAIN if job.load_type(channel).peak_hold is None else Way.PEAK_HOLD


def defaults(job: Job, channel: int, way: Way, budget: Budget) -> dict[str, float]:
    """Settings to begin with: the load's own train as far as the budget allows, and what follows from it.

    Args:
        job: the job.
        channel: the channel to drive.
        way: how it is to be driven.
        budget: what the channel may have.

    Returns:
        A value for each setting of that way, in the setting's unit.
    """
    train = job.load_type(channel).train
    fitted, _ = fit_train(budget, train)
    pulses = fitted or pulse_train(train)
    rate_hz, width_ms = round(1e6 / pulses.period_us, 3), pulses.on_time_us / 1e3
    if way in SWEEPS:
        return _sweep_defaults(way, budget, pulses)
    if way is Way.HOLD:
        return {"duration_ms": float(min(500, budget.max_hold_ms))}
    if way is Way.STEPPER:
        return {"steps": float(4 * STEPS_PER_WINDING), "rate_hz": 1e6 / STEP_US, "direction": 1.0}
    if way is Way.BRIDGE:
        level = budget.max_duty_permille / 10
        return {
            "direction": 1.0,
            "level_percent": level,
            "duration_ms": float(min(BRIDGE_MS, budget.max_hold_ms)),
        }
    values = {"count": float(pulses.count), "frequency_hz": rate_hz, "width_ms": width_ms}
    if way is Way.PEAK_HOLD:
        own = job.load_type(channel).peak_hold
        values["peak_ms"] = min(own.peak_ms, width_ms) if own else round(width_ms * DEFAULT_PEAK_SHARE, 3)
        values["hold_percent"] = own.chop_duty * 100 if own else DEFAULT_HOLD_PERCENT
        values["count"] = values["count"] if own else 1.0
    return values


def _sweep_defaults(way: Way, budget: Budget, pulses: PulseTrain) -> dict[str, float]:
    """Five trains up to the load's own, shorter where the fuel budget has to last for all of them."""
    rate_hz, width_ms, count = round(1e6 / pulses.period_us, 3), pulses.on_time_us / 1e3, min(pulses.count, 5)
    model = budget.model
    if model.flow_ul_per_ms and model.liquid_ul is not None:
        count = 1
        width_ms = max(min(width_ms, math.floor(20.0 * model.liquid_ul / model.flow_ul_per_ms) / 100), 0.05)
    if way is Way.FREQUENCY_SWEEP:
        return {
            "from_hz": rate_hz / 2,
            "to_hz": rate_hz,
            "trains": 5.0,
            "count": float(count),
            "width_ms": width_ms,
        }
    return {
        "from_ms": max(width_ms / 2, 0.05),
        "to_ms": width_ms,
        "trains": 5.0,
        "count": float(count),
        "frequency_hz": rate_hz,
    }
