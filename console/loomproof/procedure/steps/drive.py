"""A drive step: measuring pulses first, then the load's own train for ears and eyes, then the question."""

from __future__ import annotations

from dataclasses import replace

from loomproof.box.errors import RequestRefused
from loomproof.facts.drive import DrivePlan, DriveShape, Pulses
from loomproof.facts.evidence import Noticed
from loomproof.facts.step import StepEnd
from loomproof.facts.trace import Trace
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.measure.signature import measure
from loomproof.procedure.box_port import DriveResult
from loomproof.procedure.configure import configure_again
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import lowest_supply, trace_of
from loomproof.procedure.drive.actuate import bridge_duty_permille, drive
from loomproof.procedure.drive.bridge import chopped, decimation
from loomproof.procedure.drive.permit import ARM_MARGIN_S
from loomproof.procedure.drive.request import Capture, DriveRequest, OverBudgetError, reversed_bridge
from loomproof.procedure.events import ChannelMeasured
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import NotPermittedError, StepInterruptedError, StepResult
from loomproof.procedure.steps.statement import ask_statement, ensure_permit
from loomproof.safety.statements import StatementKind
from loomproof.safety.trains import fit_train
from loomproof_wire import messages

BRIDGE_SAMPLES = 400
BRIDGE_SEEN_S = 0.06
"""How much of a bridge's drive is traced, from its beginning: a motor's inrush and a good part of its steady run."""
BRIDGE_REST_S = 2.0
"""Between the two directions, so that the motor stands: reversed while it runs, it draws twice its inrush."""
_END: dict[messages.EndReason, StepEnd] = {
    messages.EndReason.CANCELLED: StepEnd.STOPPED,
    messages.EndReason.STOPPED: StepEnd.STOPPED,
    messages.EndReason.DISARMED: StepEnd.BLOCKED,
}
_NOTICED: dict[Choice, Noticed] = {
    Choice.HEARD: Noticed.HEARD,
    Choice.SEEN: Noticed.SEEN,
    Choice.NOTHING: Noticed.NOTHING,
    Choice.NOT_ASKED: Noticed.NOT_ASKED,
}


def run_drive(core: Core, step: Step, result: StepResult) -> None:
    """Drive the step's load, measure it and ask what was noticed."""
    plan = step.drive
    assert plan is not None
    _forget_trips(core, plan.channels)
    _check_fuel_again(core, step, plan.channels)
    requests = _measuring(core, plan, result)
    last = _noticing(core, plan, requests, result)
    everything = sum(request.duration_s + ARM_MARGIN_S + BRIDGE_REST_S for request in (*requests, *last))
    _ready(core, step, everything, result)
    for number, request in enumerate(requests):
        if number and request.shape is DriveShape.BRIDGE:
            core.box.sleep(BRIDGE_REST_S)
        _drive_measured(core, step, request, result)
    for request in last:
        _drive_once(core, step, request, result)
    _ask_noticed(core, step, (*requests, *last)[-1:], result)


def _forget_trips(core: Core, channels: tuple[int, ...]) -> None:
    tripped = core.box.status().tripped_mask
    for channel in channels:
        if tripped & (1 << (channel - 1)):
            configure_again(core, channel)


def _check_fuel_again(core: Core, step: Step, channels: tuple[int, ...]) -> None:
    """An injector driven since the fuel was last checked is not driven again before it is checked anew."""
    if any(core.ledger.at(core.place(channel)) > 0.0 for channel in core.loads_reached(channels)):
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


def _measuring(core: Core, plan: DrivePlan, result: StepResult) -> tuple[DriveRequest, ...]:
    """The traced drives that measure the load."""
    if plan.shape is DriveShape.STEPPER:
        return ()
    if plan.shape is DriveShape.BRIDGE:
        longest_us = min(core.budget(c).max_hold_ms for c in plan.channels) * 1000
        pulses = Pulses(1, plan.on_time_us, min(plan.on_time_us, longest_us))
        samples = min(BRIDGE_SAMPLES, core.box.identity.max_trace_samples)
        duty = bridge_duty_permille(core, plan.channels) / 1000
        period_s = core.box.identity.sample_period_ns * 1e-9
        every = decimation(period_s, min(pulses.on_time_us * 1e-6, BRIDGE_SEEN_S), samples, duty)
        forth = DriveRequest(plan.shape, plan.channels, pulses, Capture(1, every, samples))
        return forth, reversed_bridge(forth)
    channel = plan.channels[0]
    load, budget = core.job.load_type(channel), core.budget(channel)
    identity = core.box.identity
    wanted = plan_pulse(
        load,
        core.job.wire_ohm(channel),
        max(core.supply_v, 1.0),
        identity.sample_period_ns * 1e-9,
        identity.max_trace_samples,
        budget,
        core.box.status().free_traces,
    )
    fitted, notes = fit_all(core, channel, Pulses(wanted.count, wanted.period_us, wanted.on_time_us))
    result.notes.extend(f"Measuring: {note}" for note in notes)
    if fitted is None:
        raise StepInterruptedError(StepEnd.BLOCKED, "no pulse fits the budget: " + " ".join(notes))
    capture = Capture(wanted.trace_every, wanted.decimation, wanted.samples)
    return (DriveRequest(DriveShape.TRAIN, plan.channels, fitted, capture),)


def fit_all(core: Core, channel: int, pulses: Pulses) -> tuple[Pulses | None, tuple[str, ...]]:
    """A train lowered to the budgets of its channel and of every load that channel is known to reach."""
    notes: list[str] = []
    fitted: Pulses | None = pulses
    for reached in core.loads_reached((channel,)):
        if fitted is not None:
            fitted, why = fit_train(core.budget(reached), fitted)
            notes.extend(why)
    return fitted, tuple(notes)


