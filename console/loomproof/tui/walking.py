"""The desk's part for the walk page: hears the walk, words it for eyes and ears, passes keys on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from textual.message import Message

from loomproof.job.model import Job
from loomproof.procedure.model import StepEnd
from loomproof.procedure.session import Session
from loomproof.procedure.walk.mapping import (
    PlaceFound,
    PlaceState,
    WalkMap,
    cavities_of,
    map_of,
    plan_texts,
    row_text,
)
from loomproof.procedure.walk.model import Happening, Kind, Order, Place, Stage, WalkKey, WalkState
from loomproof.tui import messages
from loomproof.tui.sounds import Sound
from loomproof.tui.spoken import Spoken
from loomproof.tui.translate import channel_views, engine_view
from loomproof.tui.views import EngineView
from loomproof.tui.walkviews import Cue, WalkRow, WalkView
from loomproof.tui.words import Sign

SIGNS: dict[PlaceState, Sign] = {
    PlaceState.RIGHT: Sign("✓", "right", "good"),
    PlaceState.WRONG: Sign("✗", "WRONG", "bad"),
    PlaceState.PARTLY: Sign("✗", "PARTLY", "bad"),
    PlaceState.JOINED: Sign("✗", "JOINED", "bad"),
    PlaceState.NOTHING: Sign("✗", "NOTHING", "bad"),
    PlaceState.CONFLICT: Sign("?", "two answers", "doubt"),
    PlaceState.OPEN: Sign("·", "to do", "quiet"),
    PlaceState.SILENT: Sign("?", "no answer", "doubt"),
    PlaceState.SKIPPED: Sign("»", "skipped", "doubt"),
    PlaceState.BLIND: Sign("-", "not seen", "quiet"),
}
ENGINE_MARKS: dict[PlaceState, str] = {
    PlaceState.RIGHT: "pass",
    PlaceState.WRONG: "fail",
    PlaceState.PARTLY: "fail",
    PlaceState.JOINED: "fail",
    PlaceState.NOTHING: "fail",
    PlaceState.CONFLICT: "unsure",
    PlaceState.SILENT: "unsure",
}
_JUDGING = (
    Kind.MATCHED,
    Kind.MISMATCH,
    Kind.AGAIN,
    Kind.CONFIRMED,
    Kind.FEED,
    Kind.STRAY,
    Kind.TAKEN_BACK,
    Kind.ELSEWHERE,
)
Words = tuple[str, str, str, str]
"""Caption, headline, tone, detail."""


class Walking:
    """Implements the procedure's `Walker` for the walk page.

    Args:
        job: the job.
        post: hands a message to the interface.
    """

    def __init__(self, job: Job, post: Callable[[Message], object]) -> None:
        self._job = job
        self._post = post
        self._keys: Spoken[tuple[WalkKey, str | None]] = Spoken()
        self._judged: Happening | None = None
        self._unanswered: Happening | None = None

    # --- the interface's side -----------------------------------------------------------------------------

    def key(self, key: str, place: str | None = None) -> None:
        """Pass a key on to the walk."""
        self._keys.say((WalkKey(key), place))

    # --- the session's side -------------------------------------------------------------------------------

    def opened(self, session: Session) -> None:
        """Show what is known already."""
        self._post(messages.WalkTold(self._at_rest(session.walk_map(), "idle", "", ())))

    def walk(self, session: Session, *, free: bool) -> None:
        """Walk; returns when the walk has ended."""
        self._keys.forget()
        self._judged = self._unanswered = None
        view = WalkView(
            stage="learning",
            caption="LEARNING THE LOOM",
            headline="Touch nothing",
            tone="quiet",
            detail="Every connector must be seated. The box looks at every load for a moment.",
        )
        self._post(messages.WalkTold(view))
        walked = session.walk(self, Order.FREE if free else Order.GUIDED, again=True)
        stage = "done" if walked.end is StepEnd.DONE else "idle"
        self._post(
            messages.WalkTold(
                self._at_rest(walked.map, stage, _ended_by(walked.end, walked.reason), walked.pulsed)
            )
        )

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Hear what happened and tell the page."""
        for item in happened:
            if item.kind in _JUDGING:
                self._judged = item
            if item.kind in (Kind.NOTHING, Kind.SILENT):
                self._unanswered = item
            elif item.kind is Kind.LOST:
                self._unanswered = None
        caption, headline, tone, detail = self._words(state)
        found = map_of(state.places, state.answers, state.blind)
        rows = self._rows(found, state.asked)
        known = sum(row.state not in (PlaceState.OPEN, PlaceState.BLIND) for row in found.rows)
        self._post(
            messages.WalkTold(
                WalkView(
                    stage=state.stage.value,
                    order=state.order.value,
                    headline=headline,
                    tone=tone,
                    caption=caption,
                    detail=detail,
                    left_s=state.silent_left_s,
                    rows=rows,
                    known=known,
                    total=sum(bool(place.visible) for place in state.places),
                    moves=self._moves(found),
                    blind=self._blind_text(state.blind),
                    asked=state.asked,
                    holding=bool(state.holding),
                    channels=tuple(sorted(state.off)),
                    engine=self._engine(found),
                    cues=tuple(cue for item in happened for cue in self._cues(item, state)),
                )
            )
        )

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """A key, if one was pressed."""
        return self._keys.hear()

    # --- words --------------------------------------------------------------------------------------------

    def _words(self, state: WalkState) -> Words:
        if state.stage is Stage.PAUSED:
            return (
                "NOTHING IS JUDGED",
                "Supply lost",
                "bad",
                "Put the supply back; the walk goes on by itself.",
            )
        if state.stage is Stage.SETTLING:
            return "A LOAD IS GONE", self._channels(state.off), "plain", ""
        if state.stage is Stage.SEAT:
            return self._seat_words(state)
        return self._pull_words(state)

    def _pull_words(self, state: WalkState) -> Words:
        place = self._place(state, state.asked)
        if place is None:
            if state.order is Order.FREE:
                text = "The console tells which one it takes it for."
                if self._unanswered is not None:
                    text = (
                        f"Noted: one that moved nothing. Seat it; it is asked for by name at the end. {text}"
                    )
                return "PULL ANY CONNECTOR", "Pull any", "plain", text
            return "THE LAST ONE IS SEATED", "Wait", "quiet", "Wrong? Pull it again now."
        if state.holding:
            text = (
                "It moved nothing before. Wires that are joined hide each other: leave each of these off, one "
                "after the other, until the console speaks. Space goes on to the next."
            )
            return "PULL IT AND LEAVE IT OFF", place.name, "doubt", text
        where = place.where or "No place is given in the job."
        last = self._name(state, self._unanswered.place if self._unanswered is not None else None)
        if last and last != place.name:
            where = f"{where}. Seat {last} first."
        if state.doubt:
            what = (
                "as expected, but it must come twice"
                if state.doubt == place.visible
                else "not what belongs there"
            )
            text = f"Channel {_listed(state.doubt)} went, {what}. Is your hand on the right one?"
            return "PULL IT ONCE MORE", place.name, "doubt", f"{text} {where}"
        return "PULL", place.name, "plain", where

    def _seat_words(self, state: WalkState) -> Words:
        judged = self._judged
        if judged is None:
            return "SEAT IT", "Seat it", "plain", ""
        name = self._name(state, judged.place)
        channels = f"Channel {_listed(judged.channels)}"
        again = "Not what you hold? Seat it and pull it again within 2 s."
        if judged.kind is Kind.MATCHED and state.order is Order.FREE:
            return f"✓ {channels.upper()} BELONGS TO. SEAT IT IF YOU HOLD THAT", name, "good", again
        if judged.kind is Kind.CONFIRMED and state.holding:
            joined = "They go together: their wires are joined. It is in the record. Seat all that is off."
            return f"✗ JOINED WIRES AT {name}", channels, "bad", joined
        words: dict[Kind, Words] = {
            Kind.MATCHED: (f"✓ RIGHT: {name}", "Seat it", "good", f"{channels}, as expected. {again}"),
            Kind.MISMATCH: (
                f"✗ NOT AS EXPECTED AT {name or 'ONE CONNECTOR'}",
                channels,
                "bad",
                f"Expected there: {self._homes(judged.channels)}. Seat it, then pull it once more.",
            ),
            Kind.AGAIN: (
                f"AS EXPECTED, ONCE: {name}",
                channels,
                "doubt",
                "A channel answered at two places, so this one takes two pulls the same. Seat it, then pull it once more.",
            ),
            Kind.CONFIRMED: (
                f"✗ WRONG AT {name or 'ONE CONNECTOR'}",
                channels,
                "bad",
                "Twice the same: it is in the record. Seat it and go on.",
            ),
            Kind.FEED: (
                "PUT IT BACK",
                "A feed went",
                "bad",
                f"{channels} at once: a fuse, a ground or the header, no connector. Nothing is counted.",
            ),
            Kind.STRAY: (
                "SEAT BOTH",
                "One at a time",
                "doubt",
                f"{channels} went while another was off. It is not counted.",
            ),
        }
        if judged.kind is Kind.ELSEWHERE:
            return "✗ NOT THAT ONE", "Seat it", "doubt", f"{name} is asked for by name at the end."
        taken = ("✗ TAKEN BACK", "Seat it", "doubt", f"{name} is asked again.")
        return words.get(judged.kind, taken)

    def _at_rest(self, found: WalkMap, stage: str, before: str, pulsed: tuple[str, ...]) -> WalkView:
        """Before a walk, and after."""
        known = sum(row.found is not None for row in found.rows)
        visible = sum(row.state is not PlaceState.BLIND for row in found.rows)
        moves = self._moves(found)
        wrong = sum(SIGNS[row.state].role == "bad" for row in found.rows)
        if not known:
            headline, tone, caption = "Location walk", "quiet", "NOT WALKED YET"
            detail = (
                "Pull and seat one connector after another; the box sees which channel it is. No key needed."
            )
        elif wrong:
            headline, tone, caption = (
                f"{wrong} wrong",
                "bad",
                "THE WALK HAS ENDED" if stage == "done" else "SO FAR",
            )
            detail = _wrong_detail(found, moves)
        elif found.complete:
            headline, tone, caption = "All right", "good", "THE WALK HAS ENDED"
            detail = "Every place that can be seen answered as the job says."
        else:
            headline, tone, caption = f"{known} of {visible}", "doubt", "NOT FINISHED"
            detail = "The places still open are asked when you walk on."
        cue = (Cue(Sound.DONE, words=headline),) if stage == "done" else ()
        return WalkView(
            stage=stage,
            headline=headline,
            tone=tone,
            caption=caption,
            detail=f"{before}{detail}",
            rows=self._rows(found, None),
            known=known,
            total=visible,
            moves=moves,
            blind=self._blind_text(found.blind),
            pulsed=pulsed,
            engine=self._engine(found),
            cues=cue,
        )

    def _cues(self, item: Happening, state: WalkState) -> tuple[Cue, ...]:
        """What is to be heard of one happening."""
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

    # --- helpers ------------------------------------------------------------------------------------------

    def _rows(self, found: WalkMap, asked: str | None) -> tuple[WalkRow, ...]:
        return tuple(self._row(row, row.place.id == asked) for row in found.rows)

    def _row(self, row: PlaceFound, asked: bool) -> WalkRow:
        sign = SIGNS[row.state]
        text = row_text(row)
        if asked:
            sign = Sign("►", "NEXT", "live")
        return WalkRow(
            row.place.id, row.place.name, row.place.where, sign.shape, sign.word, sign.role, text, asked=asked
        )

    def _engine(self, found: WalkMap) -> EngineView:
        """The engine with what the walk knows of each place, not what driving proved."""
        marks = {
            c: ENGINE_MARKS.get(row.state, "not tested") for row in found.rows for c in row.place.expected
        }
        channels = tuple(
            replace(view, verdict=marks.get(view.channel, view.verdict) if view.fitted else view.verdict)
            for view in channel_views(self._job)
        )
        return engine_view(self._job, channels)

    def _moves(self, found: WalkMap) -> tuple[str, ...]:
        texts = plan_texts(cavities_of(self._job), found.plan, complete=found.complete)
        mute = [row.place.name for row in found.rows if row.state is PlaceState.NOTHING]
        if not mute:
            return texts
        return (
            *texts,
            f"Nothing moved at {', '.join(mute)}: look there for joined wires, and walk there again.",
        )

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

    def _channels(self, channels: frozenset[int]) -> str:
        return f"Channel {_listed(channels)}"

    def _blind_text(self, blind: tuple[int, ...]) -> str:
        if not blind:
            return ""
        names = ", ".join(f"{channel} {self._job.channel(channel).name}" for channel in blind)
        return f"No load to be seen on channel {names}: a pull would look like nothing. Prove it by a pulse."


def _wrong_detail(found: WalkMap, moves: tuple[str, ...]) -> str:
    if not found.complete:
        return "Walk on: not every place has answered yet."
    return f"{moves[0]} All the moves: see Mend." if moves else "See the places."


def _ended_by(end: StepEnd, reason: str) -> str:
    """Why a walk ended before its time, as the beginning of a detail."""
    if end is StepEnd.STOPPED:
        return f"The box is stopped ({reason}): find out why, clear it (Ctrl+R), then walk on. "
    return f"{reason[:1].upper()}{reason[1:]}. " if reason else ""


def _listed(channels: frozenset[int]) -> str:
    return ", ".join(str(channel) for channel in sorted(channels))
