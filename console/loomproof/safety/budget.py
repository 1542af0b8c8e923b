"""How long, how often and how many times a load may be pulsed, and why (pure).

Every limit is computed on its own and carries its reason in words; the lowest holds. More supply, longer
pulses or shorter periods never raise a limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from loomproof.job.kinds import LoadKind
from loomproof.job.loadtype import Train
from loomproof.job.model import Job
from loomproof.safety.loadmodel import DWELL_SHARE, SENSE_ENERGY_J, LoadModel, worst_case

LimitOf = Literal["on_time_us", "count", "duty_permille", "hold_ms", "period_us", "sense_us"]

_UNITS: dict[LimitOf, str] = {
    "on_time_us": "us",
    "count": "pulses",
    "duty_permille": "permille",
    "hold_ms": "ms",
    "period_us": "us",
    "sense_us": "us",
}


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit and its reason. For `period_us` the value is a lower limit, for all others an upper one."""

    of: LimitOf
    value: int
    reason: str

    def __str__(self) -> str:
        """As printed in one line."""
        side = "at least" if self.of == "period_us" else "at most"
        return f"{side} {self.value} {_UNITS[self.of]}: {self.reason}"


@dataclass(frozen=True, slots=True)
class BoxCeilings:
    """What the box itself allows on a channel."""

    max_on_time_us: int = 100_000
    max_hold_ms: int = 10_000
    max_duty_permille: int = 900
    max_count: int = 2000
    max_current_ma: int = 20_000
    max_sense_us: int = 200
    min_on_time_us: int = 50
    min_period_us: int = 200


@dataclass(frozen=True, slots=True)
class TrainProblem:
    """Why a pulse train is over its budget, and what would fit."""

    field: LimitOf
    value: int
    limit: int
    reason: str
    remedy: str

    def __str__(self) -> str:
        """As printed in one line."""
        unit = _UNITS[self.field]
        return f"{self.value} {unit} is over the limit of {self.limit} {unit}: {self.reason} {self.remedy}"


@dataclass(frozen=True, slots=True)
class Pulses:
    """A pulse train in whole microseconds."""

    count: int
    period_us: int
    on_time_us: int

    @classmethod
    def of(cls, train: Train) -> Pulses:
        """The train of a job in whole microseconds."""
        return cls(train.count, train.period_us, train.on_time_us)


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
            found.append(Limit("count", pulses, _liquid_reason(model)))
        return found


LEAST_TOLD_UL = 0.05
"""Less of the fuel budget than this reads as nothing."""


def _already(model: LoadModel) -> str:
    return f"; {model.warm_k:.0f} K are left of earlier drives" if model.warm_k >= 1.0 else ""


def _liquid_reason(model: LoadModel) -> str:
    air = f"{model.cylinder_cm3:.0f} cm³ of air flammable (1.2 %)"
    if model.liquid_ul is not None and model.liquid_ul < LEAST_TOLD_UL:
        return f"were the isolation wrong, the drives before could already have made {air}."
    return f"were the isolation wrong, {model.liquid_ul:.1f} µL more of fuel would make {air}."


