"""The run sheet of a job: passive look, location walk, drives in the safe order, summary (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from loomproof.facts.drive import BridgeRequest
from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepKind
from loomproof.job.model import Job
from loomproof.procedure.drive.own_drive import Windings, own_drive, own_steps, stepper_groups
from loomproof.procedure.drive.words import announced
from loomproof.procedure.step import RunSheet, Step
from loomproof.safety.cautions import (
    FLEXING_DRIVEN,
    PULLING,
    PULLING_DRIVEN,
    PULLING_IN_SHORT,
    Caution,
    brief_cautions,
    opening_cautions,
    statement_cautions,
)
from loomproof.safety.order import Phase, phase_of, safe_order
from loomproof.safety.statements import StatementKind, form_for, hazards_of, statements_for


def build_sheet(job: Job) -> RunSheet:
    """The ordered steps of a job. The same job gives the same steps with the same ids."""
    return RunSheet((_look(job), *_said_once(_walk(job)), *_drives(job), _summary(job)))


def _said_once(steps: Iterable[Step]) -> Iterator[Step]:
    """The caution of pulling in full at the first step, in one line at the others."""
    said = False
    for step in steps:
        yield replace(step, cautions=(PULLING_IN_SHORT,)) if said and step.cautions == (PULLING,) else step
        said = said or PULLING in step.cautions


def _fitted(job: Job) -> tuple[int, ...]:
    return tuple(sorted(c.channel for c in job.channels if c.fitted))


def _look(job: Job) -> Step:
    return Step(
        id="look",
        kind=StepKind.PASSIVE_LOOK,
        phase=Phase.LOOK,
        title="Look at the loom without driving anything",
        what_will_happen=(
            "Every pin's resting voltage is read, then each load gets sense pulses too short to move or "
            "spark anything."
        ),
        channels=_fitted(job),
        cautions=opening_cautions(),
    )


def _walk(job: Job) -> Iterator[Step]:
    """Per connector a pull check, then a wiggle test; the channels of a location share both."""
    done: set[str] = set()
    for channel in _fitted(job):
        location = job.location_of(channel)
        if location is None:
            yield _pull(job, (channel,), job.channel(channel).name, None)
            yield _wiggle(job, (channel,), job.channel(channel).name, None)
        elif location.id not in done:
            done.add(location.id)
            together = tuple(c for c in _fitted(job) if job.channel(c).location == location.id)
            yield _pull(job, together, location.name, location.id)
            yield _wiggle(job, together, location.name, location.id)


def _pull(job: Job, channels: tuple[int, ...], where: str, location: str | None) -> Step:
    loads = ", ".join(f"{job.channel(c).name} ({job.channel(c).cavity})" for c in channels)
    return Step(
        id=f"pull-{channels[0]}",
        kind=StepKind.PULL_CHECK,
        phase=Phase.WALK,
        title=f"Pull the connector: {where}",
        what_will_happen=f"The box watches every channel; {loads} should lose its load, and get it back.",
        channel=channels[0],
        channels=channels,
        cautions=_walk_cautions(job, channels, PULLING_DRIVEN),
        hazard=_walk_hazard(job, channels),
        location=location,
    )


def _pair_among(job: Job, channels: tuple[int, ...]) -> int | None:
    """A channel whose load only its own drive shows: it lies between two pins, and bears no sense pulse."""
    return next((c for c in channels if job.channel(c).partner in channels), None)


def _walk_hazard(job: Job, channels: tuple[int, ...]) -> HazardClass:
    pair = _pair_among(job, channels)
    return HazardClass.NONE if pair is None else job.load_type(pair).hazard


def _walk_cautions(job: Job, channels: tuple[int, ...], driven: Caution) -> tuple[Caution, ...]:
    """Pulling and flexing need no more than their own caution, unless the load has to be driven for it."""
    pair = _pair_among(job, channels)
    if pair is None:
        return (PULLING,)
    pump = job.channel(pair).fuel_pump
    return (driven, *brief_cautions(hazards_of(job.load_type(pair)), job.setting, fuel_pump=pump))


def _wiggle(job: Job, channels: tuple[int, ...], where: str, location: str | None) -> Step:
    return Step(
        id=f"wiggle-{channels[0]}",
        kind=StepKind.WIGGLE,
        phase=Phase.WALK,
        title=f"Flex the loom: {where}",
        what_will_happen=_watching(job, channels),
        channel=channels[0],
        channels=channels,
        cautions=_walk_cautions(job, channels, FLEXING_DRIVEN),
        hazard=_walk_hazard(job, channels),
        location=location,
    )


def _watching(job: Job, channels: tuple[int, ...]) -> str:
    if _pair_among(job, channels) is None:
        return "Nothing is driven. The box watches the resting pin for contacts that let go."
    return "The load is driven in short pulses, and the box watches its current for contacts that let go."


def _drives(job: Job) -> Iterator[Step]:
    """Drives in the safe order; each phase opens with the statements it needs."""
    stated: set[StatementKind] = set()
    bridged: set[int] = set()
    last_of_group = {windings[-1]: (name, windings) for name, windings in stepper_groups(job).items()}
    for channel in safe_order(job):
        if channel in bridged:
            continue
        yield from _statements(job, channel, stated)
        step = _drive(job, channel)
        bridged.update(step.channels if isinstance(step.drive, BridgeRequest) else ())
        yield step
        if channel in last_of_group:
            yield _stepping(job, *last_of_group[channel])


def _statements(job: Job, channel: int, stated: set[StatementKind]) -> Iterator[Step]:
    load = job.load_type(channel)
    for kind in statements_for(load, fuel_pump=job.channel(channel).fuel_pump):
        if kind in stated:
            continue
        stated.add(kind)
        form = form_for(kind, job.setting)
        yield Step(
            id=f"state-{kind.value.replace('_', '-')}",
            kind=StepKind.STATEMENT,
            phase=phase_of(job, channel),
            title=form.title,
            what_will_happen="You confirm each fact. It holds for ten minutes at most, and a stop voids it.",
            cautions=statement_cautions(kind, job.setting),
            hazard=load.hazard,
            statement=kind,
        )


def _drive(job: Job, channel: int) -> Step:
    entry = job.channel(channel)
    load = job.load_type(channel)
    request = own_drive(job, channel)
    location = job.location_of(channel)
    return Step(
        id=f"drive-{channel}",
        kind=StepKind.DRIVE,
        phase=phase_of(job, channel),
        title=f"Drive {entry.name}",
        what_will_happen=f"{announced(request)} on {entry.cavity}: {load.notice}.",
        channel=channel,
        channels=request.channels,
        cautions=brief_cautions(hazards_of(load), job.setting, fuel_pump=entry.fuel_pump),
        hazard=load.hazard,
        drive=request,
        location=None if location is None else location.id,
        notice=load.notice,
    )


def _stepping(job: Job, name: str, windings: Windings) -> Step:
    request = own_steps(windings)
    first = windings[0]
    location = job.location_of(first)
    load = job.load_type(first)
    return Step(
        id=f"step-{first}",
        kind=StepKind.DRIVE,
        phase=phase_of(job, first),
        title=f"Step {name} with all four windings",
        what_will_happen=f"{announced(request)}, one winding after the other.",
        channel=first,
        channels=windings,
        cautions=brief_cautions(hazards_of(load), job.setting),
        hazard=HazardClass(load.hazard),
        drive=request,
        location=None if location is None else location.id,
        notice="the spindle runs evenly the way it should, then back; if it only shivers or starts the wrong "
        "way, windings are exchanged: answer that you noticed nothing",
    )


def _summary(job: Job) -> Step:
    return Step(
        id="summary",
        kind=StepKind.SUMMARY,
        phase=Phase.SUMMARY,
        title="Verdicts and findings",
        what_will_happen="Nothing is driven. All verdicts are drawn together and written to the record.",
        channels=_fitted(job),
    )
