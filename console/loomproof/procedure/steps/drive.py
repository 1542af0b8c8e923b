"""A drive step: measuring pulses first, then the load's own train for ears and eyes, then the question."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from loomproof.box.drive_outcome import DriveOutcome
from loomproof.facts.drive import (
    NO_CAPTURE,
    BridgeRequest,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TraceCapture,
    TrainRequest,
)
from loomproof.facts.evidence import Noticed
from loomproof.facts.signature import HasMoved
from loomproof.facts.step import StepEnd
from loomproof.facts.trace import Trace
from loomproof.job.load_traits import INRUSH_KINDS
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.measure.signature import measure
from loomproof.procedure.configure import configure_again
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import lowest_supply
from loomproof.procedure.drive.actuate import trace_of_drive
from loomproof.procedure.events import ChannelMeasured
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.procedure.steps.driving import BRIDGE_REST_S, drive_once, measuring_bridge
from loomproof.procedure.steps.statement import ask_statement, ensure_permit, offer_dry_rail
from loomproof.safety.approve import ARM_MARGIN_S
from loomproof.safety.statements import StatementKind
from loomproof_wire import messages

_NOTICED: dict[Choice, Noticed] = {
    Choice.HEARD: Noticed.HEARD,
    Choice.SEEN: Noticed.SEEN,
    Choice.NOTHING: Noticed.NOTHING,
    Choice.NOT_ASKED: Noticed.NOT_ASKED,
}


def run_drive(core: Core, step: Step, result: StepResult) -> None:
    """Drive the step's load, measure it and ask what was noticed."""
    own = step.drive
    assert own is not None
    _forget_trips(core, own.channels)
    _check_fuel_again(core, step, own.channels)
    if any(budget.model.allowed_ul is not None for budget in core.conditions.budgets(own.channels)):
        ensure_permit(core, step, own.channels, ARM_MARGIN_S)
        offer_dry_rail(core, step, own.channels)
    measuring = _measuring(core, own, result)
    noticing = _noticing(core, own, measuring, result)
    requests = (*measuring, *noticing)
    needed_s = sum(request.duration_s + ARM_MARGIN_S + BRIDGE_REST_S for request in requests)
    _ready(core, step, needed_s, result)
    for number, request in enumerate(measuring):
        if number and isinstance(request, BridgeRequest):
            core.box.sleep(BRIDGE_REST_S)
        _drive_measured(core, step, request, result)
    for request in noticing:
        drive_once(core, step, request, result)
    _ask_noticed(core, step, requests[-1:], result)


def _forget_trips(core: Core, channels: tuple[int, ...]) -> None:
    tripped = core.box.status().tripped_mask
    for channel in channels:
        if tripped & (1 << (channel - 1)):
            configure_again(core, channel)


def _check_fuel_again(core: Core, step: Step, channels: tuple[int, ...]) -> None:
    """An injector driven since the fuel was last checked is not driven again before it is checked anew."""
    if core.conditions.fuel_at(channels):
        ask_statement(core, step, StatementKind.FUEL_ISOLATED)


def _ready(core: Core, step: Step, needed_s: float, result: StepResult) -> None:
    """Statements, then the operator's go-ahead, then the statements again: reading takes its time."""
    assert step.drive is not None
    ensure_permit(core, step, step.drive.channels, needed_s)
    answer = core.ask(
        core.prompt(
            PromptKind.READY,
            step.id,
            step.title,
            f"{step.what_will_happen} Listen and look there.",
            choices=(Choice.DRIVE, Choice.SKIP, Choice.LEAVE),
            cautions=step.cautions,
            channel=step.channel,
            location=step.location,
            hazard=step.hazard,
        )
    )
    result.skip_if_asked(answer)
    ensure_permit(core, step, step.drive.channels, needed_s)
    offer_dry_rail(core, step, step.drive.channels)


