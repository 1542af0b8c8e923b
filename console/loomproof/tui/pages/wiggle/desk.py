"""The desk's part for the wiggle page: shows the test as lanes and rows, passes on where the hand is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from textual.message import Message

from loomproof.box.errors import BoxError
from loomproof.facts.step import StepEnd
from loomproof.job.model import Job
from loomproof.procedure.session import Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.procedure.wiggle.model import Said, Seen, WiggleState
from loomproof.safety.approve import NotPermittedError
from loomproof.tui import messages
from loomproof.tui.desk.inbox import Inbox
from loomproof.tui.pages.wiggle.view import DropoutRow, Lane, WiggleView


class WiggleDesk:
    """Implements the procedure's `Wiggler` for the wiggle page.

    Args:
        job: the job.
        post: hands a message to the interface.
    """

    def __init__(self, job: Job, post: Callable[[Message], object]) -> None:
        self._job = job
        self._post = post
        self._entered: Inbox[Said] = Inbox()
        self._view = WiggleView()

    def hand(self, place: str, number: int | None = None) -> None:
        """Where the hand is, or was at one dropout; from the interface's thread."""
        self._entered.put(Said(hand=place, number=number))

    def enough(self) -> None:
        """End the test; from the interface's thread."""
        self._entered.put(Said(enough=True))

    def watch(self, session: Session, channels: Sequence[int], *, held: bool) -> None:
        """Watch until the operator ends it."""
        self._entered.clear()
        self._show(
            WiggleView(
                running=True, held=held, channels=tuple(channels), said="The box is learning the pins."
            )
        )
        try:
            wiggled = session.wiggle(self, channels, held=held)
        except NotPermittedError as error:
            self._end(f"Blocked: {error} Unblock it on the bench page.", ok=False)
        except (ValueError, BoxError, StepInterruptedError) as error:
            text = str(error)
            self._end(f"{text[:1].upper()}{text[1:]}.", ok=False)
        else:
            count = len(wiggled.seen)
            text = "No dropout was seen." if not count else f"{count} dropouts, written to the record."
            self._end(
                text if wiggled.end is StepEnd.DONE else f"Ended: {wiggled.reason}. {text}", ok=not count
            )

    def told(self, state: WiggleState, fresh: tuple[Seen, ...]) -> None:
        """Show how the test stands."""
        since = state.began_s
        lanes = []
        for channel in state.channels:
            spans = [(a - since, b - since) for c, a, b in state.spans if c == channel]
            if state.watching == channel:
                spans.append((state.watching_since_s - since, state.now_s - since))
            dips = tuple(
                (s.at_s - since, s.length_us * 1e-6, s.depth_permille / 1000)
                for s in state.seen
                if s.channel == channel
            )
            lanes.append(Lane(channel, self._job.channel(channel).name, tuple(spans), dips))
        rows = tuple(
            DropoutRow(n, s.channel, s.at_s - since, s.length_us / 1000, s.depth_permille / 10, s.hand)
            for n, s in enumerate(state.seen)
        )
        self._show(
            WiggleView(
                running=True,
                held=state.held,
                watching=state.watching,
                channels=state.channels,
                lanes=tuple(lanes),
                rows=rows,
                hand=state.hand,
                now_s=state.now_s - since,
                fresh=len(fresh),
            )
        )

    def poll(self) -> Said | None:
        """What the operator said, if anything."""
        return self._entered.next()

    def _show(self, view: WiggleView) -> None:
        self._view = view
        self._post(messages.WiggleAdvanced(view))

    def _end(self, said: str, *, ok: bool) -> None:
        self._show(replace(self._view, running=False, watching=None, said=said, ok=ok, fresh=0))
