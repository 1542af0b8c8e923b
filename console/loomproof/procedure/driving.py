"""The one place where a channel is driven: permit, budget, arm, drive, disarm, in this order."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from loomproof.box import BoxError, LinkLost
from loomproof.job.kinds import HazardClass
from loomproof.procedure.bridging import BRIDGE_CHOP_US, chopped
from loomproof.procedure.core import Core, NotPermittedError
from loomproof.procedure.events import DriveFinished, DriveStarted, HazardArmed, HazardDisarmed, TraceTaken
from loomproof.procedure.model import DriveShape
from loomproof.procedure.port import DriveResult
from loomproof.procedure.readings import CountsOfTrace, trace_of
from loomproof.procedure.recording import EventKind
from loomproof.safety import (
    Block,
    Blocked,
    Budget,
    LoadModel,
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
class Chop:
    """How a peak-and-hold pulse goes on after its peak."""

    peak_us: int
    period_us: int
    duty_permille: int


@dataclass(frozen=True, slots=True)
class DriveRequest:
    """What to drive.

    `channels` as in `DrivePlan`; for a bridge or a hold `pulses.on_time_us` is how long, and of a bridge the
    first channel is the one chopped to the supply; for a stepper `pulses.count` is the steps, negative for
    backwards. `chop` is for peak and hold, None: the load type's own. `level_permille` is the
    bridge's duty, None: as much as its channels may have.
    """

    shape: DriveShape
    channels: tuple[int, ...]
    pulses: Pulses
    capture: Capture = Capture()
    chop: Chop | None = None
    level_permille: int | None = None

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        if self.shape in (DriveShape.BRIDGE, DriveShape.HOLD):
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
    core.look_at_supply()
    check_request(core, request)
    duration_s = request.duration_s + ARM_MARGIN_S
    _check_permit(core, request.channels, duration_s)
    mark(core, request)
    lead = request.channels[0]
    with armed(core, request.channels, duration_s):
        core.publish(
            DriveStarted(lead, request.pulses.count, request.pulses.period_us, request.pulses.on_time_us)
        )
        core.box.hear_traces(lambda raw: core.publish(taken(core, request, raw)))
        try:
            result = _send(core, request)
        finally:
            core.box.hear_traces(None)
    core.publish(DriveFinished(lead, result.pulses, result.reason.name.lower()))
    return result


def taken(core: Core, request: DriveRequest, raw: CountsOfTrace) -> TraceTaken:
    """A trace of a drive, as it can be held against what a sound load draws."""
    trace = trace_of(raw, core.calibrations[raw.header.channel])
    if request.shape is DriveShape.BRIDGE:
        return TraceTaken(chopped(trace, level_permille(core, request) / 1000))
    chop = chop_of(core, request)
    return TraceTaken(trace, None if chop is None else chop.peak_us * 1e-6)


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


def mark(core: Core, request: DriveRequest) -> None:
    """Void what this drive voids, and count its fuel and heat: before it, so that nothing can come in between."""
    for channel in core.loads_reached(request.channels):
        load = core.job.load_type(channel)
        _mark_heat(core, channel, request)
        if core.job.channel(channel).fuel_pump:
            core.void(Voider.PUMP_DRIVEN)
        if releases_fuel(load.kind) or load.hazard is HazardClass.FUEL:
            core.void(Voider.FUEL_DRIVEN)
            model = core.budget(channel).model
            liquid_ul = model.liquid_released_ul(request.pulses.count, request.pulses.on_time_us)
            core.ledger = core.ledger.with_drive(core.place(channel), liquid_ul)


def _mark_heat(core: Core, channel: int, request: DriveRequest) -> None:
    model = core.budget(channel).model
    heat_j = heat_of(model, request)
    core.heat = core.heat.with_drive(channel, model, heat_j, core.box.now_s(), request.duration_s)


def heat_of(model: LoadModel, request: DriveRequest) -> float:
    """Heat in J that a drive leaves in one of its loads, as if it were fully on (pure)."""
    each = model.heat_j(request.pulses.on_time_us * 1e-6)
    if request.shape in (DriveShape.BRIDGE, DriveShape.HOLD):
        return each
    count = abs(request.pulses.count)
    return each * (math.ceil(count / len(request.channels)) if request.shape is DriveShape.STEPPER else count)


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
    if request.shape is DriveShape.HOLD:
        return core.box.drive_hold(
            channel, math.ceil(pulses.on_time_us / 1000), capture.decimation, capture.samples
        )
    if request.shape is DriveShape.BRIDGE:
        return core.box.drive_bridge(
            request.channels[0],
            request.channels[1],
            math.ceil(pulses.on_time_us / 1000),
            BRIDGE_CHOP_US,
            level_permille(core, request),
            capture.decimation,
            capture.samples,
        )
    if request.shape is DriveShape.STEPPER:
        first, second, third, fourth = request.channels
        return core.box.drive_stepper((first, second, third, fourth), pulses.count, pulses.period_us)
    chop = chop_of(core, request)
    if chop is not None:
        return core.box.drive_peak_hold(
            channel,
            pulses.count,
            pulses.period_us,
            pulses.on_time_us,
            min(chop.peak_us, pulses.on_time_us),
            chop.period_us,
            chop.duty_permille,
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


def chop_of(core: Core, request: DriveRequest) -> Chop | None:
    """How a request's pulses go on after their peak; None: they are on throughout."""
    if request.shape is not DriveShape.PEAK_HOLD or request.chop is not None:
        return request.chop
    own = core.job.load_type(request.channels[0]).peak_hold
    if own is None:
        return None
    return Chop(round(own.peak_ms * 1e3), own.chop_period_us, round(own.chop_duty * 1000))


def level_permille(core: Core, request: DriveRequest) -> int:
    """Duty at which a request's bridge is chopped."""
    return request.level_permille or bridge_duty_permille(core, request.channels)


def bridge_duty_permille(core: Core, channels: tuple[int, ...]) -> int:
    """Duty at which a half-bridge pair is chopped: the lower of its channels' budgets."""
    return min(core.budget(channel).max_duty_permille for channel in channels)


def reversed_bridge(request: DriveRequest) -> DriveRequest:
    """The same bridge the other way round."""
    return replace(request, channels=request.channels[::-1])
