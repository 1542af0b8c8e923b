"""Whether a drive may be made: statements, budgets, the longest arming."""

from __future__ import annotations

import math

from loomproof.facts.drive import DriveShape, Pulses
from loomproof.procedure.context import Core
from loomproof.procedure.drive.request import DriveRequest, OverBudgetError
from loomproof.procedure.step_result import NotPermittedError
from loomproof.safety.budget import Budget
from loomproof.safety.interlocks import Block, Blocked
from loomproof.safety.trains import TrainProblem, check_train
from loomproof_wire import messages

ARM_MARGIN_S = 1.0


LONGEST_ARM_S = messages.CEILINGS.max_arm_ms / 1000


SHORTEST_ARM_S = 0.1


def check_request(core: Core, request: DriveRequest) -> None:
    """Hold a request against the budgets of its channels and of every load they are known to reach.

    Raises:
        OverBudgetError: it is over one of them.
    """
    problems = [
        problem
        for channel in core.loads_reached(request.channels)
        for problem in _problems_of(core.budget(channel), request)
    ]
    if request.duration_s + ARM_MARGIN_S > LONGEST_ARM_S:
        reason = f"a drive may last {LONGEST_ARM_S - ARM_MARGIN_S:g} s at most."
        remedy = "Use fewer or faster pulses."
        problems.append(TrainProblem("period_us", request.pulses.period_us, 0, reason, remedy))
    if problems:
        raise OverBudgetError(tuple(problems))


def _problems_of(budget: Budget, request: DriveRequest) -> tuple[TrainProblem, ...]:
    pulses = request.pulses
    if request.shape is DriveShape.STEPPER:
        share = len(request.channels)
        each = math.ceil(abs(pulses.count) / share)
        return check_train(budget, Pulses(each, pulses.period_us * share, pulses.on_time_us))
    if request.shape not in (DriveShape.BRIDGE, DriveShape.HOLD):
        return check_train(budget, pulses)
    problems: list[TrainProblem] = []
    asked_ms, level = math.ceil(pulses.on_time_us / 1000), request.level_permille or 0
    if asked_ms > budget.max_hold_ms:
        limit = budget.binding("hold_ms")
        problems.append(TrainProblem("hold_ms", asked_ms, limit.value, limit.reason, "Hold it shorter."))
    if level > budget.max_duty_permille:
        limit = budget.binding("duty_permille")
        problems.append(TrainProblem("duty_permille", level, limit.value, limit.reason, "Lower the level."))
    return tuple(problems)


def _check_permit(core: Core, channels: tuple[int, ...], duration_s: float) -> None:
    permit = core.permit(channels)
    if isinstance(permit, Blocked):
        raise NotPermittedError(permit)
    if permit.until_s - core.box.now_s() < duration_s:
        soonest = min(permit.statements, key=lambda statement: statement.expires_s)
        reason = "A statement would expire during the drive."
        raise NotPermittedError(
            Blocked(permit.hazard, (Block(reason, "Check it again, then state it.", soonest.kind),))
        )
