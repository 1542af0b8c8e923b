"""The walk in words and sounds."""

from __future__ import annotations

from loomproof.job.model import Job
from loomproof.procedure.walk.model import Happening, Kind, Order, Place, Stage, WalkState
from loomproof.tui.pages.walk.view import Cue
from loomproof.tui.sounds import Sound

Words = tuple[str, str, str, str]
"""Caption, headline, tone, detail."""


class WalkWords:
    """Says what a walk waits for and what happened, with the job's names."""

    def __init__(self, job: Job) -> None:
        self._job = job

    def words(self, state: WalkState, judged: Happening | None, unanswered: Happening | None) -> Words:
        """What stands on the page in large and small letters while the walk waits.

        Args:
            state: the walk as it stands.
            judged: what was found at the last pull.
            unanswered: the last place that moved nothing or stayed silent, until something moves again.
        """
        if state.stage is Stage.PAUSED:
            return (
                "NOTHING IS JUDGED",
                "Supply lost",
                "bad",
                "Put the supply back; the walk goes on by itself.",
            )
        if state.stage is Stage.SETTLING:
            return "A LOAD IS GONE", f"Channel {_listed(state.off)}", "plain", ""
        if state.stage is Stage.SEAT:
            return self._seat_words(state, judged)
        return self._pull_words(state, unanswered)

    def _pull_words(self, state: WalkState, unanswered: Happening | None) -> Words:
        place = self._place(state, state.asked)
        if place is None:
            if state.order is Order.FREE:
                text = "The console says which one it takes it for."
                if unanswered is not None:
                    text = f"Noted: one moved nothing. Seat it; the console asks for it by name at the end. {text}"
                return "PULL ANY CONNECTOR", "Pull any", "plain", text
            return "THE LAST ONE IS SEATED", "Wait", "quiet", "Wrong? Pull it again now."
        if state.holding:
            text = (
                "It moved nothing before. Joined wires hide each other: leave each of these off, one after "
                "the other, until the console reports something. Space goes on to the next one."
            )
            return "PULL IT AND LEAVE IT OFF", place.name, "doubt", text
        where = place.where or "No place is given in the job."
        last = self._name(state, unanswered.place if unanswered is not None else None)
        if last and last != place.name:
            where = f"{where}. Seat {last} first."
        if state.doubt:
            what = (
                "as expected, but it must happen twice"
                if state.doubt == place.visible
                else "which does not belong there"
            )
            text = f"Channel {_listed(state.doubt)} lost its load, {what}. Is your hand on the right one?"
            return "PULL IT ONCE MORE", place.name, "doubt", f"{text} {where}"
        return "PULL", place.name, "plain", where

    def _seat_words(self, state: WalkState, judged: Happening | None) -> Words:
        if judged is None:
            return "SEAT IT", "Seat it", "plain", ""
        name = self._name(state, judged.place)
        channels = f"Channel {_listed(judged.channels)}"
        again = "Not what you hold? Seat it and pull it again within 2 s."
        if judged.kind is Kind.MATCHED and state.order is Order.FREE:
            return f"✓ {channels.upper()} BELONGS HERE. IF YOU HOLD IT, SEAT IT", name, "good", again
        if judged.kind is Kind.CONFIRMED and state.holding:
            joined = "They lose their loads together: their wires are joined. The record has it. Seat everything that is off."
            return f"✗ JOINED WIRES AT {name}", channels, "bad", joined
        words: dict[Kind, Words] = {
            Kind.MATCHED: (f"✓ RIGHT: {name}", "Seat it", "good", f"{channels}, as expected. {again}"),
            Kind.MISMATCH: (
                f"✗ NOT AS EXPECTED AT {name or 'ONE CONNECTOR'}",
                channels,
                "bad",
                f"{channels} belongs at {self._homes(judged.channels)}. Seat it, then pull it once more.",
            ),
            Kind.AGAIN: (
                f"AS EXPECTED, ONCE: {name}",
                channels,
                "doubt",
                "A channel answered at two places, so the same answer must come twice. Seat it, then pull it once more.",
            ),
            Kind.CONFIRMED: (
                f"✗ WRONG AT {name or 'ONE CONNECTOR'}",
                channels,
                "bad",
                "The same twice: the record has it. Seat it and go on.",
            ),
            Kind.FEED: (
                "PUT IT BACK",
                "A feed is gone",
                "bad",
                f"{channels} at once: a fuse, a ground or the header, not a connector. It does not count.",
            ),
            Kind.STRAY: (
                "SEAT BOTH",
                "One at a time",
                "doubt",
                f"{channels} lost its load while another was off. That does not count.",
            ),
        }
        if judged.kind is Kind.ELSEWHERE:
            return "✗ NOT THAT ONE", "Seat it", "doubt", f"The console asks for {name} again at the end."
        taken = ("✗ TAKEN BACK", "Seat it", "doubt", f"The console asks for {name} again.")
        return words.get(judged.kind, taken)

    def cues(self, item: Happening, state: WalkState) -> tuple[Cue, ...]:
        """Return the sounds of one happening."""
        name = self._name(state, item.place)
        channels = f"channel {_listed(item.channels)}"
        if item.kind is Kind.ASKED:
            place = self._place(state, item.place)
            number, role = self._number(place)
            words = f"once more, {name}" if item.channels else name
            return (Cue(Sound.NOTE if item.channels else Sound.NEXT, number, role, words),)
        if item.kind is Kind.MATCHED and state.order is Order.FREE:
            number, role = self._number(self._place(state, item.place))
            return (Cue(Sound.RIGHT, number, role, f"{channels}, {name}"),)
        sounds: dict[Kind, Cue] = {
            Kind.LOST: Cue(Sound.LOST),
            Kind.MATCHED: Cue(Sound.RIGHT, words="right"),
            Kind.MISMATCH: Cue(Sound.WRONG, words=f"not expected, {channels}"),
            Kind.AGAIN: Cue(Sound.NOTE, words=f"as expected, {channels}"),
            Kind.CONFIRMED: Cue(Sound.WRONG, words=f"wrong, {channels}"),
            Kind.BACK: Cue(Sound.BACK),
            Kind.STRAY: Cue(Sound.NOTE, words="one at a time, seat both"),
            Kind.TWITCH: Cue(Sound.TICK),
            Kind.SILENT: Cue(Sound.NOTE, words=f"nothing from {name}, seat it"),
            Kind.TAKEN_BACK: Cue(Sound.NOTE, words="taken back"),
            Kind.ELSEWHERE: Cue(Sound.NOTE, words=f"not {name}"),
            Kind.FEED: Cue(Sound.WRONG, words="a feed went, put it back"),
            Kind.HOLD_OFF: Cue(Sound.NOTE, words=f"pull {name} and leave it off"),
            Kind.SEAT_ALL: Cue(Sound.NOTE, words="seat every connector"),
            Kind.SUPPLY_LOST: Cue(Sound.WRONG, words="supply lost"),
            Kind.SUPPLY_BACK: Cue(Sound.NOTE, words="supply back"),
        }
        return (sounds[item.kind],) if item.kind in sounds else ()

    def _place(self, state: WalkState, place_id: str | None) -> Place | None:
        return next((place for place in state.places if place.id == place_id), None)

    def _name(self, state: WalkState, place_id: str | None) -> str:
        place = self._place(state, place_id)
        return place.name if place is not None else ""

    def _number(self, place: Place | None) -> tuple[int, str]:
        """The cylinder's number, and what the load does there."""
        location = self._job.location_of(place.expected[0]) if place is not None else None
        if place is None or location is None or location.cylinder is None:
            return 0, ""
        return location.cylinder, self._job.load_type(place.expected[0]).hazard.value

    def _homes(self, channels: frozenset[int]) -> str:
        names = []
        for channel in sorted(channels):
            location = self._job.location_of(channel)
            names.append(location.name if location is not None else self._job.channel(channel).name)
        return ", ".join(dict.fromkeys(names))


def _listed(channels: frozenset[int]) -> str:
    return ", ".join(str(channel) for channel in sorted(channels))
