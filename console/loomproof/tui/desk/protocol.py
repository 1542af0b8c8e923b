"""What the pages may ask for. The real desk drives a session and a box; tests hand in a simpler one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from textual.message import Message

from loomproof.procedure.walk.model import WalkKey
from loomproof.tui.pages.bench.view import BenchView
from loomproof.tui.pages.loom.view import JobView
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.views.trace import ReadingView, TraceView

Post = Callable[[Message], object]
SIMULATED_BOX = "sim://"
"""The address of a simulated box that hangs on the loom of the job that is opened."""


class StartRefusedError(Exception):
    """The desk cannot be made: a bad job, a record that cannot be kept. Its text says why and what to do.

    Args:
        text: what is wrong and how to mend it, whole lines.
        code: the exit code of the program.
    """

    def __init__(self, text: str, code: int = 2) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True)
class TypedDrive:
    """A free drive as the operator typed it: a way of driving, and its settings by key."""

    channel: int
    way: str
    values: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Reply:
    """An answer to a prompt: the choice, and for a statement the confirmed facts, the word and the name."""

    choice: str
    facts: tuple[str, ...] = ()
    typed: str = ""
    who: str = ""
    note: str = ""


class Desk(Protocol):
    """The work behind the pages. Every method returns at once; results come as messages through `post`."""

    @property
    def job(self) -> JobView:
        """The head of the job."""
        ...

    def begin(self, post: Post) -> None:
        """Start working; from now on messages are posted."""
        ...

    def run_step(self, step_id: str) -> None:
        """Run one step, again if it was run before."""
        ...

    def run_on(self) -> None:
        """Run from the next open step until the sheet ends or something needs a decision."""
        ...

    def skip(self, step_id: str, reason: str) -> None:
        """Skip a step with a reason."""
        ...

    def answer(self, prompt: PromptView, reply: Reply) -> None:
        """Answer the question that waits."""
        ...

    def drive(self, request: TypedDrive) -> None:
        """Drive one channel freely, under interlocks and budget."""
        ...

    def cancel(self) -> None:
        """End what is driven, without latching a stop."""
        ...

    def bench(self, channel: int, way: str, texts: Mapping[str, str]) -> BenchView:
        """Return how far a channel may be driven that way, what is typed wrong, what blocks it. Quick, no I/O.

        `way` empty: as its load is usually driven. `texts` by setting; a missing one has its default.
        """
        ...

    def unblock(self, channel: int) -> None:
        """Ask for the statement that a channel's hazard class needs."""
        ...

    def expected(self, channel: int, *, earlier: int = 1, sisters: int = 1) -> TraceView:
        """Return a channel's last trace over its expected band, with so many earlier and sister ones."""
        ...

    def readings(self, channel: int, first_s: float, second_s: float) -> ReadingView | None:
        """Return what two cursors read from the channel's last trace; None: there is none."""
        ...

    def start_walk(self, *, free: bool) -> None:
        """Walk round the loom, in free or in guided order."""
        ...

    def walk_key(self, key: WalkKey, place: str | None = None) -> None:
        """Hand the walk what the operator answers, with the place that it is about."""
        ...

    def start_wiggle(self, channels: Sequence[int], *, held: bool) -> None:
        """Watch these channels in turn while somebody bends the loom."""
        ...

    def end_wiggle(self) -> None:
        """End the wiggle test."""
        ...

    def mark_hand(self, place: str, number: int | None) -> None:
        """Where the hand is; with a dropout's number, where it was then."""
        ...

    def run_steps(self, step_ids: Sequence[str]) -> None:
        """Run these steps one after the other."""
        ...

    def stop_now(self) -> None:
        """Every output off, at once, from any thread. Never raises, never waits for an answer."""
        ...

    def clear_stop(self) -> None:
        """Leave the stopped state; nothing is armed again."""
        ...

    def call_in(self) -> None:
        """Tell the heartbeat that the interface is alive."""
        ...

    def reconnect(self) -> None:
        """Open the link anew after it was lost."""
        ...

    def close(self) -> None:
        """Stop, close the record and the link."""
        ...


MakeDesk = Callable[[], Desk]
"""Makes the desk in a thread, once the first picture stands. Raises `StartRefusedError`."""


class Starter(Protocol):
    """Opens what the operator chooses on the start page; handed in by the command line."""

    def ports(self) -> Sequence[tuple[str, str]]:
        """Return the ports of this machine with a description each. None is opened."""
        ...

    def open(self, job: str, box: str) -> tuple[MakeDesk, LoomHands | None]:
        """Return what makes the desk of a job on a box, and the hands on its loom when the box is simulated."""
        ...

    def practice(self) -> tuple[MakeDesk, LoomHands | None]:
        """Return what makes the practice desk, and the hands on its loom."""
        ...


class LoomHands(Protocol):
    """The hands on a simulated loom, handed in by the command line for the demo."""

    def pull(self, where: int | str) -> None:
        """Pull the connector of a channel or location."""
        ...

    def seat(self, where: int | str) -> None:
        """Seat it again."""
        ...

    def wiggle(self, where: int | str) -> None:
        """Wiggle the loom at a channel for a moment."""
        ...

    def supply(self, on: bool) -> None:
        """Switch the supply."""
        ...

    def stop_input(self, open: bool) -> None:  # noqa: A002 - the name the simulated hands have
        """Open or close the hardware stop switch."""
        ...