def _measuring(core: Core, own: DriveRequest, result: StepResult) -> tuple[DriveRequest, ...]:
    """The traced drives that measure the load."""
    match own:
        case StepperRequest():
            return ()
        case BridgeRequest():
            forth = measuring_bridge(core, own)
            return forth, forth.reversed()
        case TrainRequest() | PeakHoldRequest() | HoldRequest():
            return (_measuring_train(core, own.channel, result),)
        case _:
            assert_never(own)


def _measuring_train(core: Core, channel: int, result: StepResult) -> TrainRequest:
    """The pulses that measure a load best within its budget, fully on whatever its own drive is."""
    identity, conditions = core.box.identity, core.conditions
    wanted = plan_pulse(
        core.job.load_type(channel),
        core.job.wire_ohm(channel),
        max(core.supply_v, 1.0),
        identity.sample_period_ns * 1e-9,
        identity.max_trace_samples,
        conditions.budget(channel),
        core.box.status().free_traces,
    )
    train = PulseTrain(count=wanted.count, period_us=wanted.period_us, on_time_us=wanted.on_time_us)
    fitted, notes = conditions.fit(channel, train)
    result.notes.extend(f"Measuring: {note}" for note in notes)
    if fitted is None:
        raise StepInterruptedError(StepEnd.BLOCKED, "no pulse fits the budget: " + " ".join(notes))
    capture = TraceCapture(every=wanted.trace_every, decimation=wanted.decimation, samples=wanted.samples)
    return TrainRequest(channel=channel, train=fitted, capture=capture)


def _noticing(
    core: Core, own: DriveRequest, measuring: tuple[DriveRequest, ...], result: StepResult
) -> tuple[DriveRequest, ...]:
    """The load's own drive, as far as the fuel ledger leaves room after the measuring pulses."""
    match own:
        case BridgeRequest() | HoldRequest():
            return ()
        case StepperRequest():
            return own, own.reversed()
        case TrainRequest() | PeakHoldRequest():
            fitted = _fitted_after(core, own, measuring, result)
            return () if fitted is None else (replace(own, train=fitted),)
        case _:
            assert_never(own)


def _fitted_after(
    core: Core,
    own: TrainRequest | PeakHoldRequest,
    measuring: tuple[DriveRequest, ...],
    result: StepResult,
) -> PulseTrain | None:
    """The load's own train as far as the budgets allow it after the measuring pulses; None: it is left out."""
    conditions, channel = core.conditions, own.channel
    model = conditions.budget(channel).model
    used_ul = sum(model.liquid_released_ul(r.train.count, r.train.on_time_us) for r in measuring)
    fitted, notes = conditions.after_fuel(channel, used_ul).fit(channel, own.train)
    shortest_us = measuring[0].train.on_time_us if measuring else 0
    if fitted is None or (used_ul and fitted.on_time_us < min(own.train.on_time_us, shortest_us)):
        result.notes.append("Only the measuring pulse was driven: it uses up what fuel the budget allows.")
        return None
    result.notes.extend(notes)
    return fitted


def _drive_measured(core: Core, step: Step, request: DriveRequest, result: StepResult) -> None:
    done = drive_once(core, step, request, result)
    if _all_cut(done, request):
        done = _measured_again(core, step, request, result) or done
    by_channel: dict[int, list[Trace]] = {}
    for raw in done.traces:
        trace = trace_of_drive(core, request, raw)
        by_channel.setdefault(trace.channel, []).append(trace)
    for channel, traces in by_channel.items():
        _take_in(core, channel, traces, result)
    if done.reason is messages.EndReason.TRIPPED:
        for channel in request.channels:
            result.learn(channel, tripped=True)
        raise StepInterruptedError(StepEnd.TRIPPED, f"channel {step.channel} tripped on over-current")


def _all_cut(done: DriveOutcome, request: DriveRequest) -> bool:
    """Whether a drive that went well brought no trace of the length asked for: the box was too busy to sample."""
    whole = [raw for raw in done.traces if raw.header.sample_count >= request.capture.samples]
    return done.reason is messages.EndReason.COMPLETE and request.capture.every > 0 and not whole


