"""The passive look: resting voltages of all pins, then sense pulses too short to move or spark anything."""

from __future__ import annotations

from loomproof.box.errors import RequestRefused
from loomproof.diagnose.observed.pin_at_rest import holds_something, on_at_rest
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.trace import Trace
from loomproof.job.load_traits import FILAMENT_KINDS
from loomproof.job.load_type import LoadType
from loomproof.measure.settle.filament import cold_filament
from loomproof.measure.signature import measure
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import scan_of, supply_of, trace_of
from loomproof.procedure.drive.first_pulse import first_pulses
from loomproof.procedure.events import ChannelMeasured
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.steps.statement import ensure_harmless
from loomproof_wire import messages

LEAST_SENSE_US = 10
"""A shorter sense pulse says nothing; a load that bears no longer one is left out, and told."""
AFTER_SAMPLES = 40
"""Samples after a sense pulse, for the way its current goes back."""


def run_look(core: Core, step: Step, result: StepResult) -> None:
    """Read every pin at rest, give each its first pulse, the shortest there is, then look at each load."""
    answer = core.ask(
        core.prompt(
            PromptKind.READY,
            step.id,
            step.title,
            step.what_will_happen,
            choices=(Choice.DRIVE, Choice.SKIP, Choice.LEAVE),
            cautions=step.cautions,
        )
    )
    result.skip_if_asked(answer)
    ensure_harmless(core, step)
    _rest(core, step, result)
    _tell_what_is_on(core, result)
    _tell_what_is_not_fitted(core, result)
    first_pulses(core, step.channels)
    for channel in step.channels:
        core.check()
        _sense(core, channel, result)
    _tell_left_out(core, step, result)
    result.notes.append("The look alone proves no channel: it only says whether driving may begin.")


def _tell_left_out(core: Core, step: Step, result: StepResult) -> None:
    """Which loads got no sense pulse, because none is short enough to move and spark nothing there."""
    left = [c for c in step.channels if core.conditions.budget(c).max_sense_us < LEAST_SENSE_US]
    if left:
        names = ", ".join(f"{c} ({core.job.channel(c).name})" for c in left)
        result.notes.append(f"No sense pulse on channel {names}: its pin was read at rest only.")


def _tell_what_is_on(core: Core, result: StepResult) -> None:
    """A load that a path to ground turns on gets warm, sprays or turns while nothing is driven."""
    seen = LoomEvidence(result.evidence, supply_rest_v=result.supply_rest_v)
    for channel, rest in on_at_rest(core.job, seen).items():
        flows = f", about {rest.load_a:.2g} A," if rest.load_a is not None else ""
        result.problems.append(
            f"channel {channel} ({core.job.channel(channel).name}) rests at {rest.pin_v:.1f} V with every output off: "
            f"a path to ground, through which its load is on{flows} whatever the box does. Switch the supply off and "
            "mend that first"
        )


def _tell_what_is_not_fitted(core: Core, result: StepResult) -> None:
    """A load where the job has none is never driven, and is worth a word: the job or the loom is wrong."""
    seen = LoomEvidence(result.evidence, supply_rest_v=result.supply_rest_v)
    for entry in core.job.channels:
        if not entry.fitted and holds_something(core.job, seen, entry.channel):
            rest_v = seen.of(entry.channel).resting_drain_v
            result.problems.append(
                f"channel {entry.channel} ({entry.name}), cavity {entry.cavity}: the job says that nothing is fitted there, "
                f"yet its pin rests at {rest_v:.1f} V: something is. It is not driven. Look what it is, and correct the job"
            )


def _rest(core: Core, step: Step, result: StepResult) -> None:
    # What should not be there is read at rest, and never given a pulse.
    raw = core.box.scan((*step.channels, *(c.channel for c in core.job.channels if not c.fitted)), 0)
    supply_v = supply_of(raw, core.calibrations[step.channels[0]])
    result.supply_rest_v = supply_v
    core.supply_v = max(core.supply_v, supply_v)
    result.measured["supply_v"] = round(supply_v, 3)
    for channel, seen in scan_of(raw, core.calibrations).items():
        result.evidence[channel] = ChannelEvidence(channel, resting_drain_v=seen.drain_v)


def _sense(core: Core, channel: int, result: StepResult) -> None:
    longest_us = core.conditions.budget(channel).max_sense_us
    if longest_us < LEAST_SENSE_US:
        return
    identity = core.box.identity
    samples = min(sense_samples(longest_us, identity.sample_period_ns), identity.max_trace_samples)
    try:
        raw = core.box.sense(channel, longest_us, samples)
    except RequestRefused as refused:
        if refused.reason is messages.Refusal.NO_SESSION:
            raise  # not about this channel: the box has started anew
        result.problems.append(f"channel {channel}: no sense pulse: {refused}")
        return
    result.traces.append((raw, "sense"))
    trace = trace_of(raw, core.calibrations[channel])
    seen = what_sense_shows(trace, core.job.load_type(channel))
    assert seen.sense is not None
    core.publish(ChannelMeasured(channel, seen.sense, sense=True))
    core.box.call_in()
    result.learn(
        channel,
        sense=seen.sense,
        sense_current_a=seen.sense_current_a,
        sense_current_u_a=seen.sense_current_u_a,
        sense_on_time_s=seen.sense_on_time_s,
        tripped=seen.tripped,
    )
    result.measured[f"sense {channel}"] = seen.sense.as_dict()


def sense_samples(on_time_us: int, sample_period_ns: int) -> int:
    """Sample sets that hold a sense pulse and what comes after it."""
    return AFTER_SAMPLES + int(on_time_us * 1000 / sample_period_ns) + 1


def what_sense_shows(trace: Trace, load: LoadType) -> ChannelEvidence:
    """The evidence of one sense pulse (pure): its signature, and the current at its end. A filament is cold in it."""
    signature = measure([trace], load)
    if load.kind in FILAMENT_KINDS:
        signature = signature.but(resistance_ohm=cold_filament(trace))
    on = trace.on
    flowed = bool(on.any())
    return ChannelEvidence(
        trace.channel,
        sense=signature,
        sense_current_a=float(trace.current_a[on][-1]) if flowed else None,
        sense_current_u_a=float(trace.current_u_a[on][-1]) if flowed else None,
        sense_on_time_s=float(trace.time_s[on][-1]) if flowed else None,
        tripped=trace.tripped,
    )
