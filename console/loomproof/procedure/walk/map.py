"""The map: what was expected at each place, what was found there, and how to mend the difference (pure)."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.step import StepKind
from loomproof.facts.verdict import Verdict
from loomproof.job.model import Job
from loomproof.procedure.evidence_merge import newest_counting
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.walk.mend import MendPlan, Move, MoveKind, plan_moves
from loomproof.procedure.walk.model import Channels, How, Place, WalkAnswer


class PlaceState(StrEnum):
    """What is known of a place."""

    RIGHT = "right"
    WRONG = "wrong"
    PARTLY = "partly"
    JOINED = "joined"
    NOTHING = "moves nothing"
    CONFLICT = "two answers"
    OPEN = "not asked yet"
    SILENT = "no answer"
    SKIPPED = "skipped"
    BLIND = "cannot be seen"


VERDICTS: Mapping[PlaceState, Verdict] = {
    PlaceState.RIGHT: Verdict.PASS,
    PlaceState.WRONG: Verdict.FAIL,
    PlaceState.PARTLY: Verdict.FAIL,
    PlaceState.JOINED: Verdict.FAIL,
    PlaceState.NOTHING: Verdict.FAIL,
    PlaceState.CONFLICT: Verdict.UNSURE,
    PlaceState.SILENT: Verdict.UNSURE,
}
"""What a place's state means for its channels; those left out are not tested."""


@dataclass(frozen=True, slots=True)
class PlaceFound:
    """One place of the map. `found` is None where nothing is known."""

    place: Place
    found: Channels | None
    state: PlaceState
    how: How | None = None


