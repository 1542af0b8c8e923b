"""The walk on a box: scans go into the machine, its answers into the record, everything else to the walker.

Nothing is driven. Whatever ends it, what was settled is in the record as the pull checks of the run sheet, and
the next walk carries on from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Protocol

from loomproof.facts.evidence import ChannelEvidence, PullResult
from loomproof.facts.record import EventKind
from loomproof.facts.step import StepEnd
from loomproof.procedure.context import Core
from loomproof.procedure.events import LoadsPresent, WalkChanged
from loomproof.procedure.step import RunSheet, Step
from loomproof.procedure.step_end import carry_out
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.steps.pull_verdict import conclude_pull, explain_blind
from loomproof.procedure.walk.machine import WalkMachine
from loomproof.procedure.walk.map import WalkMap, answers_from, cavities_of, map_of, plan_texts, to_ask_again
from loomproof.procedure.walk.model import (
    Happening,
    How,
    Kind,
    Order,
    Place,
    Stage,
    WalkAnswer,
    WalkKey,
    WalkState,
)
from loomproof.procedure.walk.places import feeds_of, places_of
from loomproof.procedure.walk.scan import PERIOD_S, Eyes

SHORTEST_SLEEP_S = 0.005
CLOCK_S = 1.0
"""How often a state is published though nothing happened, for the clock of a silent place."""

Finish = Callable[[Step, float, StepResult], StepOutcome]


class Walker(Protocol):
    """Whoever walks, as the walk sees it. Called from the thread that runs the session; must not wait."""

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Hear what happened; empty when only the clock moved."""
        ...

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """What the operator says, with a place's id where one is meant; None mostly."""
        ...


@dataclass(frozen=True, slots=True)
class Walked:
    """How a walk ended."""

    map: WalkMap
    end: StepEnd
    reason: str = ""
    pulsed: tuple[str, ...] = ()
    """Drive steps that would prove what the walk could not see."""


