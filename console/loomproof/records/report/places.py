"""Where the loads are: the channel behind each pulled connector, the moves that mend the header, the dropouts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from loomproof.facts.step import StepKind
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.walk.map import VERDICTS, answers_from, map_of, plan_texts, row_text
from loomproof.procedure.walk.model import Place
from loomproof.records.models import ChannelFact
from loomproof.records.record import Record
from loomproof.records.report.words import VerdictMark, mark


@dataclass(frozen=True)
class PlaceLine:
    """One connector that was pulled."""

    name: str
    cavities: str
    found: str
    how: str
    mark: VerdictMark


@dataclass(frozen=True)
class DropoutLine:
    """One opening of a contact while the loom was wiggled."""

    channel: str
    place: str
    at: str
    length: str
    depth: str
    hand: str


@dataclass(frozen=True)
class Places:
    """The map of places with the moves that mend the header, and the dropouts."""

    lines: tuple[PlaceLine, ...]
    moves: tuple[str, ...]
    dropouts: tuple[DropoutLine, ...]


def places_of_record(record: Record) -> Places:
    """Return the map of places and the dropouts of a record."""
    facts = {fact.channel: fact for fact in record.begun.channels}
    outcomes = _outcomes(record)
    pulls = {o.step_id: o for o in outcomes if o.kind is StepKind.PULL_CHECK}
    places = tuple(_place(outcome, facts) for outcome in pulls.values())
    found = map_of(places, answers_from(places, outcomes))
    lines = tuple(
        PlaceLine(
            row.place.name,
            ", ".join(facts[c].cavity for c in row.place.expected if c in facts),
            row_text(row),
            row.how.value if row.how is not None else "",
            mark(VERDICTS.get(row.state, "not tested")),
        )
        for row in found.rows
    )
    pulled = {channel for place in places for channel in place.expected}
    complete = found.complete and all(c in pulled for c, fact in facts.items() if fact.fitted)
    cavities = {c: (fact.cavity, fact.wire) for c, fact in facts.items()}
    moves = plan_texts(cavities, found.plan, complete=complete)
    names = {c: fact.name for c, fact in facts.items()}
    return Places(lines, moves, tuple(_dropouts(outcomes, names)))


def _outcomes(record: Record) -> list[StepOutcome]:
    """Return the outcomes of pull checks and wiggle tests, in order."""
    wanted = (StepKind.PULL_CHECK.value, StepKind.WIGGLE.value)
    return [
        StepOutcome.model_validate(step.ended.outcome)
        for step in record.steps
        if step.ended is not None and step.kind in wanted
    ]


def _place(outcome: StepOutcome, facts: dict[int, ChannelFact]) -> Place:
    """Return the place of a pull check, under the name that its run sheet gave it."""
    fact = next((facts[channel] for channel in outcome.channels if channel in facts), None)
    name = "" if fact is None else fact.location or fact.name
    seen = frozenset(
        e.channel for e in outcome.evidence if e.pull is not None and e.pull.outcome != "skipped"
    )
    return Place(outcome.step_id, name, "", outcome.channels, seen, outcome.step_id)


def _dropouts(outcomes: Iterable[StepOutcome], names: dict[int, str]) -> Iterable[DropoutLine]:
    for outcome in {o.step_id: o for o in outcomes if o.kind is StepKind.WIGGLE}.values():
        for row in outcome.measured.get("dropouts") or ():
            channel = int(row["channel"])
            yield DropoutLine(
                channel=str(channel),
                place=names.get(channel, ""),
                at=f"{float(row['at_s']) - outcome.began_s:.2f} s",
                length=f"{int(row['length_us']) / 1000:g} ms",
                depth=f"{int(row['depth_permille']) / 10:g} %",
                hand=str(row.get("hand") or ""),
            )
