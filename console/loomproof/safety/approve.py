"""The one function that approves a drive: statements, budgets, and what the drive will leave behind (pure)."""

from __future__ import annotations

import math
from typing import assert_never

from loomproof.facts.approved_drive import ApprovedDrive, LoadEffect, RequestT, _make_approved_drive
from loomproof.facts.drive import (
    BridgeRequest,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TrainRequest,
)
from loomproof.facts.kinds import HazardClass
from loomproof.job.model import Job
from loomproof.safety.budget import Budget, releases_fuel
from loomproof.safety.conditions import DriveConditions
from loomproof.safety.interlocks import Block, Blocked
from loomproof.safety.load_model import LoadModel
from loomproof.safety.statements import hazards_of
from loomproof.safety.trains import TrainProblem, check_train
from loomproof_wire.messages import CEILINGS

ARM_MARGIN_S = 1.0
"""Armed for so much longer than the drive lasts: the request and its reply take their time."""
LONGEST_ARM_S = CEILINGS.max_arm_ms / 1000
SHORTEST_ARM_S = 0.1


class NotPermittedError(Exception):
    """Interlocks block a drive; `blocked` says which statements would free it."""

    def __init__(self, blocked: Blocked) -> None:
        super().__init__(blocked.sentence)
        self.blocked = blocked


class OverBudgetError(Exception):
    """A drive is over its budget; `problems` says in what, and what would fit."""

    def __init__(self, problems: tuple[TrainProblem, ...]) -> None:
        super().__init__(" ".join(str(problem) for problem in problems))
        self.problems = problems


def approve(request: RequestT, conditions: DriveConditions) -> ApprovedDrive[RequestT]:
    """Approve a drive, or say why it may not be made.

    Raises:
        OverBudgetError: it is over the budget of a load that it reaches.
        NotPermittedError: a statement is missing, or would expire during the drive.
    """
    if problems := budget_problems(request, conditions):
        raise OverBudgetError(problems)
    arm_s = request.duration_s + ARM_MARGIN_S
    return _make_approved_drive(
        request=request,
        hazards=_hazards_to_arm(conditions.job, request.channels),
        arm_s=min(max(arm_s, SHORTEST_ARM_S), LONGEST_ARM_S),
        permitted_until_s=_permitted_until_s(conditions, request.channels, arm_s),
        effects=tuple(
            _effect(conditions, budget, request) for budget in conditions.budgets(request.channels)
        ),
    )


def budget_problems(request: DriveRequest, conditions: DriveConditions) -> tuple[TrainProblem, ...]:
    """In what a request is over the budgets of its channels and of every load that they are known to reach."""
    budgets = conditions.budgets(request.channels)
    return tuple(problem for budget in budgets for problem in _over(budget, request)) + _too_long(request)


def heat_of(model: LoadModel, request: DriveRequest) -> float:
    """Heat in J that a drive leaves in one of its loads, as if it were fully on."""
    train = train_of_each(request)
    return train.count * model.heat_j(train.on_time_us * 1e-6)


def train_of_each(request: DriveRequest) -> PulseTrain:
    """The train that one load gets: of a stepper, each winding has every fourth step; of others, all of it."""
    match request:
        case StepperRequest(windings=windings, train=train):
            share = len(windings)
            return PulseTrain(
                count=math.ceil(train.count / share),
                period_us=train.period_us * share,
                on_time_us=train.on_time_us,
            )
        case TrainRequest() | PeakHoldRequest() | HoldRequest() | BridgeRequest():
            return request.train
        case _:
            assert_never(request)


def _over(budget: Budget, request: DriveRequest) -> tuple[TrainProblem, ...]:
    """In what a request is over the budget of one of its loads."""
    match request:
        case TrainRequest() | PeakHoldRequest() | StepperRequest():
            return check_train(budget, train_of_each(request))
        case HoldRequest(duration_ms=duration_ms):
            return _over_hold(budget, duration_ms)
        case BridgeRequest(duration_ms=duration_ms, level_permille=level_permille):
            return _over_hold(budget, duration_ms) + _over_level(budget, level_permille)
        case _:
            assert_never(request)


def _over_hold(budget: Budget, duration_ms: int) -> tuple[TrainProblem, ...]:
    if duration_ms <= budget.max_hold_ms:
        return ()
    limit = budget.binding("hold_ms")
    return (TrainProblem("hold_ms", duration_ms, limit.value, limit.reason, "Hold it shorter."),)


def _over_level(budget: Budget, level_permille: int) -> tuple[TrainProblem, ...]:
    if level_permille <= budget.max_duty_permille:
        return ()
    limit = budget.binding("duty_permille")
    return (TrainProblem("duty_permille", level_permille, limit.value, limit.reason, "Lower the level."),)


def _too_long(request: DriveRequest) -> tuple[TrainProblem, ...]:
    if request.duration_s + ARM_MARGIN_S <= LONGEST_ARM_S:
        return ()
    reason = f"a drive may last {LONGEST_ARM_S - ARM_MARGIN_S:g} s at most."
    return (TrainProblem("period_us", request.train.period_us, 0, reason, "Use fewer or faster pulses."),)


def _permitted_until_s(conditions: DriveConditions, channels: tuple[int, ...], needed_s: float) -> float:
    permit = conditions.permit(channels)
    if isinstance(permit, Blocked):
        raise NotPermittedError(permit)
    if permit.until_s - conditions.now_s < needed_s:
        soonest = min(permit.statements, key=lambda statement: statement.expires_s)
        reason = "A statement would expire during the drive."
        raise NotPermittedError(
            Blocked(permit.hazard, (Block(reason, "Check it again, then state it.", soonest.kind),))
        )
    return permit.until_s


def _hazards_to_arm(job: Job, channels: tuple[int, ...]) -> tuple[HazardClass, ...]:
    found = dict.fromkeys(hazard for channel in channels for hazard in hazards_of(job.load_type(channel)))
    return tuple(hazard for hazard in found if hazard is not HazardClass.NONE)


def _effect(conditions: DriveConditions, budget: Budget, request: DriveRequest) -> LoadEffect:
    channel, model = budget.channel, budget.model
    load = conditions.job.load_type(channel)
    is_fuel = releases_fuel(load.kind) or load.hazard is HazardClass.FUEL
    train = request.train
    return LoadEffect(
        channel=channel,
        place=conditions.place(channel),
        heat_j=heat_of(model, request),
        thermal=model.thermal,
        fuel_ul=model.liquid_released_ul(train.count, train.on_time_us) if is_fuel else 0.0,
        is_fuel=is_fuel,
        is_pump=conditions.job.channel(channel).fuel_pump,
    )
