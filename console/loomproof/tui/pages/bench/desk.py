"""The desk's part for the bench page: free drives, the statements they need, limits and blocks.

Called with the session from the desk's worker thread, but for `bench` and `cancel`, which the interface calls.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Protocol

from loomproof.box.errors import BoxError
from loomproof.facts.kinds import HazardClass
from loomproof.job.model import Job
from loomproof.procedure.bench.ways import Way
from loomproof.procedure.events import FreeDriveAdvanced
from loomproof.procedure.prompts import Choice, Prompt, PromptKind
from loomproof.procedure.session import FreeDrive, Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError, OverBudgetError
from loomproof.safety.cautions import statement_cautions
from loomproof.safety.interlocks import Blocked, StatementRefusedError
from loomproof.safety.statements import StatementKind, form_for
from loomproof.tui import messages
from loomproof.tui.desk.channels import measured_text
from loomproof.tui.desk.operator import TuiOperator
from loomproof.tui.desk.panel import PanelKeeper
from loomproof.tui.desk.progress import ProgressKeeper
from loomproof.tui.desk.protocol import Post, TypedDrive
from loomproof.tui.pages.bench.plan_view import bench_view
from loomproof.tui.pages.bench.view import BenchView
from loomproof_wire.messages import EndReason

VIEW_AGE_S = 0.5
"""How long computed limits are shown before they are computed anew: loads cool, the supply changes."""


class Cancellable(Protocol):
    """What ends a drive."""

    def cancel(self) -> object:
        """End what is driven."""
        ...


class BenchDesk:
    """Drives freely, asks for statements outside the run sheet, and knows the limits.

    Args:
        job: the job.
        operator: who is asked.
        panel: the box's state.
        gathered: where measurements and lines of the record go.
        post: hands a message to the interface.
    """

    def __init__(
        self, job: Job, operator: TuiOperator, panel: PanelKeeper, gathered: ProgressKeeper, post: Post
    ) -> None:
        self._job = job
        self._operator = operator
        self._panel = panel
        self._gathered = gathered
        self._post = post
        self._own_prompts = 0
        self._kept: tuple[object, float, BenchView] | None = None

    def drive(self, session: Session, request: TypedDrive) -> None:
        """Drive, and show what came of it."""
        try:
            plan = session.free.plan(request.channel, Way(request.way), dict(request.values))
            done = session.free.run(plan)
        except NotPermittedError as error:
            self._drove(request, f"Blocked: {error}", ok=False)
        except (OverBudgetError, BoxError, StepInterruptedError, ValueError) as error:
            self._drove(request, str(error), ok=False)
        else:
            self._gathered.measured(request.channel, done.signature)
            self._drove(request, drive_text(done), ok=done.completed)

    def advanced(self, event: object) -> None:
        """Show which train of several begins."""
        if isinstance(event, FreeDriveAdvanced) and event.of > 1:
            text = f"Driving train {event.number} of {event.of}: {event.text}"
            self._post(messages.BenchDriveAdvanced(event.channel, text))

    def cancel(self, box: Cancellable, session: Session | None) -> None:
        """End the drive from a thread of its own: the worker waits for its end."""
        if session is not None:
            session.free.end()

        def end() -> None:
            with suppress(BoxError, OSError):
                box.cancel()

        threading.Thread(target=end, name="cancel", daemon=True).start()

    def bench(self, session: Session | None, channel: int, way: str, texts: Mapping[str, str]) -> BenchView:
        """Return the page's view, computed anew when something in it changed and at least every half second.

        Args:
            session: on the box; None: none is connected.
            channel: a fitted channel.
            way: how it is to be driven; empty: as its load usually is.
            texts: what stands in the fields, by key.
        """
        blocks = tuple(self._panel.blocks(channel))
        stated = session.interlocks if session is not None else None
        key = (channel, way, tuple(sorted(texts.items())), blocks, stated)
        if self._kept is None or self._kept[0] != key or time.monotonic() - self._kept[1] > VIEW_AGE_S:
            view = bench_view(self._job, channel, way, texts, session=session, box_blocks=blocks)
            self._kept = (key, time.monotonic(), view)
        return self._kept[2]

    def ask_statements(self, session: Session, channel: int) -> None:
        """Clear the channel's trip if there is one, else ask for every statement that it needs."""
        if session.free.forget_trip(channel):
            self._gathered.note("trip", f"channel {channel}: cleared by the operator")
            self._post(
                messages.BenchDriveEnded(
                    channel, "The trip is cleared. Begin with few, short pulses.", ok=True
                )
            )
            return
        if not isinstance(session.permit(channel), Blocked):
            # Nothing is missing, so the fuel ledger is full: only a fresh look at the fuel empties it.
            if self._job.load_type(channel).hazard is HazardClass.FUEL:
                for kind in (StatementKind.FUEL_ISOLATED, StatementKind.RAIL_DRY):
                    if not self._ask_statement(session.state, kind, channel):
                        break
            return
        for _ in range(2 * len(StatementKind)):
            permit = session.permit(channel)
            if not isinstance(permit, Blocked) or not permit.needs:
                return
            if not self._ask_statement(session.state, permit.needs[0], channel):
                return

    def ask_before_pulses(self, session: Session) -> bool:
        """Ask for the statement without which nothing is pulsed on a vehicle; whether it is made."""
        blocked = session.interlocks.blocks_pulses()
        return blocked is None or all(self._ask_statement(session.state, kind) for kind in blocked.needs)

    def _ask_statement(
        self, state: Callable[..., None], kind: StatementKind, channel: int | None = None
    ) -> bool:
        hazard = HazardClass.NONE if channel is None else self._job.load_type(channel).hazard
        form, problem = form_for(kind, self._job.setting), ""
        while True:
            self._own_prompts -= 1  # the session's prompts count up from 1
            prompt = Prompt(
                self._own_prompts,
                PromptKind.STATEMENT,
                "",
                form.title,
                "Confirm each fact after you have checked it with your own eyes.",
                choices=(Choice.STATE, Choice.LEAVE),
                cautions=statement_cautions(kind, self._job.setting),
                channel=channel,
                hazard=hazard,
                statement=form,
                problem=problem,
            )
            answer = self._operator.answer(prompt)
            if answer.choice is not Choice.STATE:
                return False
            try:
                state(kind, answer.facts, answer.typed, answer.who)
            except StatementRefusedError as error:
                problem = str(error)
            else:
                return True

    def _drove(self, request: TypedDrive, text: str, *, ok: bool) -> None:
        self._gathered.note("free drive", f"channel {request.channel}: {text}")
        self._post(messages.BenchDriveEnded(request.channel, text, ok=ok))


def drive_text(done: FreeDrive) -> str:
    """Return what came of a free drive."""
    pulses = "1 pulse" if done.pulses == 1 else f"{done.pulses} pulses"
    trains = f" in {done.trains} of {done.planned} trains" if done.planned > 1 else ""
    text = f"{pulses} delivered{trains}, {done.ending}."
    if done.why:
        text += f" {done.why[0].upper()}{done.why[1:]}."
    if done.reason is EndReason.TRIPPED:
        text += " Find the short first; u then clears the trip."
    measured = measured_text(done.signature)
    return f"{text} {measured}" if measured else text