def pulse_budget(
    job: Job,
    channel: int,
    supply_v: float,
    *,
    on_time_us: int | None = None,
    period_us: int | None = None,
    ceilings: BoxCeilings | None = None,
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
        released_ul: liquid that this place would already have received since the fuel was last checked, in
        uL.
        warm_k: temperature rise that earlier drives have left in the load, in K.
    """
    load = job.load_type(channel)
    train = load.train
    cylinder = None
    if job.engine is not None and job.engine.displacement_cm3:
        cylinder = job.engine.displacement_cm3 / job.engine.cylinders
    model = worst_case(
        load,
        supply_v=supply_v,
        wire_ohm=job.wire_quantity(channel).low,
        cylinder_cm3=cylinder,
        released_ul=released_ul,
        warm_k=warm_k,
    )
    box = ceilings or BoxCeilings()
    own = load.limits
    on_limits = _on_time_limits(model, box, round(own.max_on_time_ms * 1e3))
    max_on = min(limit.value for limit in on_limits)
    others = [
        Limit("duty_permille", box.max_duty_permille, "the box's ceiling."),
        Limit("duty_permille", max(1, round(own.max_duty * 1000)), "the load type's own limit."),
        Limit("hold_ms", box.max_hold_ms, "the box's ceiling."),
        Limit("hold_ms", own.max_hold_ms, "the load type's own limit."),
        Limit("period_us", box.min_period_us, "the box's ceiling."),
        Limit("period_us", math.ceil(1e6 / own.max_frequency_hz - 1e-6), "the load type's fastest train."),
        *_sense_limits(model, box, own.max_sense_us),
        *_hold_limits(model),
    ]
    budget = Budget(
        channel=channel,
        max_on_time_us=max_on,
        max_count=0,
        max_duty_permille=_least(others, "duty_permille"),
        max_hold_ms=_least(others, "hold_ms"),
        min_period_us=max(limit.value for limit in others if limit.of == "period_us"),
        max_current_ma=min(box.max_current_ma, round(own.max_current_a * 1000)),
        max_sense_us=_least(others, "sense_us"),
        limits=(),
        model=model,
        ceilings=box,
        load_count=own.max_count,
    )
    pulse = on_time_us or min(train.on_time_us, max_on)
    counts = budget._count_limits(max(pulse, 1), period_us or train.period_us)
    limits = _ordered([*on_limits, *others, *counts])
    return replace(budget, limits=limits, max_count=min(limit.value for limit in counts))


def _least(limits: list[Limit], of: LimitOf) -> int:
    return min(limit.value for limit in limits if limit.of == of)


def _ordered(limits: list[Limit]) -> tuple[Limit, ...]:
    order = list(_UNITS)
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
        found.append(Limit("on_time_us", longest, _liquid_reason(model)))
    return found


def _longest_us(model: LoadModel, heat_j: float, ceiling_us: int) -> int:
    """The longest whole microseconds whose heat stays within; heat rises with time, so bisection holds."""
    low, high = 0, ceiling_us
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if model.heat_j(middle * 1e-6) <= heat_j else (low, middle)
    return low


def _hold_limits(model: LoadModel) -> list[Limit]:
    if model.thermal is None or model.resistance_ohm is None:
        return []
    whole = model.pulses_to_rise(
        0.1, 0.1
    )  # back-to-back slices of 100 ms: a hold, the start's rise counted again
    if not math.isfinite(whole):
        return []
    return [
        Limit(
            "hold_ms",
            int(whole * 100),
            f"longer would heat the load by over {model.thermal.rise_k:g} K{_already(model)}.",
        )
    ]


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


def check_train(budget: Budget, train: Pulses | Train) -> tuple[TrainProblem, ...]:
    """Everything in which a train is over its budget; empty when it may be driven."""
    pulses = Pulses.of(train) if isinstance(train, Train) else train
    found: list[TrainProblem] = []

    def over(limit: Limit, value: int, remedy: str) -> None:
        found.append(TrainProblem(limit.of, value, limit.value, limit.reason, remedy))

    if pulses.on_time_us > budget.max_on_time_us:
        over(budget.binding("on_time_us"), pulses.on_time_us, "Shorten the pulse.")
    if pulses.on_time_us < budget.ceilings.min_on_time_us:
        lowest = Limit("on_time_us", budget.ceilings.min_on_time_us, "the box's shortest pulse.")
        found.append(
            TrainProblem("on_time_us", pulses.on_time_us, lowest.value, lowest.reason, "Lengthen the pulse.")
        )
    if pulses.period_us < budget.min_period_us:
        over(budget.binding("period_us"), pulses.period_us, "Lower the frequency.")
    duty = duty_permille(pulses)
    if duty > budget.max_duty_permille:
        over(budget.binding("duty_permille"), duty, "Lower the frequency or shorten the pulse.")
    if pulses.count < 1:
        found.append(TrainProblem("count", pulses.count, 1, "a train has a pulse.", "Ask for one or more."))
    elif pulses.on_time_us > 0 and pulses.period_us > 0:
        limit = budget.count_limit(pulses.on_time_us, pulses.period_us)
        if pulses.count > limit.value:
            over(limit, pulses.count, "Use fewer, shorter or rarer pulses.")
    return tuple(found)


def duty_permille(pulses: Pulses) -> int:
    """Part of the time a train is on, in permille, rounded up."""
    return math.ceil(1000 * pulses.on_time_us / max(pulses.period_us, 1))


def fit_train(budget: Budget, train: Pulses | Train) -> tuple[Pulses | None, tuple[str, ...]]:
    """The train, lowered as little as its budget asks, and what was lowered and why.

    First the pulse is shortened, then the period lengthened, then pulses are left out. None when not even
    one of the box's shortest pulses may be driven.
    """
    pulses = Pulses.of(train) if isinstance(train, Train) else train
    notes: list[str] = []
    if pulses.on_time_us > budget.max_on_time_us:
        notes.append(f"pulse shortened to {budget.max_on_time_us} us: {budget.binding('on_time_us').reason}")
        pulses = replace(pulses, on_time_us=budget.max_on_time_us)
    if pulses.on_time_us < budget.ceilings.min_on_time_us:
        return None, (*notes, f"the box's shortest pulse is {budget.ceilings.min_on_time_us} us.")
    shortest = max(budget.min_period_us, math.ceil(1000 * pulses.on_time_us / budget.max_duty_permille))
    if pulses.period_us < shortest:
        notes.append(f"period lengthened to {shortest} us: {budget.binding('duty_permille').reason}")
        pulses = replace(pulses, period_us=shortest)
    limit = budget.count_limit(pulses.on_time_us, pulses.period_us)
    if pulses.count > limit.value:
        if limit.value < 1:
            return None, (*notes, f"not one pulse of {pulses.on_time_us} us: {limit.reason}")
        notes.append(f"{limit.value} instead of {pulses.count} pulses: {limit.reason}")
        pulses = replace(pulses, count=limit.value)
    return pulses, tuple(notes)


def releases_fuel(kind: LoadKind) -> bool:
    """Whether driving this kind of load lets fuel out when its rail is under pressure."""
    return kind is LoadKind.INJECTOR
