"""The location walk as a state machine (pure): looks and keys in, happenings out.

The rules that keep the map right, whatever hands do:

* A place that answers as the job says is taken at the first pull. Anything else must answer the same way at
  two pulls running before it is believed: a hand on the wrong connector is commoner than a wrong loom.
* The same connector seated and pulled again within two seconds means "no, not that": the answer is dropped.
* A channel that answers at two places proves neither: the earlier place is asked again, and whatever it answers
  then, even what is expected, must come twice running. Two hands on wrong connectors could else agree.
* In free order a place is only told, so whatever is contradicted is asked for by name at the end.
* A place whose own channel shows no load is asked for only while some load has been found nowhere.
* Wires that are joined hide each other's pull. So places that moved nothing are at the end pulled one after the
  other and left off: with the last of a joined group its channels go together.
* A place that stays silent is put off and asked once more; only a person says that it moved nothing.
"""

from __future__ import annotations

from loomproof.procedure.walk.ledger import HELD_S, NO_UNTIL_S, NONE, SILENCE_S, Last, Pull, WalkLedger
from loomproof.procedure.walk.model import (
    Channels,
    Happening,
    How,
    Kind,
    Look,
    Order,
    Stage,
    WalkAnswer,
    WalkKey,
)

SETTLE_S = 0.1
"""A pull is judged when this long no further channel went: the channels of one connector go together."""
SETTLE_MOST_S = 0.2
LATE_S = 0.6
"""A channel that goes this soon after the first belongs to the same pull."""
NO_FROM_S = 0.4
"""Sooner than this after seating, a second loss is the same pull: the connector was not home yet."""
RECOVER_S = 0.5
"""After the supply is back, looks count for nothing this long."""


