"""What became of each channel, and the report's summary in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.records.models import ChannelFact, FindingFact, VerdictFact
from loomproof.records.record import Record, StepRecord
from loomproof.records.report import words
from loomproof.records.report.words import Mark, mark

_PULLED = {
    "matched": "by pull check",
    "other": "pull check: another channel lost its load",
    "several": "pull check: several channels lost their load",
    "none": "pull check: nothing lost its load",
    "skipped": "pull check skipped",
}


@dataclass(frozen=True)
class ChannelLine:
    """One line of the channel table."""

    fact: ChannelFact
    mark: Mark
    resistance: str
    resistance_limits: str
    limit_source: str
    action: Mark
    noticed: str
    location: Mark
    pulled: str
    reasons: tuple[str, ...]
    steps: tuple[StepRecord, ...]
    resistance_fact: VerdictFact | None

    @property
    def label(self) -> str:
        """`channel 3, injector 3 (H1-14)`."""
        return f"channel {self.fact.channel}, {self.fact.name} ({self.fact.cavity})"

    @property
    def anchor(self) -> str:
        """Id in the page."""
        return f"channel-{self.fact.channel}"


@dataclass(frozen=True)
class Summary:
    """What became of the loom: a leading sentence, tallies, and why each channel not proven is not."""

    lead: str
    tallies: tuple[tuple[Mark, int], ...]
    location: str
    failed: tuple[str, ...]
    unsure: tuple[str, ...]
    untested: tuple[str, ...]
    unfitted: tuple[str, ...]
    remarks: tuple[str, ...]


def channel_lines(record: Record) -> tuple[ChannelLine, ...]:
    """Return one line for each channel of the job, by channel number."""
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
    word = found.channel_verdicts.get(fact.channel, "not tested") if found else "not tested"
    if not fact.fitted:
        word = "not fitted"
    resistance = by_property.get("resistance")
    ended = [s.ended for s in steps if s.ended]
    noticed = next((e.noticed for e in reversed(ended) if e.noticed not in ("", "not asked")), "")
    pull = next((e.outcome["pull"] for e in reversed(ended) if e.outcome.get("pull")), None)
    return ChannelLine(
        fact=fact,
        mark=mark(word),
        resistance=_measured(resistance),
        resistance_limits=_limits(resistance),
        limit_source=resistance.limit_source if resistance else "",
        action=_property_mark(by_property.get("action")),
        noticed=noticed,
        location=_property_mark(by_property.get("location")),
        pulled=_PULLED.get(str(pull.get("outcome")), "") if isinstance(pull, dict) else "",
        reasons=_reasons(word, own, steps),
        steps=tuple(steps),
        resistance_fact=resistance,
    )


def _property_mark(verdict: VerdictFact | None) -> Mark:
    return mark(verdict.verdict if verdict else "not tested")


def _measured(v: VerdictFact | None) -> str:
    return words.measured(v.measured, v.unit, v.low, v.high) if v else ""


def _limits(v: VerdictFact | None) -> str:
    value = v.measured.value if v and v.measured else None
    return words.limits(v.low, v.high, v.unit, value) if v else ""


def _reasons(word: str, verdicts: Sequence[VerdictFact], steps: Sequence[StepRecord]) -> tuple[str, ...]:
    """Why a channel is not proven: the reasons of its worst properties, and of steps that were skipped."""
    if word == "not tested" and not steps:
        return ("no step of it was worked through",)
    wanted = {"fail": ("fail",), "unsure": ("unsure",), "not tested": ("not tested",)}.get(word, ())
    reasons = [f"{v.property}: {v.reason}" for v in verdicts if v.verdict in wanted and v.reason]
    last = {step.step_id: step for step in steps}  # of each step, its last attempt
    skipped = [s.ended.skipped_reason for s in last.values() if s.ended and s.ended.skipped_reason]
    reasons += [f"skipped: {why}" for why in skipped if not any(why in reason for reason in reasons)]
    reasons += [f"{s.title}: interrupted" for s in last.values() if s.state != "ended"]
    return tuple(dict.fromkeys(reasons))


def summarise(record: Record, lines: Sequence[ChannelLine]) -> Summary:
    """Return the summary of a record."""
    fitted = [line for line in lines if line.fact.fitted]
    by_word = {word: [x for x in lines if x.mark.word == word] for word in words.MARKS}
    proven = by_word["pass"]
    located = [line for line in fitted if line.location.word == "pass"]
    return Summary(
        lead=_lead(len(proven), len(fitted)),
        tallies=tuple(
            (mark(w), len(by_word[w])) for w in ("pass", "fail", "unsure", "not tested", "not fitted")
        ),
        location=_located(len(located), len(fitted)),
        failed=_explained(by_word["fail"]),
        unsure=_explained(by_word["unsure"]),
        untested=_explained(by_word["not tested"]),
        unfitted=_explained(by_word["not fitted"]),
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
        return (
            "Where the loads are was not proven by pulling their connectors: locations are as the job says."
        )
    if located == fitted:
        return "Each one's place was proven by pulling its connector."
    verb = "was" if located == 1 else "were"
    return (
        f"The place of {located} of {fitted} {verb} proven by pulling the connector; "
        "the other places are as the job says."
    )


def _explained(lines: Sequence[ChannelLine]) -> tuple[str, ...]:
    return tuple(
        f"{line.label[0].upper()}{line.label[1:]}" + (f" – {'; '.join(line.reasons)}" if line.reasons else "")
        for line in lines
    )


def _remarks(record: Record) -> tuple[str, ...]:
    remarks: list[str] = []
    repeated = len({s.step_id for s in record.steps if s.attempt > 1})
    interrupted = sum(s.state == "interrupted" for s in record.steps)
    stops = sum(body.kind == "stop" for _, body in record.events)
    trips = sum(body.kind == "trip" for _, body in record.events)
    if repeated:
        remarks.append(f"{words.count(repeated, 'step')} repeated; every attempt is listed.")
    if interrupted:
        remarks.append(f"{words.count(interrupted, 'step')} cut off when the program ended; listed below.")
    if stops or trips:
        remarks.append(
            f"{words.count(stops, 'stop')} and {words.count(trips, 'over-current trip')} are listed below."
        )
    if record.unended:
        titles = words.listed([step.title for step in record.unended])
        remarks.append(f"Under way, or cut off, when this report was made: {titles}.")
    return tuple(remarks)


def finding_title(finding: FindingFact) -> str:
    """Return `Open circuit – H1-12`."""
    where = words.listed(list(finding.cavities))
    name = words.fault_name(finding.fault)
    return f"{name[0].upper()}{name[1:]}" + (f" – {where}" if where else "")
