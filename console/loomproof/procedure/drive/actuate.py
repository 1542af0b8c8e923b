"""The one place where a channel is driven: permit, budget, arm, drive, disarm, in this order."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator

from loomproof.box.errors import BoxError, LinkLost
from loomproof.facts.drive import DriveShape
from loomproof.facts.kinds import HazardClass
from loomproof.facts.record import EventKind
from loomproof.procedure.box_port import DriveResult
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import CountsOfTrace, trace_of
from loomproof.procedure.drive.bridge import BRIDGE_CHOP_US, chopped
from loomproof.procedure.drive.permit import (
    ARM_MARGIN_S,
    LONGEST_ARM_S,
    SHORTEST_ARM_S,
    _check_permit,
    check_request,
)
from loomproof.procedure.drive.request import Chop, DriveRequest
from loomproof.procedure.events import DriveFinished, DriveStarted, HazardArmed, HazardDisarmed, TraceTaken
from loomproof.safety.budget import releases_fuel
from loomproof.safety.interlocks import Voider
from loomproof.safety.load_model import LoadModel
from loomproof.safety.statements import hazards_of
from loomproof_wire import messages


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