def _measured_again(core: Core, step: Step, request: DriveRequest, result: StepResult) -> DriveOutcome | None:
    """The same drive once more; None if it is not permitted again, for what came the first time is kept."""
    try:
        done = drive_once(core, step, request, result)
    except StepInterruptedError as error:
        if error.end is not StepEnd.BLOCKED:
            raise
        result.problems.append(f"the box missed samples, and it is not driven again: {error.reason}")
        return None
    result.notes.append("Measured twice: the box missed samples the first time.")
    return done


def _take_in(core: Core, channel: int, traces: list[Trace], result: StepResult) -> None:
    signature = measure(traces, core.job.load_type(channel))
    core.box.call_in()
    result.learn(channel, signature=signature)
    result.measured[f"channel {channel}"] = signature.as_dict()
    lowest = lowest_supply(traces)
    if lowest is not None:
        result.supply_loaded_v[channel] = lowest
    core.publish(ChannelMeasured(channel, signature, sense=False))


def _ask_noticed(
    core: Core, step: Step, again: tuple[DriveRequest, ...], result: StepResult, *, asked_again: bool = False
) -> None:
    """Ask until there is an answer that is not 'again'; once more where the answer would leave a doubt.

    Args:
        core: the session's context.
        step: the drive.
        again: what is driven again when it is asked for.
        result: takes the answer in.
        asked_again: this is the second time: the answer stands.
    """
    while True:
        answer = core.ask(
            core.prompt(
                PromptKind.NOTICED,
                step.id,
                step.title,
                f"What did you notice? Expected: {step.notice}.",
                choices=(
                    Choice.HEARD,
                    Choice.SEEN,
                    Choice.NOTHING,
                    Choice.AGAIN,
                    Choice.NOT_ASKED,
                    Choice.LEAVE,
                ),
                channel=step.channel,
                channels=step.channels,
                location=step.location,
                hazard=step.hazard,
            )
        )
        if answer.choice is not Choice.AGAIN:
            break
        _drive_again(core, step, again, result)
    result.noticed = _NOTICED[answer.choice]
    if not asked_again and _contradicts(core, step, result):
        result.notes.append(f"Asked again: {result.noticed} did not agree with the current.")
        _drive_again(core, step, again, result)
        _ask_noticed(core, step, again, result, asked_again=True)
        return
    if answer.note:
        result.notes.append(answer.note)
    for channel in step.channels:
        result.learn(channel, noticed=result.noticed)


def _drive_again(core: Core, step: Step, again: tuple[DriveRequest, ...], result: StepResult) -> None:
    for request in again:
        _check_fuel_again(core, step, request.channels)
        ensure_permit(core, step, request.channels, request.duration_s + ARM_MARGIN_S)
        _again(core, step, _untraced(request), result)


def _contradicts(core: Core, step: Step, result: StepResult) -> bool:
    """Whether what was noticed leaves the action of one of the channels in doubt.

    Nothing was noticed although the current does not show that it failed; or something was although it shows just that.
    """
    if result.noticed is Noticed.NOT_ASKED:
        return False
    for channel in step.channels:
        own, load = result.evidence.get(channel), core.job.load_type(channel)
        seen = own.signature if own is not None else None
        if load.kind in INRUSH_KINDS or seen is None or seen.resistance_ohm is None:
            continue  # its current tells by itself, or nothing flowed: no answer changes that
        moved = seen.moved if load.moves else None
        if result.noticed is Noticed.NOTHING and moved in {None, HasMoved.CANNOT_TELL}:
            return True
        if result.noticed is not Noticed.NOTHING and moved is HasMoved.NO:
            return True
    return False


def _again(core: Core, step: Step, request: DriveRequest, result: StepResult) -> None:
    """Drive once more; over the budget is told and asked again, for it may only need a fresh statement."""
    try:
        drive_once(core, step, request, result)
    except StepInterruptedError as error:
        if error.end is not StepEnd.BLOCKED:
            raise
        result.problems.append(f"not driven again: {error.reason}")


def _untraced(request: DriveRequest) -> DriveRequest:
    return request if isinstance(request, StepperRequest) else replace(request, capture=NO_CAPTURE)
