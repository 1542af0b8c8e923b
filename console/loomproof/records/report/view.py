"""Everything that the report's template shows, prepared beforehand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from loomproof.diagnose.faults.words import likelihood_text
from loomproof.facts.record import EventKind
from loomproof.records.models import BoxFact, FindingFact, ResumedFact
from loomproof.records.record import AttemptState, Record, StepRecord, StoredTrace
from loomproof.records.report import words
from loomproof.records.report.pictures import Picture, band_of, draw, measured_trace
from loomproof.records.report.places import Places, places_of_record
from loomproof.records.report.summary import (
    ChannelLine,
    Summary,
    channel_lines,
    finding_title,
    summarise,
)
from loomproof.records.report.words import VerdictMark, mark

_ROUTINE = (EventKind.ARMED, EventKind.DISARMED)
MOST_OVERLAYS = 4
"""The number of further pulses that are drawn thinly behind the first."""


@dataclass(frozen=True)
class ReportFinding:
    """One finding."""

    title: str
    fact: FindingFact
    where: str
    likelihood: str
    alike: str


@dataclass(frozen=True)
class PropertyLine:
    """One property of one channel."""

    channel: int
    name: str
    property: str
    measured: str
    limits: str
    source: str
    mark: VerdictMark
    reason: str


@dataclass(frozen=True)
class TraceFigure:
    """One picture with its caption."""

    line: ChannelLine
    picture: Picture
    caption: str


@dataclass(frozen=True)
class StatementLine:
    """One statement."""

    made: str
    who: str
    sentence: str
    facts: tuple[str, ...]
    held_until: str


@dataclass(frozen=True)
class EventLine:
    """One event."""

    at: str
    kind: str
    channel: str
    text: str


@dataclass(frozen=True)
class StepLine:
    """One attempt at one step."""

    began: str
    took: str
    title: str
    attempt: int
    mark: VerdictMark
    end: str
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class BoxLine:
    """One instrument."""

    fact: BoxFact
    calibrated: str
    uncertainty: str


@dataclass(frozen=True)
class ReportView:
    """The whole report."""

    record: Record
    overall: VerdictMark
    state: str
    begun: str
    ended: str
    summary: Summary
    findings: tuple[ReportFinding, ...]
    lines: tuple[ChannelLine, ...]
    properties: tuple[PropertyLine, ...]
    figures: tuple[TraceFigure, ...]
    without_picture: str
    traces_kept: str
    statements: tuple[StatementLine, ...]
    events: tuple[EventLine, ...]
    routine: tuple[EventLine, ...]
    steps: tuple[StepLine, ...]
    boxes: tuple[BoxLine, ...]
    places: Places


def build_view(record: Record) -> ReportView:
    """Return everything that the report shows of a record."""
    lines = channel_lines(record)
    finished = record.finished
    figures = tuple(_figures(record, lines))
    drawn = {figure.line.fact.channel for figure in figures}
    missing = [str(line.fact.channel) for line in lines if line.fact.channel not in drawn]
    return ReportView(
        record=record,
        overall=mark(finished.verdict if finished else ""),
        state="" if finished else "This record is not finished.",
        begun=words.moment(record.entries[0].at),
        ended=words.moment(record.entries[-1].at),
        summary=summarise(record, lines),
        findings=tuple(_finding(f) for f in (record.findings.findings if record.findings else ())),
        lines=lines,
        properties=tuple(_properties(record)),
        figures=figures,
        without_picture=words.listed(missing),
        traces_kept=words.count(len(record.traces), "trace"),
        statements=tuple(_statements(record)),
        events=tuple(_events(record, routine=False)),
        routine=tuple(_events(record, routine=True)),
        steps=tuple(_step(step) for step in record.steps),
        boxes=tuple(_boxes(record)),
        places=places_of_record(record),
    )


def _finding(fact: FindingFact) -> ReportFinding:
    where = [f"channel {n}" for n in fact.channels]
    place = fact.location if len(fact.channels) == 1 else ""
    where += [text for text in (place, f"feed {fact.feed}" if fact.feed else "") if text]
    alike = [words.fault_name(name) for name in fact.cannot_tell_from]
    return ReportFinding(
        title=finding_title(fact),
        fact=fact,
        where=", ".join(where),
        likelihood=likelihood_text(fact.likelihood),
        alike=words.listed(alike),
    )


def _properties(record: Record) -> Iterator[PropertyLine]:
    names = {fact.channel: fact.name for fact in record.begun.channels}
    for v in record.findings.verdicts if record.findings else ():
        value = v.measured.value if v.measured else None
        yield PropertyLine(
            channel=v.channel,
            name=names.get(v.channel, ""),
            property=v.property,
            measured=words.measured(v.measured, v.unit, v.low, v.high),
            limits=words.limits(v.low, v.high, v.unit, value),
            source=v.limit_source,
            mark=mark(v.verdict),
            reason=v.reason,
        )


def _figures(record: Record, lines: Sequence[ChannelLine]) -> Iterator[TraceFigure]:
    for line in lines:
        found = _traces_to_show(line)
        if found is None:
            continue
        step, stored = found
        box = _box_at(record, step.sequence)
        traces = [t for t in (measured_trace(s, box) for s in stored) if t is not None]
        if not traces:
            continue
        picture = draw(
            traces,
            band_of(traces[0], line.fact, line.resistance_fact),
            f"{line.label[0].upper()}{line.label[1:]}",
            f"trace{line.fact.channel}",
        )
        yield TraceFigure(line, picture, _caption(step, stored))


def _traces_to_show(line: ChannelLine) -> tuple[StepRecord, list[StoredTrace]] | None:
    """Return the traces of the channel's last attempt that has any, of drives rather than of sense pulses."""
    for purpose in ("drive", "watch", "sense"):
        for step in reversed(line.steps):
            stored = [
                t for t in step.traces if (t.header.channel, t.header.purpose) == (line.fact.channel, purpose)
            ]
            if stored:
                stored.sort(key=lambda t: t.header.pulse_index)
                return step, stored[: MOST_OVERLAYS + 1]
    return None


