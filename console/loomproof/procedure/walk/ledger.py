"""What a walk knows and what it still asks for (pure): answers, the queue of places, joined wires held off.

The state machine over it is in `machine`; it decides what a pull says, this keeps what follows from it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loomproof.procedure.walk.model import (
    Channels,
    Happening,
    How,
    Kind,
    Order,
    Place,
    Stage,
    WalkAnswer,
    WalkState,
)

NO_UNTIL_S = 2.0
"""How long after seating the same connector, pulled again, says "no, not that"."""
SILENCE_S = 30.0
"""How long a place that was asked for may stay silent, once the walk has begun."""
SILENCES = 2
"""After so many in a row nobody is there: the clock stands until something is pulled."""
HELD_S = 15.0
"""How long a connector that is to stay off is waited for; no answer is drawn from the waiting."""
LEAST_OF_FEED = 3
NONE: Channels = frozenset()


@dataclass
class Pull:
    """One pull under way: its channels, when it began and last grew, and what came of it."""

    channels: Channels
    began_s: float
    grew_s: float
    doubt_before: Channels
    place: str | None = None
    answer: WalkAnswer | None = None


@dataclass
class Last:
    """The last answer, until it stands or is taken back."""

    place: str
    channels: Channels
    seated_s: float
    settled: bool = False


class WalkLedger:
    """Answers and questions of one walk.

    Args:
        places: what can be pulled, in the order they are asked for.
        feeds: channels on each feed, to tell a fuse from a connector.
        order: who says what is pulled next.
        answers: places known from before, by id.
        now_s: when it begins.
    """

    def __init__(
        self,
        places: Sequence[Place],
        *,
        feeds: Mapping[str, Channels] | None = None,
        order: Order = Order.GUIDED,
        answers: Mapping[str, WalkAnswer] | None = None,
        now_s: float = 0.0,
    ) -> None:
        self.places = tuple(places)
        self.order = order
        self.stage = Stage.PULL
        self.answers: dict[str, WalkAnswer] = dict(answers or {})
        self.elsewhere: Channels = NONE
        self.odd: set[Channels] = set()
        self.asked: str | None = None
        self.doubt: Channels = NONE
        self._by_id = {place.id: place for place in self.places}
        self._visible = frozenset[int]().union(*(place.visible for place in self.places))
        self._groups = [g & self._visible for g in (feeds or {}).values()] + [self._visible]
        self._queue: deque[str] = deque(p.id for p in self.places if p.visible and p.id not in self.answers)
        self._hidden = [p.id for p in self.places if not p.visible and p.id not in self.answers]
        self._pull: Pull | None = None
        self._last: Last | None = None
        self._told: str | None = None
        self._off: Channels = NONE
        self._left_off: Channels = NONE
        self._strays: Channels = NONE
        self._silent_once: set[str] = set()
        self._silences = 0
        self._begun = False
        self._reopened: set[str] = set()
        self._held: list[str] = []
        self._to_hold: list[str] = []
        self._tried: set[frozenset[str]] = set()
        self._resume = Stage.PULL
        self._quiet_until_s = now_s
        self._since_s = now_s
        self._said: list[Happening] = []
        self._newest: Happening | None = None
        if order is Order.GUIDED:
            self._next(now_s)
        self._maybe_done(now_s)
        self.opening = self._take_said()

    def state(self, now_s: float) -> WalkState:
        """The walk as it stands."""
        counting = self.stage is Stage.PULL and (self._held or self._clock_runs()) and self.asked is not None
        limit_s = HELD_S if self._held else SILENCE_S
        return WalkState(
            order=self.order,
            stage=self.stage,
            asked=self.asked,
            told=self._told,
            off=self._off,
            doubt=self.doubt,
            answers=dict(self.answers),
            elsewhere=self.elsewhere,
            silent_left_s=max(0.0, limit_s - (now_s - self._since_s)) if counting else None,
            last=self._newest,
            places=self.places,
            holding=tuple(self._held),
        )

    # --- answers and the queue ------------------------------------------------------------------------------

    def _settle(self, last: Last, at_s: float) -> None:
        """An answer stands now; a channel it shares with an earlier one casts doubt on that."""
        last.settled = True
        answer = self.answers[last.place]
        self._say(Kind.SETTLED, at_s, last.place, answer.channels)
        for other, claimed in list(self.answers.items()):
            if other == last.place or not claimed.channels & answer.channels or other in self._reopened:
                continue
            self._reopened.add(other)
            del self.answers[other]
            self._queue.append(other)
            self._say(Kind.REOPENED, at_s, other, claimed.channels)
        self._go_on(at_s)

    def _go_on(self, at_s: float) -> None:
        """Ask for what is left, once nothing free is."""
        if self.order is Order.GUIDED:
            if self.asked is None:
                self._next(at_s)
        else:
            seen = self.elsewhere.union(*(a.channels for a in self.answers.values()), *self.odd)
            if seen >= self._visible:
                self.order = Order.GUIDED
                self._next(at_s)
        self._maybe_done(at_s)

    def _next(self, at_s: float) -> None:
        self.doubt, self._since_s = NONE, at_s
        if not self._queue and self._unplaced():
            # A load that was found nowhere may hang where the job's own channel shows none.
            self._queue.extend(self._hidden)
            self._hidden = []
        self.asked = self._queue.popleft() if self._queue else None
        if self.asked is not None:
            self._say(Kind.ASKED, at_s, self.asked)
        elif self._last is None or self._last.settled:
            self._hold_off(at_s)

    def _put_back(self, place: str | None) -> None:
        if place is not None and place not in self._queue:
            self._queue.appendleft(place)

    def _maybe_done(self, at_s: float) -> None:
        waiting = self._last is not None and not self._last.settled
        idle = self.stage is Stage.PULL and not waiting and self.asked is None and not self._queue
        if idle and all(p.id in self.answers for p in self.places if p.visible):
            self._finish(at_s)

    def _finish(self, at_s: float) -> None:
        if self._last is not None and not self._last.settled and self._last.place in self.answers:
            last, self._last = self._last, None
            self._say(Kind.SETTLED, at_s, last.place, last.channels)
        self.asked, self.stage = None, Stage.DONE
        self._say(Kind.DONE, at_s)

    def _silence(self, at_s: float) -> None:
        self._silences += 1
        if self.asked is None:
            if self.order is Order.FREE:  # nobody pulls anything more: ask for what is left
                self.order = Order.GUIDED
                self._next(at_s)
            return
        place = self.asked
        self._say(Kind.SILENT, at_s, place)
        if place in self._silent_once:
            self._conclude(place, WalkAnswer(NONE, How.SILENT), at_s)
            return
        self._silent_once.add(place)
        self._queue.append(place)
        self._next(at_s)

    def _conclude(self, place: str, answer: WalkAnswer, at_s: float) -> None:
        """Take an answer that no pull gave."""
        self.answers[place] = answer
        if place in self._queue:
            self._queue.remove(place)
        self._say(Kind.SETTLED, at_s, place, answer.channels)
        if self.asked == place:
            self.asked = None
        self._go_on(at_s)

    # --- joined wires ---------------------------------------------------------------------------------------

    def _hold_off(self, at_s: float) -> None:
        """Ask for the places that moved nothing once more, to be left off, if there are two and more."""
        mute = [p.id for p in self.places if p.visible and self._moved_nothing(p.id)]
        if len(mute) < 2 or frozenset(mute) in self._tried:
            return
        self._tried.add(frozenset(mute))
        self._to_hold = mute
        self._hold_next(at_s)

    def _moved_nothing(self, place: str) -> bool:
        answer = self.answers.get(place)
        return answer is not None and answer.how is How.SAID and not answer.channels

    def _hold_next(self, at_s: float) -> None:
        self._since_s = at_s
        if not self._to_hold:
            self._end_holding(at_s)
            return
        self.asked = self._to_hold.pop(0)
        self._held.append(self.asked)
        self._say(Kind.HOLD_OFF, at_s, self.asked)

    def _end_holding(self, at_s: float) -> None:
        self._held, self._to_hold, self.asked = [], [], None
        self._say(Kind.SEAT_ALL, at_s)
        self._go_on(at_s)

    # --- helpers --------------------------------------------------------------------------------------------

    def _expected(self, place: str | None) -> Channels:
        return self._by_id[place].visible if place is not None else NONE

    def _unplaced(self) -> Channels:
        """Channels with a load that no place has answered with."""
        return self._visible.difference(*(a.channels for a in self.answers.values()))

    def _clock_runs(self) -> bool:
        return self._begun and self._silences < SILENCES

    def _is_feed(self, gone: Channels) -> bool:
        """Whether everything on a feed went, or everything: a fuse, a ground or the header, no connector."""
        if any(gone <= place.visible for place in self.places):
            return False
        return any(len(group) >= LEAST_OF_FEED and gone == group for group in self._groups)

    def _say(self, kind: Kind, at_s: float, place: str | None = None, channels: Channels = NONE) -> None:
        self._newest = Happening(kind, at_s, place, channels)
        self._said.append(self._newest)

    def _take_said(self) -> tuple[Happening, ...]:
        said, self._said = tuple(self._said), []
        return said