class WalkMachine(WalkLedger):
    """One walk; see `WalkLedger` for what it takes."""

    # --- what is seen -------------------------------------------------------------------------------------

    def look(self, look: Look) -> tuple[Happening, ...]:
        """Take in one scan. Times must not run backwards."""
        if self.stage is not Stage.DONE:
            if not look.supply:
                self._supply_lost(look.at_s)
            else:
                self._supplied(look)
        return self._take_said()

    def _supplied(self, look: Look) -> None:
        if self.stage is Stage.PAUSED:
            self.stage = self._resume
            self._quiet_until_s = look.at_s + RECOVER_S
            self._since_s = look.at_s
            self._say(Kind.SUPPLY_BACK, look.at_s)
        if look.at_s < self._quiet_until_s:
            return
        lost = (look.lost & self._visible) - self._left_off
        self._left_off &= look.lost
        self._off = lost
        if self.stage is Stage.PULL:
            self._while_waiting(lost, look.at_s)
        elif self.stage is Stage.SETTLING:
            self._while_settling(lost, look.at_s)
        elif self.stage is Stage.SEAT:
            self._while_off(lost, look.at_s)

    def _supply_lost(self, at_s: float) -> None:
        if self.stage is Stage.PAUSED:
            return
        self._resume = Stage.SEAT if self.stage is Stage.SEAT else Stage.PULL
        if self.stage is Stage.SETTLING:
            self._pull = None
        self.stage = Stage.PAUSED
        self._say(Kind.SUPPLY_LOST, at_s)

    def _while_waiting(self, lost: Channels, at_s: float) -> None:
        last = self._last
        if last is not None and not last.settled and at_s - last.seated_s > NO_UNTIL_S and not lost:
            self._settle(last, at_s)
        if lost:
            self._pull = Pull(lost, at_s, at_s, self.doubt)
            self.stage = Stage.SETTLING
            self._begun, self._silences = True, 0
            self._say(Kind.LOST, at_s, channels=lost)
        elif self._held and at_s - self._since_s > HELD_S:
            self._hold_next(at_s)
        elif not self._held and self._clock_runs() and at_s - self._since_s > SILENCE_S:
            self._silence(at_s)

    def _while_settling(self, lost: Channels, at_s: float) -> None:
        pull = self._pull
        assert pull is not None
        if not lost:
            self._say(Kind.TWITCH, at_s, channels=pull.channels)
            self._pull, self.stage = None, Stage.PULL
            return
        if lost - pull.channels:
            pull.channels |= lost
            pull.grew_s = at_s
        if at_s - pull.grew_s >= SETTLE_S - 1e-9 or at_s - pull.began_s >= SETTLE_MOST_S:
            self.stage = Stage.SEAT
            self._judge(pull, at_s)

    def _while_off(self, lost: Channels, at_s: float) -> None:
        pull = self._pull
        assert pull is not None
        late = lost - pull.channels
        if late and (at_s - pull.began_s <= LATE_S or late <= self._expected(self.asked)):
            pull.channels |= late
            pull.answer, pull.place, self.doubt = None, None, pull.doubt_before
            self._judge(pull, at_s)
        elif late - self._strays:
            self._say(Kind.STRAY, at_s, channels=late - self._strays)
            self._strays |= late
        if not lost:
            self._strays = NONE
            self._say(Kind.BACK, at_s, pull.place, pull.channels)
            self._seated(at_s)

    # --- judging ------------------------------------------------------------------------------------------

    def _judge(self, pull: Pull, at_s: float) -> None:
        if self._repeats(pull, at_s):
            return
        if self._last is not None and not self._last.settled:
            self._settle(self._last, at_s)
        gone = pull.channels
        if self._held:
            self._judge_held(gone, at_s)
        elif self._is_feed(gone):
            self._say(Kind.FEED, at_s, channels=gone)
        elif self.order is Order.GUIDED and self.asked is not None:
            self._judge_asked(pull, at_s)
        else:
            self._judge_free(pull, at_s)

    def _judge_asked(self, pull: Pull, at_s: float) -> None:
        place, gone = self.asked, pull.channels
        assert place is not None
        expected = gone == self._expected(place)
        once_will_do = place not in self._reopened and (expected or gone <= self.elsewhere)
        if once_will_do or gone == pull.doubt_before:
            self._accept(pull, place, How.ASKED)
            self._say(Kind.MATCHED if expected else Kind.CONFIRMED, at_s, place, gone)
        else:
            self.doubt = gone
            self._say(Kind.AGAIN if expected else Kind.MISMATCH, at_s, place, gone)

    def _judge_free(self, pull: Pull, at_s: float) -> None:
        gone = pull.channels
        place = next((p.id for p in self.places if p.visible == gone), None)
        if gone <= self.elsewhere:
            self._say(Kind.ELSEWHERE, at_s, place, gone)
        elif place is not None:
            self._accept(pull, place, How.ACCEPTED)
            self._say(Kind.MATCHED, at_s, place, gone)
        elif gone == pull.doubt_before:
            self.odd.add(gone)
            self.doubt = NONE
            self._say(Kind.CONFIRMED, at_s, None, gone)
        else:
            self.doubt = gone
            self._say(Kind.MISMATCH, at_s, None, gone)

    def _repeats(self, pull: Pull, at_s: float) -> bool:
        """Whether this pull repeats the last one: too soon, it is the same; within two seconds, it says no."""
        last = self._last
        if self._held or last is None or pull.channels != last.channels or last.place not in self.answers:
            return False
        gap_s = pull.began_s - last.seated_s
        if gap_s < NO_FROM_S:
            pull.place, pull.answer = last.place, self.answers.pop(last.place)
            self._put_back(self.asked)
            self.asked = last.place if self.order is Order.GUIDED else None
            self._told, self._last = last.place, None
            return True
        if gap_s <= NO_UNTIL_S:
            self._contradict(at_s)
            return True
        return False

    def _accept(self, pull: Pull, place: str, how: How) -> None:
        pull.place, pull.answer = place, WalkAnswer(pull.channels, how)
        self._told, self.doubt = place, NONE

    def _contradict(self, at_s: float) -> None:
        """Drop the last answer, seated or not."""
        pull = self._pull
        place = pull.place if pull is not None and pull.answer is not None else None
        channels = pull.channels if pull is not None and pull.answer is not None else NONE
        if pull is not None:
            pull.place = pull.answer = None
        if place is None and self._last is not None:
            place, channels = self._last.place, self._last.channels
            self.answers.pop(place, None)
            if self._last.settled:
                self._say(Kind.REOPENED, at_s, place, channels)
        if place is None:
            return
        self._last, self._told, self.doubt = None, None, NONE
        if self.order is Order.FREE:
            self.elsewhere |= channels
            if place not in self._queue:
                self._queue.append(place)
            self._say(Kind.ELSEWHERE, at_s, place, channels)
        else:
            if self.asked != place:
                self._put_back(self.asked)
            if place in self._queue:
                self._queue.remove(place)
            self.asked, self._since_s = place, at_s
            self._say(Kind.TAKEN_BACK, at_s, place, channels)

    # --- after the seating --------------------------------------------------------------------------------

    def _seated(self, at_s: float) -> None:
        pull, self._pull = self._pull, None
        self.stage, self._since_s = Stage.PULL, at_s
        if pull is not None and pull.answer is not None and pull.place is not None:
            self.answers[pull.place] = pull.answer
            if pull.place in self._queue:
                self._queue.remove(pull.place)
            self._last = Last(pull.place, pull.channels, at_s)
            if self.order is Order.GUIDED and self.asked == pull.place:
                self._next(at_s)
        elif self._held:
            if not self._to_hold and not self._moved_nothing(self._held[-1]):
                self._end_holding(at_s)
        elif self.order is Order.GUIDED and self.asked is not None:
            self._say(Kind.ASKED, at_s, self.asked, self.doubt)

    def _judge_held(self, gone: Channels, at_s: float) -> None:
        """Channels that go together now have been holding each other's load."""
        joined = [place for place in self._held if self._expected(place) <= gone]
        if len(joined) < 2:
            self._say(Kind.STRAY, at_s, channels=gone)
            return
        for place in joined:
            self.answers[place] = WalkAnswer(gone, How.ASKED)
            self._say(Kind.SETTLED, at_s, place, gone)
        self._say(Kind.CONFIRMED, at_s, joined[-1], gone)
        self._to_hold = []

    # --- keys ---------------------------------------------------------------------------------------------

    def key(self, key: WalkKey, at_s: float, place: str | None = None) -> tuple[Happening, ...]:
        """Take in what the operator says. What makes no sense at the moment is left aside."""
        if self.stage is Stage.DONE:
            return ()
        if key is WalkKey.FINISH:
            self._finish(at_s)
        elif key is WalkKey.ORDER:
            self._turn_order(at_s)
        elif key is WalkKey.NO:
            if not self._held:
                self._contradict(at_s)
        elif self.stage is Stage.SEAT:
            self._key_while_off(key, at_s, place)
        elif self.stage is Stage.PULL:
            self._key_while_waiting(key, at_s)
        return self._take_said()

    def _key_while_off(self, key: WalkKey, at_s: float, place: str | None) -> None:
        pull = self._pull
        assert pull is not None
        if key is WalkKey.HERE and place in self._by_id:
            assert place is not None
            self._accept(pull, place, How.NAMED)
            right = pull.channels == self._expected(place)
            self._say(Kind.MATCHED if right else Kind.CONFIRMED, at_s, place, pull.channels)
        elif key is WalkKey.LEAVE_OFF:
            self._left_off |= self._off
            self._off = self._strays = NONE
            self._seated(at_s)

    def _key_while_waiting(self, key: WalkKey, at_s: float) -> None:
        if self._held:
            if key is WalkKey.NOTHING:
                self._hold_next(at_s)
            elif key is WalkKey.SKIP:
                self._end_holding(at_s)
        elif key is WalkKey.NOTHING:
            self._begun, self._silences = True, 0
            self._say(Kind.NOTHING, at_s, self.asked)
            if self.asked is not None:
                self._conclude(self.asked, WalkAnswer(NONE, How.SAID), at_s)
        elif key is WalkKey.SKIP and self.asked is not None:
            self._conclude(self.asked, WalkAnswer(NONE, How.SKIPPED), at_s)

    def _turn_order(self, at_s: float) -> None:
        if self.stage in (Stage.SETTLING, Stage.SEAT) or self._held:
            return
        if self.order is Order.GUIDED:
            self.order = Order.FREE
            self._put_back(self.asked)
            self.asked, self.doubt = None, NONE
        else:
            self.order = Order.GUIDED
            self._next(at_s)
