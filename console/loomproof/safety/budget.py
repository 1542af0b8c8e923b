"""How long, how often and how many times a load may be pulsed, and why (pure).

Every limit is computed on its own and carries its reason in words; the lowest holds. More supply, longer
pulses or shorter periods never raise a limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.load_traits import DWELL_SHARE, LOAD_TRAITS, SENSE_ENERGY_J, ClassCeilings
from loomproof.job.load_type import DriveLimits
from loomproof.job.model import Job
from loomproof.safety.fuels import WORKING_SHARE
from loomproof.safety.load_model import LoadModel, worst_case

LimitOf = Literal["on_time_us", "count", "duty_permille", "hold_ms", "period_us", "sense_us"]

UNITS: dict[LimitOf, str] = {
    "on_time_us": "us",
    "count": "pulses",
    "duty_permille": "permille",
    "hold_ms": "ms",
    "period_us": "us",
    "sense_us": "us",
}

LEAST_TOLD_UL = 0.05
"""Less of the fuel budget than this reads as nothing."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit and its reason. For `period_us` the value is a lower limit, for all others an upper one.

    `of_fuel`: it keeps a cylinder from becoming flammable, and stating the isolation anew lifts it.
    """

    of: LimitOf
    value: int
    reason: str
    of_fuel: bool = False

    def __str__(self) -> str:
        """As printed in one line."""
        side = "at least" if self.of == "period_us" else "at most"
        return f"{side} {self.value} {UNITS[self.of]}: {self.reason}"


@dataclass(frozen=True, slots=True)
class BoxCeilings:
    """What the box itself allows on a channel: by its driver and, once lowered, by the class of its load."""

    max_on_time_us: int = 100_000
    max_hold_ms: int = 10_000
    max_duty_permille: int = 900
    max_count: int = 2000
    max_current_ma: int = 20_000
    max_sense_us: int = 200
    min_on_time_us: int = 50
    min_period_us: int = 200

    def lowered_to(self, own: ClassCeilings, max_current_ma: int) -> BoxCeilings:
        """What the box allows there to a load of a class, with that current limit."""
        return replace(
            self,
            max_on_time_us=min(self.max_on_time_us, own.longest_us(max_current_ma)),
            max_hold_ms=min(self.max_hold_ms, own.hold_ms),
            max_duty_permille=min(self.max_duty_permille, own.duty_percent * 10),
            max_current_ma=min(self.max_current_ma, own.current_ma),
        )


@dataclass(frozen=True)
class Budget:
    """The limits of one channel.

    `max_count` holds for the train the budget was asked for; `count_limit` gives it for any other.
    `limits` lists every limit found, the binding one of each quantity first.
    """

    channel: int
    max_on_time_us: int
    max_count: int
    max_duty_permille: int
    max_hold_ms: int
    min_period_us: int
    max_current_ma: int
    max_sense_us: int
    limits: tuple[Limit, ...]
    model: LoadModel
    ceilings: BoxCeilings
    load_count: int

    def binding(self, of: LimitOf) -> Limit:
        """The limit that holds for that quantity."""
        return next(limit for limit in self.limits if limit.of == of)

    def count_limit(self, on_time_us: int, period_us: int) -> Limit:
        """The most pulses of that length and period, and why."""
        return min(self._count_limits(on_time_us, period_us), key=lambda limit: limit.value)

    def _count_limits(self, on_time_us: int, period_us: int) -> list[Limit]:
        found = [
            Limit("count", self.ceilings.max_count, "the box delivers no more in one train."),
            Limit("count", self.load_count, "the load type's own limit."),
        ]
        model = self.model
        hot = model.pulses_to_rise(on_time_us * 1e-6, period_us * 1e-6)
        if math.isfinite(hot) and model.thermal is not None:
            reason = f"more would heat the load by over {model.thermal.rise_k:g} K{_already(model)}."
            found.append(Limit("count", int(hot), reason))
        if model.flow_ul_per_ms is not None and model.liquid_ul is not None:
            pulses = int(model.liquid_ul / model.liquid_released_ul(1, on_time_us) + 1e-9)
            found.append(Limit("count", pulses, _liquid_reason(model), of_fuel=True))
        return found


def _already(model: LoadModel) -> str:
    return f"; {model.warm_k:.0f} K are left of earlier drives" if model.warm_k >= 1.0 else ""


def _liquid_reason(model: LoadModel) -> str:
    air = f"{model.cylinder_cm3:.0f} cm³ of air to {WORKING_SHARE * 100:g} % of what is flammable"
    if model.liquid_ul is not None and model.liquid_ul < LEAST_TOLD_UL:
        return f"were the isolation wrong, the drives before could already have brought {air}."
    return f"were the isolation wrong, {model.liquid_ul:.1f} µL more of fuel would bring {air}."


def pulse_budget(
    job: Job,
    channel: int,
    supply_v: float,
    *,
    on_time_us: int | None = None,
    period_us: int | None = None,
    ceilings: BoxCeilings | None = None,
    rail_dry: bool = False,
    released_ul: float = 0.0,
    warm_k: float = 0.0,
) -> Budget:
    """The limits of one channel of a job.

    Args:
        job: the job.
        channel: the channel's number.
        supply_v: supply as measured, in V.
        on_time_us: pulse length `max_count` is for; None: that of the channel's own train, shortened to fit.
        period_us: period `max_count` is for; None: that of the channel's own train.
        ceilings: what the box allows on this channel; None: the protocol's ceilings.
        rail_dry: it is stated that nothing can press fuel into the injectors.
        released_ul: liquid that this place would already have received since the fuel was last checked, in
        uL.
        warm_k: temperature rise that earlier drives have left in the load, in K.
    """
    load = job.load_type(channel)
    model = worst_case(
        load,
        supply_v=supply_v,
        wire_ohm=job.wire_quantity(channel).low,
        cylinder_cm3=_cylinder_cm3(job),
        fuel=job.fuel,
        rail_dry=rail_dry,
        released_ul=released_ul,
        warm_k=warm_k,
    )
    driver = ceilings or BoxCeilings()
    max_current_ma = min(driver.max_current_ma, round(load.limits.max_current_a * 1000))
    box = driver.lowered_to(LOAD_TRAITS[load.kind].ceilings, max_current_ma)
    limits = [
        *_on_time_limits(model, box, round(load.limits.max_on_time_ms * 1e3)),
        *_duty_and_period_limits(box, load.limits),
        *_sense_limits(model, box, load.limits.max_sense_us),
        *_hold_limits(model, box, load.limits.max_hold_ms),
    ]
    budget = Budget(
        channel=channel,
        max_on_time_us=_least(limits, "on_time_us"),
        max_count=0,
        max_duty_permille=_least(limits, "duty_permille"),
        max_hold_ms=_least(limits, "hold_ms"),
        min_period_us=max(limit.value for limit in limits if limit.of == "period_us"),
        max_current_ma=min(box.max_current_ma, max_current_ma),
        max_sense_us=_least(limits, "sense_us"),
        limits=(),
        model=model,
        ceilings=box,
        load_count=load.limits.max_count,
    )
    pulse_us = on_time_us or min(load.train.on_time_us, budget.max_on_time_us)
    counts = budget._count_limits(max(pulse_us, 1), period_us or load.train.period_us)
    return replace(
        budget, limits=_ordered([*limits, *counts]), max_count=min(limit.value for limit in counts)
    )


def _cylinder_cm3(job: Job) -> float | None:
    if job.engine is None or not job.engine.displacement_cm3:
        return None
    return job.engine.displacement_cm3 / job.engine.cylinders


def _duty_and_period_limits(box: BoxCeilings, own: DriveLimits) -> list[Limit]:
    return [
        Limit("duty_permille", box.max_duty_permille, "the box's ceiling."),
        Limit("duty_permille", max(1, round(own.max_duty * 1000)), "the load type's own limit."),
        Limit("period_us", box.min_period_us, "the box's ceiling."),
        Limit("period_us", math.ceil(1e6 / own.max_frequency_hz - 1e-6), "the load type's fastest train."),
    ]


def _least(limits: list[Limit], of: LimitOf) -> int:
    return min(limit.value for limit in limits if limit.of == of)


def _ordered(limits: list[Limit]) -> tuple[Limit, ...]:
    order = list(UNITS)
    return tuple(
        sorted(
            limits,
            key=lambda limit: (
                order.index(limit.of),
                -limit.value if limit.of == "period_us" else limit.value,
            ),
        )
    )


def _on_time_limits(model: LoadModel, box: BoxCeilings, own_us: int) -> list[Limit]:
    found = [
        Limit("on_time_us", box.max_on_time_us, "the box's ceiling."),
        Limit("on_time_us", own_us, "the load type's own limit."),
    ]
    dwell = model.dwell_s()
    if math.isfinite(dwell):
        reason = (
            f"{DWELL_SHARE:.0%} of the time to {model.target_a:g} A at {model.supply_v:.1f} V with the "
            "lowest inductance; saturation gets there sooner."
        )
        found.append(Limit("on_time_us", int(dwell * 1e6), reason))
    if model.thermal is not None and model.resistance_ohm is not None:
        adiabatic_j = model.heat_left_j
        if model.heat_j(box.max_on_time_us * 1e-6) > adiabatic_j:
            reason = (
                f"one longer pulse would heat the load by over {model.thermal.rise_k:g} K{_already(model)}."
            )
            found.append(Limit("on_time_us", _longest_us(model, adiabatic_j, box.max_on_time_us), reason))
    if model.flow_ul_per_ms is not None and model.liquid_ul is not None:
        longest = int(model.liquid_ul / model.flow_ul_per_ms * 1e3)
        found.append(Limit("on_time_us", longest, _liquid_reason(model), of_fuel=True))
    return found


def _longest_us(model: LoadModel, heat_j: float, ceiling_us: int) -> int:
    """The longest whole microseconds whose heat stays within; heat rises with time, so bisection holds."""
    low, high = 0, ceiling_us
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if model.heat_j(middle * 1e-6) <= heat_j else (low, middle)
    return low


def _hold_limits(model: LoadModel, box: BoxCeilings, own_ms: int) -> list[Limit]:
    found = [
        Limit("hold_ms", box.max_hold_ms, "the box's ceiling."),
        Limit("hold_ms", own_ms, "the load type's own limit."),
    ]
    if model.thermal is None or model.resistance_ohm is None:
        return found
    # A hold as slices of 100 ms without a gap: the rise at its start is counted again in each, to be safe.
    slices = model.pulses_to_rise(0.1, 0.1)
    if math.isfinite(slices):
        reason = f"longer would heat the load by over {model.thermal.rise_k:g} K{_already(model)}."
        found.append(Limit("hold_ms", int(slices * 100), reason))
    return found


def _sense_limits(model: LoadModel, box: BoxCeilings, own_us: int) -> list[Limit]:
    found = [
        Limit("sense_us", box.max_sense_us, "the box's ceiling."),
        Limit("sense_us", own_us, "the load type's own limit."),
    ]
    longest = model.sense_s()
    if math.isfinite(longest):
        what = f"at most {SENSE_ENERGY_J * 1e3:g} mJ stored"
        if model.pull_in_a is not None:
            what += " and half the pull-in current"
        found.append(Limit("sense_us", int(longest * 1e6), f"{what} at {model.supply_v:.1f} V."))
    return found


def releases_fuel(kind: LoadKind) -> bool:
    """Whether driving this kind of load lets fuel out when its rail is under pressure."""
    return LOAD_TRAITS[kind].hazard is HazardClass.FUEL
