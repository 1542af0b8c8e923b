"""From typed settings to drive requests that are within every limit, and what they cost (pure)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import assert_never

from loomproof.facts.drive import (
    BridgeRequest,
    Chop,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TrainRequest,
)
from loomproof.job.model import Job
from loomproof.procedure.bench.ranges import Range, ranges, trains_of
from loomproof.procedure.bench.ways import SETTINGS, SWEEPS, Setting, Values, Way, channels_of, chop_period_us
from loomproof.safety.approve import heat_of
from loomproof.safety.budget import Budget
from loomproof.safety.physics import cooled_k, current_a, stored_energy_j

BudgetsOf = Callable[[Sequence[int]], Sequence[Budget]]
"""The budgets of channels and of every load that they are known to reach, the first channel's first."""


@dataclass(frozen=True, slots=True)
class PlanProblem:
    """What is wrong with one setting (`key`), or with all of them together (empty key), and why.

    `fuel_spent`: nothing fits any more, because of what may already have been let out into the cylinder.
    """

    key: str
    what: str
    why: str = ""
    fuel_spent: bool = False

    @property
    def text(self) -> str:
        """The whole sentence."""
        return f"{self.what}: {self.why}" if self.why else f"{self.what}."


@dataclass(frozen=True, slots=True)
class Cost:
    """What a drive takes, at the load's worst.

    Attributes:
        duration_s: how long it takes.
        pulse_heat_j: heat of one pulse.
        stored_j: magnetic energy at the end of one pulse.
        heat_j: heat of the whole drive, in the load that takes most.
        warm_k, after_k, allowed_k: temperature rise now, after the drive, and allowed; None: the load
            has no thermal model.
        fuel_ul, after_ul, allowed_ul: fuel that would have been let out so far, after the drive, and that
            may be, were the isolation wrong; None: not an injector, or its rail is dry.
    """

    duration_s: float = 0.0
    pulse_heat_j: float = 0.0
    stored_j: float = 0.0
    heat_j: float = 0.0
    warm_k: float | None = None
    after_k: float | None = None
    allowed_k: float | None = None
    fuel_ul: float | None = None
    after_ul: float | None = None
    allowed_ul: float | None = None


@dataclass(frozen=True)
class FreePlan:
    """A free drive as planned: one request, or one for each train of a sweep.

    `problems` empty: every request is within the limits as they are now. `ranges` holds for each setting but
    those with choices.
    """

    channel: int
    way: Way
    requests: tuple[DriveRequest, ...] = ()
    problems: tuple[PlanProblem, ...] = ()
    ranges: dict[str, Range] = field(default_factory=dict)
    cost: Cost = Cost()

    @property
    def sentence(self) -> str:
        """In words, with units."""
        return sentence_of_plan(self.way, self.requests) if self.requests else ""


def plan_free(job: Job, channel: int, way: Way, values: Values, budgets_of: BudgetsOf) -> FreePlan:
    """Plan a free drive.

    Args:
        job: the job.
        channel: the channel.
        way: how it is driven.
        values: the settings; one that is no number is left out.
        budgets_of: gives the budgets as they are now.
    """
    try:
        channels = channels_of(job, channel, way)
    except ValueError as error:
        return FreePlan(channel, way, problems=(PlanProblem("", f"Not driven: {error}"),))
    budgets = budgets_of(channels)
    found = ranges(way, values, budgets)
    problems = tuple(_setting_problems(SETTINGS[way], values, found))
    if problems:
        return FreePlan(channel, way, problems=problems, ranges=found)
    requests = _requests(job, channels, way, values)
    cost = cost_of(requests, budgets)
    return FreePlan(channel, way, requests, tuple(_sum_problems(requests, budgets)), found, cost)


