"""Who walks when `loomproof prove --walk` runs: the simulated hands, or a person at a plain terminal."""

from __future__ import annotations

import random
from collections.abc import Callable

from rich.console import Console
from rich.table import Table

from loomproof.cli.prove.hands import ProveHands
from loomproof.job.model import Job
from loomproof.procedure.walk.map import WalkMap, cavities_of, plan_texts, row_text
from loomproof.procedure.walk.model import Happening, Kind, Stage, WalkKey, WalkState

HAND_LOOKS = (4, 12)
"""Looks that go by before the simulated hands do the next thing; drawn anew each time."""
PATIENCE_LOOKS = 20
"""Looks after a pull in which nothing moved, before they say so."""


class SimulatedWalker:
    """Pulls what is asked for, seats it when asked, and says so when nothing moved."""

    def __init__(self, hands: ProveHands, seed: int = 1) -> None:
        self._hands = hands
        self._random = random.Random(seed)
        self._state: WalkState | None = None
        self._held: int | None = None
        self._left_off: list[int] = []
        self._asked: str | None = None
        self._looks = 0
        self._due = 0

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Hear how it stands."""
        self._state = state
        if any(item.kind is Kind.SEAT_ALL for item in happened):
            self._seat_all()
        if happened:
            self._looks, self._due = 0, self._random.randint(*HAND_LOOKS)

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """Do the next thing when it is time."""
        state = self._state
        if state is None:
            return None
        self._looks += 1
        if self._looks < self._due:
            return None
        if state.stage is Stage.SEAT and (self._held is not None or self._left_off):
            self._seat_all()
        elif state.stage is Stage.PULL and state.asked is not None:
            return self._pull(state)
        return None

    def _pull(self, state: WalkState) -> tuple[WalkKey, str | None] | None:
        if self._held is None:
            place = next(place for place in state.places if place.id == state.asked)
            self._held, self._asked = place.expected[0], place.id
            self._looks, self._due = 0, PATIENCE_LOOKS
            self._hands.pull(self._held)
            return None
        nothing = self._asked == state.asked
        if state.holding:
            self._left_off.append(self._held)
            self._held = None
            return (WalkKey.NOTHING, None) if nothing else None
        self._seat()
        return (WalkKey.NOTHING, None) if nothing else None

    def _seat_all(self) -> None:
        for place in self._left_off:
            self._hands.seat(place)
        self._left_off.clear()
        if self._held is not None:
            self._seat()

    def _seat(self) -> None:
        assert self._held is not None
        self._hands.seat(self._held)
        self._held = None
        self._looks, self._due = 0, self._random.randint(*HAND_LOOKS)


WORDS: dict[str, WalkKey] = {
    "nothing": WalkKey.NOTHING,
    "no": WalkKey.NO,
    "skip": WalkKey.SKIP,
    "off": WalkKey.LEAVE_OFF,
    "free": WalkKey.ORDER,
    "end": WalkKey.FINISH,
}
INTRO = (
    "Location walk: pull the connector that is named, wait for the word, seat it, go on to the next. The box sees "
    "which channel lost its load; you need no key. Wrong connector in your hand? Seat it and pull it again within "
    "two seconds. You may type: nothing (it is pulled and nothing happened), no, skip, off (it stays off), end."
)


class TerminalWalker:
    """A person at a plain terminal: lines and the bell.

    Args:
        job: for names.
        console: where lines go.
        line: the next line typed, or None; never waits.
    """

    def __init__(self, job: Job, console: Console, line: Callable[[], str | None]) -> None:
        self._job = job
        self._console = console
        self._line = line
        self._console.print(INTRO, markup=False)

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Print what a person at the loom wants to know."""
        for item in happened:
            text = told_text(self._job, state, item)
            if text:
                self._console.print(text, markup=False)
                self._console.bell()

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """A word that was typed."""
        line = self._line()
        if line is None:
            return None
        key = WORDS.get(line.lower())
        if key is None:
            self._console.print(f"  Type {', '.join(WORDS)} or stop.", markup=False)
            return None
        return key, None


def told_text(job: Job, state: WalkState, item: Happening) -> str:
    """One happening in a line; empty for what needs no word."""
    names = {place.id: place for place in state.places}
    place = names[item.place].name if item.place in names else ""
    channels = ", ".join(f"{c} ({job.channel(c).name})" for c in sorted(item.channels))
    return {
        Kind.ASKED: f"PULL: {place}" + (" once more" if item.channels else ""),
        Kind.MATCHED: f"  channel {channels}: {place}. Seat it.",
        Kind.MISMATCH: f"  NOT AS EXPECTED: channel {channels} lost its load. Seat it.",
        Kind.AGAIN: f"  channel {channels}: {place}, as expected; this place needs the same answer twice. Seat it.",
        Kind.CONFIRMED: f"  WRONG: {place or 'there'} moves channel {channels}. Seat it.",
        Kind.BACK: "  back.",
        Kind.STRAY: f"  channel {channels} also lost its load: one at a time. Seat both.",
        Kind.TWITCH: f"  channel {channels} lost contact for a moment.",
        Kind.SILENT: f"  nothing from {place}; the walk asks again later. Seat it.",
        Kind.TAKEN_BACK: f"  taken back: {place}.",
        Kind.ELSEWHERE: f"  not {place}: asked for at the end.",
        Kind.FEED: f"  channels {channels} lost their loads together: a feed or the header. Put it back.",
        Kind.HOLD_OFF: f"PULL AND LEAVE OFF: {place}",
        Kind.SEAT_ALL: "  Seat every connector that is off.",
        Kind.SUPPLY_LOST: "  the supply is gone.",
        Kind.SUPPLY_BACK: "  the supply is back.",
        Kind.REOPENED: f"  the walk asks for {place} again: its channel also answered elsewhere.",
    }.get(item.kind, "")


def print_map(console: Console, job: Job, found: WalkMap) -> None:
    """The map and the moves that mend it."""
    table = Table("place", "", "found", title="Location walk")
    for row in found.rows:
        table.add_row(row.place.name, row.state.value, row_text(row))
    console.print(table)
    for line in plan_texts(cavities_of(job), found.plan, complete=found.complete):
        console.print(line, markup=False)
