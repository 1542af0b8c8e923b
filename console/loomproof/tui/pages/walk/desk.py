"""The desk's part for the walk page: shows the walk and its map, passes keys on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from textual.message import Message

from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Verdict
from loomproof.job.model import Job
from loomproof.procedure.session import Session
from loomproof.procedure.walk.map import (
    VERDICTS,
    PlaceFound,
    PlaceState,
    WalkMap,
    cavities_of,
    map_of,
    plan_texts,
    row_text,
)
from loomproof.procedure.walk.model import Happening, Kind, Order, WalkKey, WalkState
from loomproof.tui import messages
from loomproof.tui.desk.channels import channel_views
from loomproof.tui.desk.engine import engine_view
from loomproof.tui.desk.inbox import Inbox
from loomproof.tui.pages.walk.view import Cue, WalkRow, WalkStage, WalkView
from loomproof.tui.pages.walk.words import WalkWords
from loomproof.tui.sounds import Sound
from loomproof.tui.views.engine import EngineView
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


class WalkDesk:
    """Implements the procedure's `Walker` for the walk page.

    Args:
        job: the job.
        post: hands a message to the interface.
    """

    def __init__(self, job: Job, post: Callable[[Message], object]) -> None:
        self._job = job
        self._words = WalkWords(job)
        self._post = post
        self._keys: Inbox[tuple[WalkKey, str | None]] = Inbox()
        self._judged: Happening | None = None
        self._unanswered: Happening | None = None

    # --- the interface's side -----------------------------------------------------------------------------

    def key(self, key: WalkKey, place: str | None = None) -> None:
        """Pass a key on to the walk."""
        self._keys.put((key, place))

    # --- the session's side -------------------------------------------------------------------------------

    def opened(self, session: Session) -> None:
        """Show what is known already."""
        self._post(messages.WalkAdvanced(self._at_rest(session.walk_map(), WalkStage.IDLE, "", ())))

    def walk(self, session: Session, *, free: bool) -> None:
        """Walk; returns when the walk has ended."""
        self._keys.clear()
        self._judged = self._unanswered = None
        view = WalkView(
            stage=WalkStage.LEARNING,
            caption="LEARNING THE LOOM",
            headline="Touch nothing",
            tone="quiet",
            detail="Every connector must be seated. The box looks at every load for a moment.",
        )
        self._post(messages.WalkAdvanced(view))
        walked = session.walk(self, Order.FREE if free else Order.GUIDED, again=True)
        stage = WalkStage.DONE if walked.end is StepEnd.DONE else WalkStage.IDLE
        self._post(
            messages.WalkAdvanced(
                self._at_rest(walked.map, stage, _ended_by(walked.end, walked.reason), walked.pulsed)
            )
        )

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Show what happened."""
        for item in happened:
            if item.kind in _JUDGING:
                self._judged = item
            if item.kind in (Kind.NOTHING, Kind.SILENT):
                self._unanswered = item
            elif item.kind is Kind.LOST:
                self._unanswered = None
        caption, headline, tone, detail = self._words.words(state, self._judged, self._unanswered)
        found = map_of(state.places, state.answers, state.blind)
        rows = self._rows(found, state.asked)
        known = sum(row.state not in (PlaceState.OPEN, PlaceState.BLIND) for row in found.rows)
        self._post(
            messages.WalkAdvanced(
                WalkView(
                    stage=WalkStage(state.stage.value),
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
                    cues=tuple(cue for item in happened for cue in self._words.cues(item, state)),
                )
            )
        )

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """A key, if one was pressed."""
        return self._keys.next()

    def _at_rest(self, found: WalkMap, stage: WalkStage, before: str, pulsed: tuple[str, ...]) -> WalkView:
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
                "THE WALK HAS ENDED" if stage is WalkStage.DONE else "SO FAR",
            )
            detail = _wrong_detail(found, moves)
        elif found.complete:
            headline, tone, caption = "All right", "good", "THE WALK HAS ENDED"
            detail = "Every place that can be seen answered as the job says."
        else:
            headline, tone, caption = f"{known} of {visible}", "doubt", "NOT FINISHED"
            detail = "Walk on to be asked for the places that are still open."
        cue = (Cue(Sound.DONE, words=headline),) if stage is WalkStage.DONE else ()
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
            c: VERDICTS.get(row.state, Verdict.NOT_TESTED) for row in found.rows for c in row.place.expected
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

    def _blind_text(self, blind: tuple[int, ...]) -> str:
        if not blind:
            return ""
        names = ", ".join(f"{channel} {self._job.channel(channel).name}" for channel in blind)
        return f"No load can be seen on channel {names}: a pull would change nothing. Prove it with a pulse."


def _wrong_detail(found: WalkMap, moves: tuple[str, ...]) -> str:
    if not found.complete:
        return "Walk on: not every place has answered yet."
    return f"{moves[0]} All the moves: see Mend." if moves else "See the places."


def _ended_by(end: StepEnd, reason: str) -> str:
    """Why a walk ended before its time, as the beginning of a detail."""
    if end is StepEnd.STOPPED:
        return f"The box is stopped ({reason}): find out why, clear it (Ctrl+R), then walk on. "
    return f"{reason[:1].upper()}{reason[1:]}. " if reason else ""
