"""Whether a pulse train keeps its budget, and the nearest one that does (pure)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from loomproof.facts.drive import PulseTrain
from loomproof.job.load_type import Train
from loomproof.safety.budget import UNITS, Budget, Limit, LimitOf


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
        unit = UNITS[self.field]
        return f"{self.value} {unit} is over the limit of {self.limit} {unit}: {self.reason} {self.remedy}"


def pulse_train(train: Train) -> PulseTrain:
    """The train of a job in whole microseconds."""
    return PulseTrain(count=train.count, period_us=train.period_us, on_time_us=train.on_time_us)


def check_train(budget: Budget, train: PulseTrain | Train) -> tuple[TrainProblem, ...]:
    """Everything in which a train is over its budget; empty when it may be driven."""
    pulses = pulse_train(train) if isinstance(train, Train) else train
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


def duty_permille(pulses: PulseTrain) -> int:
    """Part of the time a train is on, in permille, rounded up."""
    return math.ceil(1000 * pulses.on_time_us / max(pulses.period_us, 1))


def fit_train(budget: Budget, train: PulseTrain | Train) -> tuple[PulseTrain | None, tuple[str, ...]]:
    """The train, lowered as little as its budget asks, and what was lowered and why.

    First the pulse is shortened, then the period lengthened, then pulses are left out. None when not even
    one of the box's shortest pulses may be driven.
    """
    pulses = pulse_train(train) if isinstance(train, Train) else train
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