def _setting_problems(
    settings: Sequence[Setting], values: Values, found: dict[str, Range]
) -> list[PlanProblem]:
    problems = []
    empty = any(limits.high < limits.low for limits in (found[s.key] for s in settings if s.key in found))
    for setting in settings:
        value = values.get(setting.key)
        if value is None:
            problems.append(PlanProblem(setting.key, "write a number, like 10 or 2.5"))
        elif setting.choices:
            if value not in [choice for choice, _ in setting.choices]:
                words = " or ".join(word for _, word in setting.choices)
                problems.append(PlanProblem(setting.key, f"choose {words}"))
        elif setting.whole and value != int(value):
            problems.append(PlanProblem(setting.key, "write a whole number"))
        elif empty and found[setting.key].high >= found[setting.key].low:
            continue  # its limits stand on the setting in which nothing fits, and say nothing beside it
        elif problem := _outside(setting, value, found[setting.key]):
            problems.append(problem)
    return problems


def _outside(setting: Setting, value: float, limits: Range) -> PlanProblem | None:
    unit = f" {setting.unit}" if setting.unit else ""
    if limits.high < limits.low:
        return PlanProblem(setting.key, "nothing fits", limits.why, fuel_spent=limits.of_fuel)
    if value > limits.high * (1 + 1e-9):
        return PlanProblem(setting.key, f"at most {shown(limits.high, down=True)}{unit}", limits.why)
    if value < limits.low * (1 - 1e-9):
        return PlanProblem(setting.key, f"at least {shown(limits.low, down=False)}{unit}")
    return None


def shown(value: float, *, down: bool, figures: int = 4) -> str:
    """Return a limit in so many figures at most, rounded to its safe side."""
    if value == int(value) and abs(value) < 1e6:
        return str(int(value))
    digits = figures - 1 - math.floor(math.log10(abs(value))) if value else 0
    scale = 10.0**digits
    rounded = math.floor(value * scale + 1e-9) if down else math.ceil(value * scale - 1e-9)
    return f"{rounded / scale:.{max(digits, 0)}f}".rstrip("0").rstrip(".")


def _requests(job: Job, channels: tuple[int, ...], way: Way, values: Values) -> tuple[DriveRequest, ...]:
    channel = channels[0]
    if way is Way.HOLD:
        return (HoldRequest(channel=channel, duration_ms=int(values["duration_ms"])),)
    if way is Way.BRIDGE:
        supply, ground = channels if values["direction"] > 0 else channels[::-1]
        request = BridgeRequest(
            channel_supply=supply,
            channel_ground=ground,
            duration_ms=int(values["duration_ms"]),
            level_permille=round(values["level_percent"] * 10),
        )
        return (request,)
    if way is Way.STEPPER:
        first, second, third, fourth = channels
        steps = int(values["steps"] * values["direction"])
        step_us = round(1e6 / values["rate_hz"])
        return (StepperRequest(windings=(first, second, third, fourth), steps=steps, step_us=step_us),)
    if way in SWEEPS:
        count = int(values["count"])
        trains = [_train(count, rate_hz, width_ms) for width_ms, rate_hz in trains_of(way, values)]
        return tuple(TrainRequest(channel=channel, train=train) for train in trains)
    train = _train(int(values["count"]), values["frequency_hz"], values["width_ms"])
    if way is Way.TRAIN:
        return (TrainRequest(channel=channel, train=train),)
    chop = Chop(
        peak_us=round(values["peak_ms"] * 1e3),
        period_us=chop_period_us(job, channel),
        duty_permille=round(values["hold_percent"] * 10),
    )
    return (PeakHoldRequest(channel=channel, train=train, chop=chop),)


def _train(count: int, rate_hz: float, width_ms: float) -> PulseTrain:
    return PulseTrain(count=count, period_us=round(1e6 / rate_hz), on_time_us=round(width_ms * 1e3))


def _sum_problems(requests: Sequence[DriveRequest], budgets: Sequence[Budget]) -> list[PlanProblem]:
    """What the trains of a sweep do together that none does alone: heat, train after train."""
    if len(requests) < 2:
        return []
    for budget in budgets:
        model, warm_k = budget.model, budget.model.warm_k
        for number, request in enumerate(requests, 1):
            now = replace(budget, model=replace(model, warm_k=warm_k, liquid_ul=None))
            limit = now.count_limit(request.train.on_time_us, request.train.period_us)
            if request.train.count > limit.value:
                what = f"train {number} of {len(requests)} would be over {limit.value} pulses"
                return [PlanProblem("count", what, limit.reason)]
            if model.thermal is not None:
                warm_k = _cooled(warm_k, budget, request.duration_s)
                warm_k += heat_of(model, request) / model.thermal.c_j_per_k
    return []