def _noticing(
    core: Core, plan: DrivePlan, before: tuple[DriveRequest, ...], result: StepResult
) -> tuple[DriveRequest, ...]:
    """The load's own train, as far as the fuel ledger leaves room after the measuring pulses."""
    if plan.shape is DriveShape.BRIDGE:
        return ()
    pulses = Pulses(plan.count, plan.period_us, plan.on_time_us)
    if plan.shape is DriveShape.STEPPER:
        forth = DriveRequest(plan.shape, plan.channels, pulses)
        return forth, replace(forth, pulses=replace(pulses, count=-pulses.count))
    channel = plan.channels[0]
    model = core.budget(channel).model
    used = sum(model.liquid_released_ul(r.pulses.count, r.pulses.on_time_us) for r in before)
    kept = core.ledger
    core.ledger = kept.with_drive(core.place(channel), used)
    fitted, notes = fit_all(core, channel, pulses)
    core.ledger = kept
    shortest_us = before[0].pulses.on_time_us if before else 0
    if fitted is None or (used and fitted.on_time_us < min(pulses.on_time_us, shortest_us)):
        result.notes.append("Only the measuring pulse was driven: it uses up what fuel the budget allows.")
        return ()
    result.notes.extend(notes)
    return (DriveRequest(plan.shape, plan.channels, fitted),)


def _drive_once(core: Core, step: Step, request: DriveRequest, result: StepResult) -> DriveResult:
    """Drive, and turn everything that can keep it from being driven in full into the step's end."""
    result.drove.append(sentence_of(request))
    try:
        done = drive(core, request)
    except NotPermittedError as error:
        result.drove.pop()
        raise StepInterruptedError(StepEnd.BLOCKED, str(error)) from error
    except OverBudgetError as error:
        result.drove.pop()
        raise StepInterruptedError(StepEnd.BLOCKED, str(error)) from error
    except RequestRefused:
        result.drove.pop()
        raise
    result.traces.extend((raw, "drive") for raw in done.traces)
    if done.reason in _END:
        words = done.reason.name.lower()
        raise StepInterruptedError(_END[done.reason], f"the drive of channel {step.channel} was {words}")
    return done


def _drive_measured(core: Core, step: Step, request: DriveRequest, result: StepResult) -> None:
    done = _drive_once(core, step, request, result)
    if _all_cut(done, request):
        done = _measured_again(core, step, request, result) or done
    by_channel: dict[int, list[Trace]] = {}
    for raw in done.traces:
        trace = trace_of(raw, core.calibrations[raw.header.channel])
        by_channel.setdefault(trace.channel, []).append(trace)
    for channel, traces in by_channel.items():
        if request.shape is DriveShape.BRIDGE:
            share = bridge_duty_permille(core, request.channels) / 1000
            traces = [chopped(trace, share) for trace in traces]  # noqa: PLW2901 - the same traces, as the load saw them
        _take_in(core, channel, traces, result)
    if done.reason is messages.EndReason.TRIPPED:
        for channel in request.channels:
            result.learn(channel, tripped=True)
        raise StepInterruptedError(StepEnd.TRIPPED, f"channel {step.channel} tripped on over-current")


def _all_cut(done: DriveResult, request: DriveRequest) -> bool:
    """Whether a drive that went well brought no trace of the length asked for: the box was too busy to sample."""
    whole = [raw for raw in done.traces if raw.header.sample_count >= request.capture.samples]
    return done.reason is messages.EndReason.COMPLETE and request.capture.every > 0 and not whole


def _measured_again(core: Core, step: Step, request: DriveRequest, result: StepResult) -> DriveResult | None:
    """The same drive once more; None if it is not permitted again, for what came the first time is kept."""
    try:
        done = _drive_once(core, step, request, result)
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


def _ask_noticed(core: Core, step: Step, again: tuple[DriveRequest, ...], result: StepResult) -> None:
    """Ask until there is an answer that is not 'again'."""
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
        for request in again:
            untraced = replace(request, capture=Capture())
            _check_fuel_again(core, step, request.channels)
            ensure_permit(core, step, request.channels, request.duration_s + ARM_MARGIN_S)
            _again(core, step, untraced, result)
    result.noticed = _NOTICED[answer.choice]
    if answer.note:
        result.notes.append(answer.note)
    for channel in step.channels:
        result.learn(channel, noticed=result.noticed)


def _again(core: Core, step: Step, request: DriveRequest, result: StepResult) -> None:
    """Drive once more; over the budget is told and asked again, for it may only need a fresh statement."""
    try:
        _drive_once(core, step, request, result)
    except StepInterruptedError as error:
        if error.end is not StepEnd.BLOCKED:
            raise
        result.problems.append(f"not driven again: {error.reason}")


def sentence_of(request: DriveRequest) -> str:
    """What was driven, for the record."""
    pulses = request.pulses
    channels = "/".join(str(channel) for channel in request.channels)
    if request.shape is DriveShape.BRIDGE:
        return f"channel {channels}: {pulses.on_time_us / 1000:g} ms through the half-bridge"
    if request.shape is DriveShape.STEPPER:
        return f"channel {channels}: {pulses.count} steps of {pulses.period_us / 1000:g} ms"
    kind = "" if request.shape is DriveShape.TRAIN else ", peak and hold"
    rate = 1e6 / pulses.period_us
    return f"channel {channels}: {pulses.count} x {pulses.on_time_us / 1000:g} ms at {rate:g} Hz{kind}"
