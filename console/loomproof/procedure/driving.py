"""The one place where a channel is driven: permit, budget, arm, drive, disarm, in this order."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from loomproof.box import BoxError, LinkLost
from loomproof.job.kinds import HazardClass
from loomproof.procedure.core import Core, NotPermittedError
from loomproof.procedure.events import DriveFinished, DriveStarted, HazardArmed, HazardDisarmed, TraceTaken
from loomproof.procedure.model import DriveShape
from loomproof.procedure.port import DriveResult
from loomproof.procedure.readings import trace_of
from loomproof.procedure.recording import EventKind
from loomproof.safety import (
    Block,
    Blocked,
    Limit,
    Pulses,
    TrainProblem,
    Voider,
    check_train,
    hazards_of,
    releases_fuel,
)
from loomproof_wire import messages

ARM_MARGIN_S = 1.0
LONGEST_ARM_S = messages.CEILINGS.max_arm_ms / 1000
SHORTEST_ARM_S = 0.1
BRIDGE_CHOP_US = 100


class OverBudgetError(Exception):
    """A train over its budget; `problems` says in what, and what would fit."""

    def __init__(self, problems: tuple[TrainProblem, ...]) -> None:
        super().__init__(" ".join(str(problem) for problem in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Capture:
    """Which pulses are traced, and how finely. `every` 0: none."""

    every: int = 0
    decimation: int = 1
    samples: int = 0


@dataclass(frozen=True, slots=True)
class DriveRequest:
    """What to drive.

    `channels` as in `DrivePlan`; for a bridge `pulses.on_time_us` is how long, and the
    first channel is the one chopped to the supply; for a stepper `pulses.count` is the steps, negative for
    backwards.
    """

    shape: DriveShape
    channels: tuple[int, ...]
    pulses: Pulses
    capture: Capture = Capture()

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        if self.shape is DriveShape.BRIDGE:
            return self.pulses.on_time_us * 1e-6
        return abs(self.pulses.count) * self.pulses.period_us * 1e-6


def drive(core: Core, request: DriveRequest) -> DriveResult:
    """Drive one load, if every interlock and budget allows it.

    Raises:
        NotPermittedError: a statement is missing or would expire during the drive.
        OverBudgetError: the train is over its budget.
        BoxError: the box refused, or is gone.
    """
    core.check()
    core.supply_v = max(core.supply_v, core.box.status().supply_mv / 1000)
    check_request(core, request)
    duration_s = request.duration_s + ARM_MARGIN_S
    _check_permit(core, request.channels, duration_s)
    _mark(core, request)
    lead = request.channels[0]
    with armed(core, request.channels, duration_s):
        core.publish(
            DriveStarted(lead, request.pulses.count, request.pulses.period_us, request.pulses.on_time_us)
        )
        result = _send(core, request)
    core.publish(DriveFinished(lead, result.pulses, result.reason.name.lower()))
    for raw in result.traces:
        core.publish(TraceTaken(trace_of(raw, core.calibrations[raw.header.channel])))
    return result


def check_request(core: Core, request: DriveRequest) -> None:
    """Hold a request against the budgets of its channels and of every load they are known to reach.

    Raises:
        OverBudgetError: it is over one of them.
    """
    problems: list[TrainProblem] = []
    for channel in core.loads_reached(request.channels):
        budget = core.budget(channel)
        if request.shape is DriveShape.BRIDGE:
            asked_ms = math.ceil(request.pulses.on_time_us / 1000)
            if asked_ms > budget.max_hold_ms:
                limit = budget.binding("hold_ms")
                problems.append(
                    TrainProblem("hold_ms", asked_ms, limit.value, limit.reason, "Hold it shorter.")
                )
        elif request.shape is DriveShape.STEPPER:
            share = len(request.channels)
            each = Pulses(
                math.ceil(abs(request.pulses.count) / share),
                request.pulses.period_us * share,
                request.pulses.on_time_us,
            )
            problems.extend(check_train(budget, each))
        else:
            problems.extend(check_train(budget, request.pulses))
    if request.duration_s + ARM_MARGIN_S > LONGEST_ARM_S:
        longest = Limit("period_us", 0, f"a drive may last {LONGEST_ARM_S - ARM_MARGIN_S:g} s at most.")
        problems.append(
            TrainProblem(
                "period_us", request.pulses.period_us, 0, longest.reason, "Use fewer or faster pulses."
            )
        )
    if problems:
        raise OverBudgetError(tuple(problems))


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


def _mark(core: Core, request: DriveRequest) -> None:
    """Void what this drive voids, and count its fuel: before it, so that nothing can come in between."""
    for channel in core.loads_reached(request.channels):
        load = core.job.load_type(channel)
        if core.job.channel(channel).fuel_pump:
            core.void(Voider.PUMP_DRIVEN)
        if releases_fuel(load.kind) or load.hazard is HazardClass.FUEL:
            core.void(Voider.FUEL_DRIVEN)
            model = core.budget(channel).model
            liquid_ul = model.liquid_released_ul(request.pulses.count, request.pulses.on_time_us)
            core.ledger = core.ledger.with_drive(core.place(channel), liquid_ul)


@contextlib.contextmanager
def armed(core: Core, channels: tuple[int, ...], duration_s: float) -> Iterator[None]:
    """Arm what the box needs for these channels, for the time needed, and disarm it whatever happens."""
    hazards = dict.fromkeys(
        messages.Hazard[hazard.name]
        for channel in channels
        for hazard in hazards_of(core.job.load_type(channel))
        if hazard is not HazardClass.NONE
    )
    duration_s = min(max(duration_s, SHORTEST_ARM_S), LONGEST_ARM_S)
    done: list[messages.Hazard] = []
    try:
        for hazard in hazards:
            core.box.arm(hazard, duration_s)
            done.append(hazard)
            name = HazardClass[hazard.name]
            core.publish(HazardArmed(name, duration_s))
            core.note(EventKind.ARMED, f"Armed {name} for {duration_s:.1f} s.", hazard=name.value)
        yield
    finally:
        for hazard in done:
            _disarm(core, hazard)


def _disarm(core: Core, hazard: messages.Hazard) -> None:
    name = HazardClass[hazard.name]
    try:
        core.box.disarm(hazard)
    except LinkLost as error:
        core.link_lost(str(error))  # the box's own expiry and heartbeat disarm it
    except BoxError as error:
        core.note(EventKind.NOTE, f"Disarming {name} was not acknowledged: {error}", hazard=name.value)
    else:
        core.note(EventKind.DISARMED, f"Disarmed {name}.", hazard=name.value)
    core.publish(HazardDisarmed(name))


def _send(core: Core, request: DriveRequest) -> DriveResult:
    pulses, capture = request.pulses, request.capture
    channel = request.channels[0]
    if request.shape is DriveShape.BRIDGE:
        duty = bridge_duty_permille(core, request.channels)
        return core.box.drive_bridge(
            request.channels[0],
            request.channels[1],
            math.ceil(pulses.on_time_us / 1000),
            BRIDGE_CHOP_US,
            duty,
            capture.decimation,
            capture.samples,
        )
    if request.shape is DriveShape.STEPPER:
        first, second, third, fourth = request.channels
        return core.box.drive_stepper((first, second, third, fourth), pulses.count, pulses.period_us)
    shape = core.job.load_type(channel).peak_hold
    if request.shape is DriveShape.PEAK_HOLD and shape is not None:
        peak_us = min(round(shape.peak_ms * 1e3), pulses.on_time_us)
        return core.box.drive_peak_hold(
            channel,
            pulses.count,
            pulses.period_us,
            pulses.on_time_us,
            peak_us,
            shape.chop_period_us,
            round(shape.chop_duty * 1000),
            capture.every,
            capture.decimation,
            capture.samples,
        )
    return core.box.drive_train(
        channel,
        pulses.count,
        pulses.period_us,
        pulses.on_time_us,
        capture.every,
        capture.decimation,
        capture.samples,
    )


def bridge_duty_permille(core: Core, channels: tuple[int, ...]) -> int:
    """Duty at which a half-bridge pair is chopped: the lower of its channels' budgets."""
    return min(core.budget(channel).max_duty_permille for channel in channels)


def reversed_bridge(request: DriveRequest) -> DriveRequest:
    """The same bridge the other way round."""
    return replace(request, channels=request.channels[::-1])
