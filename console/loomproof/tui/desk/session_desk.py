"""The real desk: a session in a thread of its own, a box, and what the pages show of both.

Threads: the interface calls the methods of `SessionDesk`, which return at once; one worker thread owns the
session; the link's thread delivers the box's messages. What crosses to the interface are posted messages with
frozen views.
"""

from __future__ import annotations

import queue
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Protocol

from textual.message import Message

from loomproof.box.errors import BoxError
from loomproof.job.model import Job
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.prompts import Answer, Choice, Operator, Prompt
from loomproof.procedure.session import Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.procedure.walk.model import WalkKey
from loomproof.safety.interlocks import StatementRefusedError
from loomproof.tui import messages
from loomproof.tui.desk.channels import place_name
from loomproof.tui.desk.operator import TuiOperator
from loomproof.tui.desk.panel import PanelKeeper
from loomproof.tui.desk.progress import ProgressKeeper
from loomproof.tui.desk.prompts import prompt_view
from loomproof.tui.desk.protocol import Post, Reply, TypedDrive
from loomproof.tui.desk.traces import Traces
from loomproof.tui.pages.bench.desk import BenchDesk
from loomproof.tui.pages.bench.view import BenchView
from loomproof.tui.pages.loom.desk import job_view
from loomproof.tui.pages.loom.view import JobView
from loomproof.tui.pages.walk.desk import WalkDesk
from loomproof.tui.pages.wiggle.desk import WiggleDesk
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.views.trace import ReadingView, TraceView
from loomproof_wire.messages import StopReason

SWITCH_S = 0.001
"""Longest time one thread keeps the interpreter: judging a loom must not hold up heartbeats and keys."""


class ConsoleBox(BoxPort, Protocol):
    """The box as the console uses it: what the procedure needs, and the link."""

    def cancel(self) -> object:
        """End what is driven."""
        ...

    def reconnect(self) -> object:
        """Open the link anew."""
        ...

    def close(self) -> object:
        """Close the link."""
        ...


MakeSession = Callable[[ConsoleBox, Operator], Session]