@dataclass(frozen=True, slots=True)
class WalkMap:
    """Expected against found, and what mends it."""

    rows: tuple[PlaceFound, ...]
    plan: MendPlan
    blind: tuple[int, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every place that can be seen is known, right or wrong."""
        unknown = (PlaceState.OPEN, PlaceState.SILENT, PlaceState.SKIPPED, PlaceState.CONFLICT)
        return not any(row.state in unknown for row in self.rows)

    @property
    def right(self) -> bool:
        """Whether every place answered as the job says."""
        return all(row.state is PlaceState.RIGHT for row in self.rows)


def map_of(
    places: Sequence[Place], answers: Mapping[str, WalkAnswer], blind: Collection[int] = ()
) -> WalkMap:
    """Put the answers beside what the job expects."""
    times: dict[int, int] = {}
    shared: dict[Channels, Channels] = {}
    for place in places:
        found = answers[place.id].channels if place.id in answers else frozenset[int]()
        for channel in found:
            times[channel] = times.get(channel, 0) + 1
        shared[found] = shared.get(found, frozenset()) | place.visible
    joined = frozenset(found for found, expected in shared.items() if found == expected and len(found) > 1)
    rows = tuple(_row(place, answers.get(place.id), times, joined) for place in places)
    known = {
        row.place.id: row.found
        for row in rows
        if row.found is not None
        and row.state in (PlaceState.RIGHT, PlaceState.WRONG, PlaceState.PARTLY, PlaceState.JOINED)
    }
    expected = {place.id: frozenset(place.expected) for place in places}
    return WalkMap(rows, plan_moves(expected, known), tuple(sorted(blind)))


def _row(
    place: Place, answer: WalkAnswer | None, times: Mapping[int, int], joined: frozenset[Channels]
) -> PlaceFound:
    if not place.visible and (answer is None or not answer.channels):
        return PlaceFound(place, None, PlaceState.BLIND)
    if answer is None:
        return PlaceFound(place, None, PlaceState.OPEN)
    if answer.how is How.SILENT:
        return PlaceFound(place, None, PlaceState.SILENT, answer.how)
    if answer.how is How.SKIPPED:
        return PlaceFound(place, None, PlaceState.SKIPPED, answer.how)
    return PlaceFound(place, answer.channels, _state(place, answer.channels, times, joined), answer.how)


def _state(
    place: Place, found: Channels, times: Mapping[int, int], joined: frozenset[Channels]
) -> PlaceState:
    if found in joined and found != place.visible:
        return PlaceState.JOINED
    if any(times[channel] > 1 for channel in found):
        return PlaceState.CONFLICT
    if found == place.visible:
        return PlaceState.RIGHT
    if not found:
        return PlaceState.NOTHING
    if found < place.visible:
        return PlaceState.PARTLY
    return PlaceState.JOINED if len(found) > len(place.expected) else PlaceState.WRONG


def answers_from(places: Sequence[Place], outcomes: Iterable[StepOutcome]) -> dict[str, WalkAnswer]:
    """What earlier pull checks, walked or asked one by one, say of these places."""
    counting = newest_counting(o for o in outcomes if o.kind is StepKind.PULL_CHECK)
    found: dict[str, WalkAnswer] = {}
    for place in places:
        outcome = counting.get(place.step_id)
        if outcome is None:
            continue
        pulls = [e.pull for e in outcome.evidence if e.pull is not None and e.pull.outcome != "skipped"]
        if pulls:
            moved = frozenset(channel for pull in pulls for channel in pull.moved_channels)
            how = str(outcome.measured.get("how", ""))
            found[place.id] = WalkAnswer(moved, How(how) if how in set(How) else How.EARLIER)
    return found


def to_ask_again(
    places: Sequence[Place], answers: Mapping[str, WalkAnswer], blind: Collection[int] = ()
) -> dict[str, WalkAnswer]:
    """The answered places that a further walk asks for anew.

    While a place that can be seen is open, none of them; else those that were not right; else all of them.
    """
    if any(place.visible and place.id not in answers for place in places):
        return {}
    rows = map_of(places, answers, blind).rows
    wrong = {row.place.id for row in rows if row.state is not PlaceState.RIGHT and row.place.id in answers}
    return {place: answer for place, answer in answers.items() if not wrong or place in wrong}


def row_text(row: PlaceFound) -> str:
    """What was found at a place, in words."""
    expected = _listed(row.place.expected)
    if row.found is None:
        return {
            PlaceState.BLIND: f"channel {expected}: no load to be seen at rest; prove it by a pulse",
            PlaceState.OPEN: f"channel {expected} expected; not asked yet",
            PlaceState.SILENT: f"channel {expected} expected; no answer",
            PlaceState.SKIPPED: f"channel {expected} expected; skipped",
        }[row.state]
    if not row.found:
        return f"channel {expected} expected; nothing moved"
    found = _listed(row.found)
    if row.state is PlaceState.RIGHT:
        return f"channel {found}, as expected"
    tail = {
        PlaceState.JOINED: ": they go together, so their wires are joined or share this connector",
        PlaceState.CONFLICT: ", which answered at another place, too: prove both again",
        PlaceState.PARTLY: " only",
    }.get(row.state, "")
    return f"channel {expected} expected, channel {found} found{tail}"


WALK_ON = "Not every place has answered: walk on before you move anything. As far as is known:"
Cavities = Mapping[int, tuple[str, str]]
"""Cavity and wire colour of each channel."""


def cavities_of(job: Job) -> Cavities:
    """Where each channel of a job sits in the header, and its wire."""
    return {entry.channel: (entry.cavity, entry.wire or "") for entry in job.channels}


def move_text(cavities: Cavities, move: Move, number: int) -> str:
    """One move as an instruction, with cavities and wire colours."""
    cavity, colour = cavities[move.source]
    wire = f" ({colour})" if colour else ""
    if move.kind is MoveKind.TAKE_OUT:
        return f"{number}. Take the terminal{wire} out of {cavity} and hold it."
    assert move.target is not None
    to, _ = cavities[move.target]
    if move.kind is MoveKind.PUT_IN:
        return f"{number}. Put the terminal you hold, from {cavity}, into {to}."
    return f"{number}. Move the terminal{wire} from {cavity} to {to}."


def plan_texts(cavities: Cavities, plan: MendPlan, *, complete: bool) -> tuple[str, ...]:
    """The whole plan as instructions; while the map is not complete, with the advice to walk on first."""
    texts = [move_text(cavities, move, number) for number, move in enumerate(plan.moves, 1)]
    for chain in plan.chains:
        first, last = cavities[chain[0]][0], cavities[chain[-1]][0]
        texts.append(
            f"The wire taken out of {last} answered nowhere: trace it. If nothing else is wrong it belongs "
            f"into {first}."
            if complete
            else f"The wire in {last} has not answered yet."
        )
    if plan.unclear:
        texts.append(
            f"Channel {_listed(plan.unclear)}: no move can be told from what is known. Look for wires that "
            "are joined, then walk again."
        )
    if texts:
        texts.append("Walk the places concerned again afterwards.")
    if texts and not complete:
        texts.insert(0, WALK_ON)
    return tuple(texts)


def _listed(channels: Iterable[int]) -> str:
    names = [str(channel) for channel in sorted(channels)]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1] if names else "none"