def _cooled(warm_k: float, budget: Budget, duration_s: float) -> float:
    thermal = budget.model.thermal
    if thermal is None:
        return warm_k
    return cooled_k(warm_k, thermal.r_th_k_per_w, thermal.c_j_per_k, duration_s)


def cost_of(requests: Sequence[DriveRequest], budgets: Sequence[Budget]) -> Cost:
    """What the requests take together, in the load of `budgets` that takes most."""
    budget = max(budgets, key=lambda b: sum(heat_of(b.model, request) for request in requests))
    model, longest = budget.model, max(requests, key=lambda request: request.train.on_time_us)
    on_s = longest.train.on_time_us * 1e-6
    stored = 0.0
    if model.resistance_ohm is not None and model.inductance_h > 0.0:
        reached = current_a(model.supply_v, model.resistance_ohm, model.inductance_h, on_s)
        stored = stored_energy_j(model.inductance_h, reached)
    cost = Cost(
        duration_s=sum(request.duration_s for request in requests),
        pulse_heat_j=model.heat_j(on_s),
        stored_j=stored,
        heat_j=sum(heat_of(model, request) for request in requests),
    )
    if model.thermal is not None:
        warm_k = model.warm_k
        for request in requests:
            warm_k = _cooled(warm_k, budget, request.duration_s)
            warm_k += heat_of(model, request) / model.thermal.c_j_per_k
        cost = replace(cost, warm_k=model.warm_k, after_k=warm_k, allowed_k=model.thermal.rise_k)
    return _with_fuel(cost, requests, budgets)


def _with_fuel(cost: Cost, requests: Sequence[DriveRequest], budgets: Sequence[Budget]) -> Cost:
    for budget in budgets:
        model = budget.model
        if model.liquid_ul is None or model.allowed_ul is None:
            continue
        used = model.allowed_ul - model.liquid_ul
        more = sum(model.liquid_released_ul(r.train.count, r.train.on_time_us) for r in requests)
        return replace(cost, fuel_ul=used, after_ul=used + more, allowed_ul=model.allowed_ul)
    return cost


def sentence_of_plan(way: Way, requests: Sequence[DriveRequest]) -> str:
    """A planned drive in words."""
    match requests[0]:
        case HoldRequest(duration_ms=duration_ms):
            return f"on for {duration_ms:g} ms"
        case BridgeRequest() as bridge:
            level = bridge.level_permille / 10
            return f"{bridge.duration_ms:g} ms at {level:g} %, channel {bridge.channel_supply} to the supply"
        case StepperRequest() as stepper:
            turn = "forwards" if stepper.steps > 0 else "backwards"
            return f"{abs(stepper.steps)} steps {turn} at {1e6 / stepper.step_us:g} /s"
        case TrainRequest(train=train) | PeakHoldRequest(train=train):
            pulses = "1 pulse" if train.count == 1 else f"{train.count} pulses"
            if way in SWEEPS:
                return f"{len(requests)} trains of {pulses}, {_swept(way, train, requests[-1].train)}"
            rate = f"{1e6 / train.period_us:.4g} Hz"
            return f"{pulses} of {train.on_time_us / 1000:g} ms at {rate}{_held(requests[0])}"
        case _:
            assert_never(requests[0])


def _swept(way: Way, first: PulseTrain, last: PulseTrain) -> str:
    if way is Way.FREQUENCY_SWEEP:
        ends = f"{1e6 / first.period_us:.4g} to {1e6 / last.period_us:.4g} Hz"
        return f"{ends}, {first.on_time_us / 1000:g} ms each"
    ends = f"{first.on_time_us / 1000:g} to {last.on_time_us / 1000:g} ms"
    return f"{ends} each, at {1e6 / first.period_us:.4g} Hz"


def _held(request: DriveRequest) -> str:
    if not isinstance(request, PeakHoldRequest):
        return ""
    chop = request.chop
    return f", held at {chop.duty_permille / 10:g} % after {chop.peak_us / 1000:g} ms"
