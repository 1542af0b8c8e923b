"""A desk that only reads and senses: what would drive a load is refused with the reason, the rest is handed on.

It saves the operator a try. What keeps loads from being driven is the box it works on (`box.LookingBox`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from textual.message import Message

from loomproof.tui.desk.protocol import Desk, Post, TypedDrive
from loomproof.tui.messages import Announced, BenchDriveEnded, Progressed

ONLY_READS = (
    "Nothing is driven from a browser. This console reads, senses and walks; drive the load at the console beside "
    "the box."
)
DRIVING_STEPS = ("drive", "statement")


class ReadingDesk:
    """Wraps a desk.

    Args:
        desk: the desk that does the work.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._post: Post = lambda message: None
        self._kinds: dict[str, str] = {}

    def begin(self, post: Post) -> None:
        """Start working; the steps that come by are remembered by their kind."""
        self._post = post
        self._desk.begin(self._hear)

    def _hear(self, message: Message) -> object:
        if isinstance(message, Progressed):
            self._kinds = {step.id: step.kind for step in message.progress.steps}
        return self._post(message)

    def run_step(self, step_id: str) -> None:
        """Run a step that only looks."""
        if self._kinds.get(step_id) in DRIVING_STEPS:
            self._refuse()
        else:
            self._desk.run_step(step_id)

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

    def run_steps(self, step_ids: Sequence[str]) -> None:
        """Run steps that only look."""
        for step_id in step_ids:
            self.run_step(step_id)

    def unblock(self, channel: int) -> None:
        """Refused: a statement only serves driving."""
        self._refuse()

    def _refuse(self) -> None:
        self._post(Announced(ONLY_READS, severity="warning"))

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        """Hand on everything else."""
        return getattr(self._desk, name)
