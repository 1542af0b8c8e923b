"""The line of each channel, and the report's summary in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.facts.record import EventKind
from loomproof.facts.verdict import Property, Verdict
from loomproof.records.models import ChannelFact, FindingFact, VerdictFact
from loomproof.records.record import AttemptState, Record, StepRecord
from loomproof.records.report import words
from loomproof.records.report.words import VerdictMark, mark

_PULLED = {
    "matched": "by pull check",
    "other": "pull check: another channel lost its load",
    "several": "pull check: several channels lost their load",
    "none": "pull check: nothing lost its load",
    "skipped": "pull check skipped",
}


@dataclass(frozen=True)
class ChannelLine:
    """One line of the table of channels."""

    fact: ChannelFact
    mark: VerdictMark
    resistance: str
    resistance_limits: str
    limit_source: str
    action: VerdictMark
    noticed: str
    location: VerdictMark
    pulled: str
    reasons: tuple[str, ...]
    steps: tuple[StepRecord, ...]
    resistance_fact: VerdictFact | None

    @property
    def label(self) -> str:
        """The channel in words, such as `channel 3, injector 3 (H1-14)`."""
        return f"channel {self.fact.channel}, {self.fact.name} ({self.fact.cavity})"

    @property
    def anchor(self) -> str:
        """The id of the line in the page."""
        return f"channel-{self.fact.channel}"


@dataclass(frozen=True)
class Summary:
    """The summary: a leading sentence, tallies, and the reasons of each channel that is not proven."""

    lead: str
    tallies: tuple[tuple[VerdictMark, int], ...]
    location: str
    failed: tuple[str, ...]
    unsure: tuple[str, ...]
    untested: tuple[str, ...]
    unfitted: tuple[str, ...]
    remarks: tuple[str, ...]


def channel_lines(record: Record) -> tuple[ChannelLine, ...]:
    """Return one line for each channel of the job, in order of channel numbers."""
    steps: dict[int, list[StepRecord]] = {}
    for step in record.steps:
        for channel in _channels_of(step):
            steps.setdefault(channel, []).append(step)
    return tuple(_line(record, fact, steps.get(fact.channel, [])) for fact in record.begun.channels)


def _channels_of(step: StepRecord) -> tuple[int, ...]:
    several = step.ended.outcome.get("channels") if step.ended else None
    if several:
        return tuple(int(channel) for channel in several)
    return () if step.channel is None else (step.channel,)


def _line(record: Record, fact: ChannelFact, steps: Sequence[StepRecord]) -> ChannelLine:
    found = record.findings
    own = [v for v in found.verdicts if v.channel == fact.channel] if found else []
    by_property = {v.property: v for v in own}
    word = found.channel_verdicts.get(fact.channel, Verdict.NOT_TESTED) if found else Verdict.NOT_TESTED
    if not fact.fitted:
        word = Verdict.NOT_FITTED
    resistance = by_property.get(Property.RESISTANCE)
    ended = [s.ended for s in steps if s.ended]
    noticed = next((e.noticed for e in reversed(ended) if e.noticed not in ("", "not asked")), "")
    pull = next((e.outcome["pull"] for e in reversed(ended) if e.outcome.get("pull")), None)
    return ChannelLine(
        fact=fact,
        mark=mark(word),
        resistance=_measured(resistance),
        resistance_limits=_limits(resistance),
        limit_source=resistance.limit_source if resistance else "",
        action=_property_mark(by_property.get(Property.ACTION)),
        noticed=noticed,
        location=_property_mark(by_property.get(Property.LOCATION)),
        pulled=_PULLED.get(str(pull.get("outcome")), "") if isinstance(pull, dict) else "",
        reasons=_reasons(word, own, steps),
        steps=tuple(steps),
        resistance_fact=resistance,
    )


def _property_mark(verdict: VerdictFact | None) -> VerdictMark:
    return mark(verdict.verdict if verdict else Verdict.NOT_TESTED)


def _measured(v: VerdictFact | None) -> str:
    return words.measured(v.measured, v.unit, v.low, v.high) if v else ""


def _limits(v: VerdictFact | None) -> str:
    value = v.measured.value if v and v.measured else None
    return words.limits(v.low, v.high, v.unit, value) if v else ""


def _reasons(word: str, verdicts: Sequence[VerdictFact], steps: Sequence[StepRecord]) -> tuple[str, ...]:
    """Return why a channel is not proven: the reasons of its worst properties and of its skipped steps."""
    if word == Verdict.NOT_TESTED and not steps:
        return ("none of its steps was done",)
    explained = word in (Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED)
    reasons = [f"{v.property}: {v.reason}" for v in verdicts if explained and v.verdict == word and v.reason]
    last = {step.step_id: step for step in steps}  # of each step, its last attempt
    skipped = [s.ended.skipped_reason for s in last.values() if s.ended and s.ended.skipped_reason]
    reasons += [f"skipped: {why}" for why in skipped]
    reasons += [f"{s.title}: interrupted" for s in last.values() if s.state is not AttemptState.ENDED]
    return tuple(dict.fromkeys(reasons))


def summarise(record: Record, lines: Sequence[ChannelLine]) -> Summary:
    """Return the summary of a record."""
    fitted = [line for line in lines if line.fact.fitted]
    by_word = {word: [x for x in lines if x.mark.word == word] for word in words.MARKS}
    proven = by_word[Verdict.PASS]
    located = [line for line in fitted if line.location.word == Verdict.PASS]
    return Summary(
        lead=_lead(len(proven), len(fitted)),
        tallies=tuple((mark(verdict), len(by_word[verdict])) for verdict in Verdict),
        location=_located(len(located), len(fitted)),
        failed=_explained(by_word[Verdict.FAIL]),
        unsure=_explained(by_word[Verdict.UNSURE]),
        untested=_explained(by_word[Verdict.NOT_TESTED]),
        unfitted=_explained(by_word[Verdict.NOT_FITTED]),
        remarks=_remarks(record),
    )


def _lead(proven: int, fitted: int) -> str:
    outputs = words.count(fitted, "output")
    if fitted and proven == fitted:
        return (
            f"All {outputs} of this loom are proven."
            if fitted > 1
            else "The one output of this loom is proven."
        )
    verb = "is" if proven == 1 else "are"
    return f"{proven or 'None'} of {outputs} {verb} proven."


def _located(located: int, fitted: int) -> str:
    if not located:
        return "No place was proven by pulling a connector: the places are those of the job."
    if located == fitted:
        return "The place of every output was proven by pulling its connector."
    start = "The place of 1" if located == 1 else f"The places of {located}"
    verb = "was" if located == 1 else "were"
    return f"{start} of {fitted} outputs {verb} proven by pulling the connector; the other places are those of the job."


def _explained(lines: Sequence[ChannelLine]) -> tuple[str, ...]:
    return tuple(
        f"{line.label[0].upper()}{line.label[1:]}" + (f" – {'; '.join(line.reasons)}" if line.reasons else "")
        for line in lines
    )


def _remarks(record: Record) -> tuple[str, ...]:
    remarks: list[str] = []
    repeated = len({s.step_id for s in record.steps if s.attempt > 1})
    interrupted = sum(s.state is AttemptState.INTERRUPTED for s in record.steps)
    stops = sum(body.kind == EventKind.STOP for _, body in record.events)
    trips = sum(body.kind == EventKind.TRIP for _, body in record.events)
    if repeated:
        remarks.append(f"{words.count(repeated, 'step')} repeated; every attempt is listed.")
    if interrupted:
        remarks.append(f"{words.count(interrupted, 'step')} cut off when the program ended; see Annex B.")
    if stops or trips:
        remarks.append(
            f"{words.count(stops, 'stop')} and {words.count(trips, 'over-current trip')} are listed below."
        )
    if record.unended:
        titles = words.listed([step.title for step in record.unended])
        remarks.append(f"Not ended when this report was made: {titles}.")
    return tuple(remarks)


def finding_title(finding: FindingFact) -> str:
    """Return the title of a finding, such as `Open circuit – H1-12`."""
    where = words.listed(list(finding.cavities))
    name = words.fault_name(finding.fault)
    return f"{name[0].upper()}{name[1:]}" + (f" – {where}" if where else "")