def _box_at(record: Record, sequence: int) -> BoxFact:
    """Return the instrument in use at an entry: that of the latest beginning or resumption before it."""
    later = [body.box for entry, body in record.all(ResumedFact) if entry.sequence <= sequence]
    return later[-1] if later else record.begun.box


def _caption(step: StepRecord, stored: Sequence[StoredTrace]) -> str:
    first = stored[0].header
    purpose = "sense pulse" if first.purpose == "sense" else f"pulse {first.pulse_index + 1}"
    parts = [f"{step.title}: {purpose}, {first.on_time_us / 1000:g} ms"]
    if len(stored) > 1:
        parts.append(f"thin lines: {words.count(len(stored) - 1, 'further pulse')}")
    if first.tripped:
        parts.append("switched off by over-current trip")
    if first.truncated:
        parts.append("the pulse outlasted the trace")
    return "; ".join(parts)


def _statements(record: Record) -> Iterator[StatementLine]:
    for entry, body in record.statements:
        until = "until voided"
        if body.valid_for_s is not None:
            until = "at most until " + words.clock(entry.at + timedelta(seconds=min(body.valid_for_s, 1e8)))
        facts = tuple(fact.replace("_", " ") for fact in body.facts)
        if facts and all(fact in body.sentence for fact in facts):
            facts = ("as in the statement" if len(facts) == 1 else f"all {len(facts)}, as in the statement",)
        yield StatementLine(words.moment(entry.at), body.who, body.sentence, facts, until)


def _events(record: Record, *, routine: bool) -> Iterator[EventLine]:
    """Yield the notable events, or the routine ones."""
    for entry, body in record.events:
        if (body.kind in _ROUTINE) is routine:
            kind = body.kind.replace("_", " ")
            yield EventLine(words.moment(entry.at), kind, str(body.channel or ""), body.text)


def _step(step: StepRecord) -> StepLine:
    remarks: list[str] = []
    end = "interrupted" if step.state is AttemptState.INTERRUPTED else "not ended"
    if step.ended:
        outcome = step.ended.outcome
        end = str(outcome.get("end") or "done")
        if step.ended.noticed not in ("", "not asked"):
            remarks.append(f"operator noticed: {step.ended.noticed}")
        if step.ended.skipped_reason:
            remarks.append(f"skipped: {step.ended.skipped_reason}")
        remarks += [words.typeset(str(problem)) for problem in outcome.get("problems") or ()]
        remarks += [step.ended.note] if step.ended.note else []
    took = f"{(step.ended_at - step.began_at).total_seconds():.0f} s" if step.ended_at else ""
    return StepLine(
        began=words.clock(step.began_at),
        took=took,
        title=step.title,
        attempt=step.attempt,
        mark=mark(step.verdict),
        end=end,
        remarks=tuple(remarks),
    )


def _boxes(record: Record) -> Iterator[BoxLine]:
    seen: list[BoxFact] = []
    for box in record.boxes:
        if box not in seen:
            seen.append(box)
            yield BoxLine(box, _calibrated(box, record.entries[0].at.date()), _uncertainty(box))


def _calibrated(box: BoxFact, begun: date) -> str:
    if not box.calibrated_on:
        return "The box has no calibration date: its figures cannot be traced to a calibration."
    try:
        days = (begun - date.fromisoformat(box.calibrated_on)).days
    except ValueError:
        return f"{box.calibrated_on} (as reported by the box; not a date)"
    when = f"{words.count(days, 'day')} before this record" if days >= 0 else "after this record was begun"
    return f"{box.calibrated_on} ({when})"


def _uncertainty(box: BoxFact) -> str:
    """Return the expanded uncertainty of the current scales, over the channels."""
    gains = [c["gain_u_relative"] for c in box.calibrations.values() if c.get("gain_u_relative") is not None]
    known = sorted({words.COVERAGE_FACTOR * 100.0 * gain for gain in gains if gain is not None})
    if not known:
        return "not stated by the box"
    span = f"{known[0]:.2g} %" if len(known) == 1 else f"{known[0]:.2g} % to {known[-1]:.2g} %"
    return f"{span} of the current measured"
