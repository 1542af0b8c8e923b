"""A desk that only reads and senses: what would drive a load is refused with the reason, the rest is handed on.

It saves the operator a try. What keeps loads from being driven is the box it works on (`box.look_only`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from textual.message import Message

from loomproof.facts.step import StepKind
from loomproof.procedure.walk.model import WalkKey
from loomproof.tui.desk.protocol import Desk, Post, Reply, TypedDrive
from loomproof.tui.messages import Announced, BenchDriveEnded, Progressed
from loomproof.tui.pages.bench.view import BenchView
from loomproof.tui.pages.loom.view import JobView
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.views.trace import ReadingView, TraceView

ONLY_READS = (
    "Nothing is driven from a browser. This console reads, senses and walks; drive the load at the console beside "
    "the box."
)
DRIVING_STEPS = (StepKind.DRIVE, StepKind.STATEMENT)


class ReadingDesk:
    """Wraps a desk. It has every method of `Desk` itself: what is added to a desk must be decided here, too.

    Args:
        desk: the desk that does the work.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._post: Post = lambda message: None
        self._kinds: dict[str, StepKind] = {}

    # --- refused where it would drive -------------------------------------------------------------------

    def run_step(self, step_id: str) -> None:
        """Run a step that only looks."""
        if self._kinds.get(step_id) in DRIVING_STEPS:
            self._refuse()
        else:
            self._desk.run_step(step_id)

    def run_steps(self, step_ids: Sequence[str]) -> None:
        """Run steps that only look."""
        for step_id in step_ids:
            self.run_step(step_id)

    def run_on(self) -> None:
        """Refused: it would come to a step that drives."""
        self._refuse()

    def drive(self, request: TypedDrive) -> None:
        """Refused."""
        self._post(BenchDriveEnded(request.channel, ONLY_READS, ok=False))

    def start_wiggle(self, channels: Sequence[int], *, held: bool) -> None:
        """Watch resting pins; holding a load on is refused."""
        if held:
            self._refuse()
        else:
            self._desk.start_wiggle(channels, held=False)

    def unblock(self, channel: int) -> None:
        """Refused: a statement only serves driving."""
        self._refuse()

    def _refuse(self) -> None:
        self._post(Announced(ONLY_READS, severity="warning"))

    # --- handed on ----------------------------------------------------------------------------------------

    @property
    def job(self) -> JobView:
        """The head of the job."""
        return self._desk.job

    def begin(self, post: Post) -> None:
        """Start working; the kinds of the steps are remembered as they come by."""
        self._post = post
        self._desk.begin(self._pass_on)

    def _pass_on(self, message: Message) -> object:
        if isinstance(message, Progressed):
            self._kinds = {step.id: step.kind for step in message.progress.steps}
        return self._post(message)

    def skip(self, step_id: str, reason: str) -> None:
        """Skip a step with a reason."""
        self._desk.skip(step_id, reason)

    def answer(self, prompt: PromptView, reply: Reply) -> None:
        """Answer the question that waits."""
        self._desk.answer(prompt, reply)

    def cancel(self) -> None:
        """End what is under way, without latching a stop."""
        self._desk.cancel()

    def bench(self, channel: int, way: str, texts: Mapping[str, str]) -> BenchView:
        """Return a channel as the bench shows it."""
        return self._desk.bench(channel, way, texts)

    def expected(self, channel: int, *, earlier: int = 1, sisters: int = 1) -> TraceView:
        """Return a channel's last trace over its expected band."""
        return self._desk.expected(channel, earlier=earlier, sisters=sisters)

    def readings(self, channel: int, first_s: float, second_s: float) -> ReadingView | None:
        """Return what two cursors read from the channel's last trace; None: there is none."""
        return self._desk.readings(channel, first_s, second_s)

    def start_walk(self, *, free: bool) -> None:
        """Walk round the loom, in free or in guided order."""
        self._desk.start_walk(free=free)

    def walk_key(self, key: WalkKey, place: str | None = None) -> None:
        """Hand the walk what the operator answers."""
        self._desk.walk_key(key, place)

    def end_wiggle(self) -> None:
        """End the wiggle test."""
        self._desk.end_wiggle()

    def mark_hand(self, place: str, number: int | None) -> None:
        """Take down where the hand is; with a dropout's number, where it was then."""
        self._desk.mark_hand(place, number)

    def stop_now(self) -> None:
        """Every output off, at once, from any thread."""
        self._desk.stop_now()

    def clear_stop(self) -> None:
        """Leave the stopped state; nothing is armed again."""
        self._desk.clear_stop()

    def call_in(self) -> None:
        """Keep the box's heartbeat alive."""
        self._desk.call_in()

    def reconnect(self) -> None:
        """Open the link anew after it was lost."""
        self._desk.reconnect()

    def close(self) -> None:
        """Stop, close the record and the link."""
        self._desk.close()