class Walk:
    """One walk, from learning to the map.

    Args:
        core: the session's.
        sheet: its run sheet.
        outcomes: what is known from before.
        finish: writes a pull check's result into the record: step, when it began, result.
        walker: who walks.
        order: who says what is pulled next.
        again: when no place is open, ask for what was not right, or for everything where all was.
    """

    def __init__(
        self,
        core: Core,
        sheet: RunSheet,
        outcomes: Iterable[StepOutcome],
        finish: Finish,
        walker: Walker,
        *,
        order: Order = Order.GUIDED,
        again: bool = False,
    ) -> None:
        self._core = core
        self._again = again
        self._sheet = sheet
        self._outcomes = tuple(outcomes)
        self._finish = finish
        self._walker = walker
        self._order = order
        self._eyes = Eyes(core)
        self._places: tuple[Place, ...] = places_of(core.job, sheet)
        self._machine: WalkMachine | None = None
        self._blind: tuple[int, ...] = ()
        self._asked_again: dict[str, WalkAnswer] = {}
        self._began: dict[str, float] = {}
        self._told_s = 0.0

    def run(self) -> Walked:
        """Walk until every place has its answer, the operator ends it, or something stops it."""
        return self._close(*carry_out(self._core, self._walk))

    def _walk(self) -> None:
        self._open()
        self._loop()

    # --- beginning and end --------------------------------------------------------------------------------

    def _open(self) -> None:
        core = self._core
        self._eyes.learn()
        self._blind = tuple(sorted(self._eyes.detector.blind))
        self._places = places_of(core.job, self._sheet, self._blind)
        now_s = core.box.now_s()
        known = answers_from(self._places, self._outcomes)
        if self._again:
            self._asked_again = to_ask_again(self._places, known, self._blind)
        self._machine = WalkMachine(
            self._places,
            feeds=feeds_of(core.job),
            order=self._order,
            answers={place: answer for place, answer in known.items() if place not in self._asked_again},
            now_s=now_s,
        )
        text = f"Location walk begun, {self._order.value} order. {self._eyes.sentence()}"
        core.note(EventKind.NOTE, text, walk="begun", order=self._order.value, blind=list(self._blind))
        done = {o.step_id for o in self._outcomes if o.finished}
        for place in self._places:
            if not place.visible and place.step_id not in done:
                step, result = self._sheet.step(place.step_id), StepResult()
                explain_blind(core, step, result, place.expected)
                self._finish(step, now_s, result)
        self._tell(self._machine.opening, now_s)

    def _close(self, end: StepEnd, reason: str) -> Walked:
        core, machine = self._core, self._machine
        if machine is not None and machine.stage is not Stage.DONE:
            # Cut short: what was just answered stands; nobody contradicted it.
            self._record(machine.key(WalkKey.FINISH, core.box.now_s()))
        before = answers_from(self._places, self._outcomes)
        answers = self._asked_again | machine.answers if machine is not None else before
        found = map_of(self._places, answers, self._blind)
        known = sum(place.id in answers for place in self._places if place.visible)
        visible = sum(bool(place.visible) for place in self._places)
        text = " ".join(
            [
                f"Location walk ended ({end.value}): {known} of {visible} places known.",
                *plan_texts(cavities_of(core.job), found.plan, complete=found.complete),
            ]
        )
        core.note(EventKind.NOTE, text, walk="ended", known=known, visible=visible)
        core.write_events()
        return Walked(found, end, reason, self._pulsed())

    def _pulsed(self) -> tuple[str, ...]:
        """Drive steps of the channels that the walk could not see."""
        ids = {step.id for step in self._sheet.steps}
        return tuple(f"drive-{c}" for c in self._blind if f"drive-{c}" in ids)

    # --- the loop -----------------------------------------------------------------------------------------

    def _loop(self) -> None:
        core, machine = self._core, self._machine
        assert machine is not None
        due_s = core.box.now_s()
        while machine.stage is not Stage.DONE:
            due_s = max(due_s + PERIOD_S, core.box.now_s() + SHORTEST_SLEEP_S)
            core.box.sleep(due_s - core.box.now_s())
            before = self._eyes.detector.lost
            look = self._eyes.look()
            if look.lost != before:
                seen = frozenset(self._eyes.channels) - frozenset(self._blind)
                core.publish(LoadsPresent(tuple(sorted(seen - look.lost)), tuple(sorted(look.lost))))
            happened = machine.look(look)
            said = self._walker.poll()
            if said is not None:
                happened += machine.key(said[0], core.box.now_s(), said[1])
            self._tell(happened, look.at_s)

    def _tell(self, happened: tuple[Happening, ...], now_s: float) -> None:
        """The walker first, the record after: nobody waits for a disk to hear a sound."""
        machine = self._machine
        assert machine is not None
        if not happened and now_s - self._told_s < CLOCK_S:
            return
        self._told_s = now_s
        state = replace(machine.state(now_s), blind=self._blind)
        self._walker.told(state, happened)
        self._core.publish(WalkChanged(state, happened))
        self._record(happened)

    # --- the record ---------------------------------------------------------------------------------------

    def _record(self, happened: tuple[Happening, ...]) -> None:
        for item in happened:
            if item.kind is Kind.ASKED and item.place is not None:
                self._began[item.place] = item.at_s
            elif item.kind is Kind.SETTLED and item.place is not None:
                self._write_answer(item)
            elif item.kind is Kind.REOPENED and item.place is not None:
                self._write_reopened(item)
            elif item.kind in _NOTED:
                text = _NOTED[item.kind].format(channels=_listed(item.channels), place=self._name(item.place))
                self._core.note(EventKind.NOTE, text, walk=item.kind.value, channels=sorted(item.channels))
        if happened:
            self._core.write_events()

    def _write_answer(self, item: Happening) -> None:
        assert self._machine is not None
        place = self._place(item.place)
        answer = self._machine.answers.get(place.id)
        if answer is None:  # reopened by what came with it
            return
        step, result = self._sheet.step(place.step_id), StepResult()
        result.measured["how"] = answer.how.value
        if answer.how is How.SKIPPED:
            result.end, result.skipped_reason = StepEnd.SKIPPED, "skipped by the operator during the walk"
        elif answer.how is How.SILENT:
            result.end = StepEnd.LEFT
            result.problems.append("asked for twice during the walk; nothing was seen and nobody said why")
        else:
            self._conclude(step, result, place, answer)
        self._finish(step, self._began.get(place.id, item.at_s), result)

    def _conclude(self, step: Step, result: StepResult, place: Place, answer: WalkAnswer) -> None:
        blind = tuple(c for c in place.expected if c not in place.visible)
        if not answer.channels and not place.visible:
            explain_blind(self._core, step, result, blind)
            return
        conclude_pull(step, result, tuple(sorted(answer.channels)), blind)
        result.notes.append(f"Found on a walk: {answer.how.value}.")

    def _write_reopened(self, item: Happening) -> None:
        """What was recorded of this place proves nothing any more; it is asked for again."""
        self._asked_again.pop(item.place or "", None)
        place = self._place(item.place)
        step, result = self._sheet.step(place.step_id), StepResult()
        for channel in step.channels:
            result.evidence[channel] = ChannelEvidence(channel, pull=PullResult(channel, (), "skipped"))
        result.pull = PullResult(step.channels[0], (), "skipped")
        channels = _listed(item.channels)
        result.notes.append(f"Taken back: channel {channels} was contradicted, or answered elsewhere, too.")
        self._finish(step, item.at_s, result)

    def _place(self, place_id: str | None) -> Place:
        return next(place for place in self._places if place.id == place_id)

    def _name(self, place_id: str | None) -> str:
        return self._place(place_id).name if place_id is not None else "no place"


_NOTED: dict[Kind, str] = {
    Kind.MISMATCH: "Walk: channel {channels} went, not what is expected at {place}; asked to pull it once more.",
    Kind.AGAIN: "Walk: channel {channels} went, as expected at {place}, which is asked again; asked to pull it once more.",
    Kind.TWITCH: "Walk: channel {channels} let go for a moment. Flex the loom there.",
    Kind.STRAY: "Walk: channel {channels} went while another connector was off; not counted.",
    Kind.SILENT: "Walk: nothing came from {place}; put off.",
    Kind.NOTHING: "Walk: {place} pulled, and nothing moved, says the operator.",
    Kind.TAKEN_BACK: "Walk: channel {channels} at {place} taken back by the operator.",
    Kind.ELSEWHERE: "Walk: channel {channels} is not at {place}, says the operator.",
    Kind.FEED: "Walk: channel {channels} went together: a feed, a ground or the header, no connector.",
    Kind.HOLD_OFF: "Walk: {place} asked for once more, to be left off, to look for joined wires.",
    Kind.SUPPLY_LOST: "Walk: the supply went; no connector is judged meanwhile.",
    Kind.SUPPLY_BACK: "Walk: the supply is back.",
}


def _listed(channels: Iterable[int]) -> str:
    return ", ".join(str(channel) for channel in sorted(channels)) or "none"