class SessionDesk:
    """Implements `Desk` over a session and a box.

    Args:
        job: the job, checked.
        connect: opens the box; called in the worker thread.
        make_session: makes the session on a connected box; called in the worker thread.
        who: the operator's name or initials.
        record_where: where the record is kept, for the record page; empty: nowhere.
        wall: the wall clock.
    """

    def __init__(
        self,
        job: Job,
        connect: Callable[[], ConsoleBox],
        make_session: MakeSession,
        *,
        who: str = "",
        record_where: str = "",
        wall: Callable[[], datetime] = datetime.now,
    ) -> None:
        self._job = job
        self._connect = connect
        self._make_session = make_session
        self._post: Post = lambda message: None
        self._box: ConsoleBox | None = None
        self._session: Session | None = None
        self._tasks: queue.Queue[Callable[[], None] | None] = queue.Queue()
        self._worker: threading.Thread | None = None
        self._operator = TuiOperator(who, self._raise_prompt)
        self._panel = PanelKeeper()
        self._traces = Traces(job)
        self._gathered = ProgressKeeper(job, record_where, wall)
        self._walking = WalkDesk(job, self._tell)
        self._wiggle = WiggleDesk(job, self._tell)
        self._free = BenchDesk(job, self._operator, self._panel, self._gathered, self._tell)

    # --- the interface's side --------------------------------------------------------------------------

    @property
    def job(self) -> JobView:
        """The head of the job."""
        return job_view(self._job)

    def begin(self, post: Post) -> None:
        """Start the worker and connect."""
        self._post = post
        sys.setswitchinterval(min(sys.getswitchinterval(), SWITCH_S))
        self._publish()
        self._worker = threading.Thread(target=self._work, name="session", daemon=True)
        self._worker.start()
        self._tasks.put(self._open)

    def run_step(self, step_id: str) -> None:
        """Run one step."""
        self._run(lambda session: session.run_step(step_id))

    def run_on(self) -> None:
        """Run every unfinished step until something ends it."""
        self._run(lambda session: session.run_all())

    def skip(self, step_id: str, reason: str) -> None:
        """Skip a step."""
        self._run(lambda session: session.skip_step(step_id, reason))

    def answer(self, prompt: PromptView, reply: Reply) -> None:
        """Hand the answer to the session's thread."""
        answer = Answer(Choice(reply.choice), reply.facts, reply.typed, reply.who, reply.note)
        self._operator.give(int(prompt.id), answer)

    def drive(self, request: TypedDrive) -> None:
        """Drive freely in the worker thread."""
        self._run(lambda session: self._free.drive(session, request))

    def cancel(self) -> None:
        """End the drive."""
        if self._box is not None:
            self._free.cancel(self._box, self._session)

    def bench(self, channel: int, way: str, texts: Mapping[str, str]) -> BenchView:
        """Return a channel as the bench shows it."""
        return self._free.bench(self._session, channel, way, texts)

    def unblock(self, channel: int) -> None:
        """Ask for every statement the channel needs, in the worker thread."""
        self._run(lambda session: self._free.ask_statements(session, channel))

    def expected(self, channel: int, *, earlier: int = 1, sisters: int = 1) -> TraceView:
        """Return the traces of a channel over the expected band."""
        return self._traces.view(channel, earlier=earlier, sisters=sisters)

    def readings(self, channel: int, first_s: float, second_s: float) -> ReadingView | None:
        """Return what two cursors read from the channel's newest trace."""
        return self._traces.readings(channel, first_s, second_s)

    def start_walk(self, *, free: bool) -> None:
        """Walk in the worker thread."""

        def walk(session: Session) -> None:
            """What is not to be pulsed is not walked round either: a pin may need a sense pulse to show its load."""
            if self._free.ask_before_pulses(session):
                self._walking.walk(session, free=free)

        self._run(walk)

    def walk_key(self, key: WalkKey, place: str | None = None) -> None:
        """Pass a key on to the walk."""
        self._walking.key(key, place)

    def start_wiggle(self, channels: Sequence[int], *, held: bool) -> None:
        """Watch in the worker thread."""
        self._run(lambda session: self._wiggle.watch(session, channels, held=held))

    def end_wiggle(self) -> None:
        """End the wiggle test, and the watch under way."""
        self._wiggle.enough()
        self.cancel()

    def mark_hand(self, place: str, number: int | None) -> None:
        """Where the hand is, or was."""
        self._wiggle.hand(place, number)

    def run_steps(self, step_ids: Sequence[str]) -> None:
        """Run these steps one after the other."""
        for step_id in step_ids:
            self.run_step(step_id)

    def stop_now(self) -> None:
        """Send the stop frame first, from any thread; then stop the session."""
        box, session = self._box, self._session
        if box is not None:
            with suppress(BoxError, OSError):
                box.stop_now()
        if session is not None:
            session.request_stop("the stop key")
        self._operator.cancel()

    def clear_stop(self) -> None:
        """Clear the stop in the worker thread."""
        self._run(lambda session: session.clear_stop())

    def call_in(self) -> None:
        """Open the heartbeat's gate, and notice when the box has gone silent."""
        if self._box is not None:
            self._box.call_in()
        if self._panel.fell_silent():
            self._post(messages.PanelChanged(self._panel.view()))

    def reconnect(self) -> None:
        """Open the link anew in the worker thread; when there was none yet, connect."""
        if self._session is None:
            self._tasks.put(self._open)
        else:
            self._run(self._reconnect)

    def close(self) -> None:
        """End the worker, close the record, then the link."""
        self._post = lambda message: None
        self._operator.close()
        self._walking.key(WalkKey.FINISH)
        self._wiggle.enough()
        self._tasks.put(None)
        if self._worker is not None:
            self._worker.join(3.0)
        session, box = self._session, self._box
        if session is not None and self._worker is not None and not self._worker.is_alive():
            with suppress(Exception):
                session.close("left by the operator")
        if box is not None:
            with suppress(Exception):
                box.close()

    # --- the worker's side -----------------------------------------------------------------------------

    def _run(self, task: Callable[[Session], object]) -> None:
        self._tasks.put(lambda: self._with_session(task))

    def _with_session(self, task: Callable[[Session], object]) -> None:
        if self._session is None:
            self._say(
                "There is no box yet. Check the cable, then connect again from the command list (Ctrl+P).",
                "error",
            )
            return
        self._gathered.running = True
        self._publish()
        try:
            task(self._session)
        finally:
            self._gathered.running = False
            self._publish()

    def _work(self) -> None:
        while (task := self._tasks.get()) is not None:
            try:
                task()
            except (BoxError, OSError, StepInterruptedError, StatementRefusedError, ValueError) as error:
                self._say(str(error), "error")
            except Exception as error:  # noqa: BLE001 - whatever broke: the box off, a message, and the console goes on
                self.stop_now()
                self._say(f"The console had an error and stopped the box: {error!r}", "error")

    def _open(self) -> None:
        self._panel.connecting()
        self._post(messages.PanelChanged(self._panel.view()))
        try:
            box = self._connect()
        except (BoxError, OSError, ValueError) as error:
            self._panel.lost()
            self._post(messages.PanelChanged(self._panel.view()))
            self._say(f"No box: {error}", "error")
            return
        self._box = box
        self._panel.identified(box.identity)
        box.subscribe(self._on_message)
        box.call_in()
        session = self._make_session(box, self._operator)
        session.subscribe(self._on_event)
        session.open()
        self._clear_old_silence(session, box)
        self._session = session
        self._gathered.opened(session)
        self._walking.opened(session)
        self._panel.status(box.status(), box.now_s(), session.interlocks)
        self._post(messages.PanelChanged(self._panel.view()))
        self._publish()

    def _clear_old_silence(self, session: Session, box: ConsoleBox) -> None:
        """Clear a stop that only says that an earlier console left: nothing is armed and nothing was driven.

        A stop for any other reason stays until the operator clears it.
        """
        if session.stopped and box.status().stop_reason is StopReason.HEARTBEAT:
            session.clear_stop()
            self._gathered.note(
                "stop", "the box was still stopped since an earlier console left; cleared on opening"
            )

    def _reconnect(self, session: Session) -> None:
        assert self._box is not None
        self._box.reconnect()
        session.reconnected()
        self._say("Connected again. Nothing is armed and nothing is stated.", "information")

    # --- what the pages get ----------------------------------------------------------------------------------

    def _raise_prompt(self, prompt: Prompt | None) -> None:
        view = prompt_view(prompt, place_name(self._job, prompt.channel)) if prompt is not None else None
        self._post(messages.PromptRaised(view))

    def _tell(self, message: Message) -> object:
        return self._post(message)  # looked up each time: `begin` and `close` replace it

    def _say(self, text: str, severity: str) -> None:
        self._post(messages.Announced(text, severity=severity))

    def _publish(self) -> None:
        self._post(messages.Progressed(self._gathered.progress(self._panel.live())))

    def _on_message(self, message: object) -> None:
        session, box = self._session, self._box
        if box is None:
            return
        before = self._panel.live()
        if self._panel.take(message, box.now_s(), session.interlocks if session is not None else None):
            self._post(messages.PanelChanged(self._panel.view()))
            if self._panel.live() != before:
                self._publish()

    def _on_event(self, event: object) -> None:
        if self._gathered.take(event):
            self._publish()
        self._free.advanced(event)
        trace = self._traces.take(event)
        if trace is not None:
            self._post(messages.TraceCaptured(trace))
        if self._panel.take_event(event):
            self._post(messages.PanelChanged(self._panel.view()))
