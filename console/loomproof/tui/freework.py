"""The desk's part for the bench page: free drives, the statements they need, limits and blocks.

Called with the session from the desk's worker thread, but for `check`, `budget` and `cancel`, which the
interface calls.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

from loomproof.box import BoxError
from loomproof.job.kinds import HazardClass
from loomproof.job.model import Job
from loomproof.procedure.core import NotPermittedError, StepInterruptedError
from loomproof.procedure.driving import OverBudgetError
from loomproof.procedure.prompts import Choice, Prompt, PromptKind
from loomproof.procedure.session import FreeDrive, Session
from loomproof.safety import (
    Blocked,
    Pulses,
    StatementKind,
    StatementRefusedError,
    cautions_for,
    check_train,
    form_for,
)
from loomproof.tui import messages
from loomproof.tui.desk import DriveRequest, Post
from loomproof.tui.gathering import Gathered
from loomproof.tui.operator import TuiOperator
from loomproof.tui.panels import PanelKeeper
from loomproof.tui.translate import measured_text
from loomproof.tui.views import BudgetView

BUDGET_AGE_S = 0.5
"""How long a computed budget is shown before it is computed anew."""


class Cancellable(Protocol):
    """What ends a drive."""

    def cancel(self) -> object:
        """End what is driven."""
        ...


class FreeWork:
    """Drives freely, asks for statements outside the run sheet, and knows the limits.

    Args:
        job: the job.
        operator: who is asked.
        panel: the box's state.
        gathered: where measurements and lines of the record go.
        post: hands a message to the interface.
    """

    def __init__(
        self, job: Job, operator: TuiOperator, panel: PanelKeeper, gathered: Gathered, post: Post
    ) -> None:
        self._job = job
        self._operator = operator
        self._panel = panel
        self._gathered = gathered
        self._post = post
        self._own_prompts = 0
        self._budgets: dict[int, tuple[float, object, BudgetView]] = {}

    def drive(self, session: Session, request: DriveRequest) -> None:
        """Drive, and tell what came of it."""
        try:
            done = session.drive(request.channel, pulses_of(request))
        except NotPermittedError as error:
            self._drove(request, f"Blocked: {error}", ok=False)
        except (OverBudgetError, BoxError, StepInterruptedError, ValueError) as error:
            self._drove(request, str(error), ok=False)
        else:
            self._gathered.measured(request.channel, done.signature)
            self._drove(request, drive_text(done), ok=done.reason == "complete")

    def cancel(self, box: Cancellable) -> None:
        """End the drive from a thread of its own: the worker waits for its end."""

        def end() -> None:
            with suppress(BoxError, OSError):
                box.cancel()

        threading.Thread(target=end, name="cancel", daemon=True).start()

    def check(self, session: Session | None, request: DriveRequest) -> tuple[str, ...]:
        """Compare a request with the channel's budget."""
        if session is None:
            return ("The box is not connected yet.",)
        pulses = pulses_of(request)
        budget = session.budget(request.channel, on_time_us=pulses.on_time_us, period_us=pulses.period_us)
        return tuple(str(problem) for problem in check_train(budget, pulses))

    def budget(self, session: Session | None, channel: int) -> BudgetView:
        """Return limits and blocks, computed at most every half second or when a statement changed."""
        from loomproof.tui.budgets import budget_view

        stated = session.interlocks if session is not None else None
        kept = self._budgets.get(channel)
        if kept is not None and kept[1] is stated and time.monotonic() - kept[0] < BUDGET_AGE_S:
            return kept[2]
        view = budget_view(self._job, channel, session, tuple(self._panel.blocks(channel)))
        self._budgets[channel] = (time.monotonic(), stated, view)
        return view

    def ask_statements(self, session: Session, channel: int) -> None:
        """Ask for every statement the channel needs."""
        if not isinstance(session.permit(channel), Blocked):
            # Nothing is missing, so the fuel ledger is full: only a fresh look at the fuel empties it.
            if self._job.load_type(channel).hazard is HazardClass.FUEL:
                self._ask_statement(session.state, StatementKind.FUEL_ISOLATED, channel)
            return
        for _ in range(2 * len(StatementKind)):
            permit = session.permit(channel)
            if not isinstance(permit, Blocked) or not permit.needs:
                return
            if not self._ask_statement(session.state, permit.needs[0], channel):
                return

    def _ask_statement(self, state: Callable[..., None], kind: StatementKind, channel: int) -> bool:
        load = self._job.load_type(channel)
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
                cautions=cautions_for(load.hazard, self._job.setting),
                channel=channel,
                hazard=load.hazard,
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

    def _drove(self, request: DriveRequest, text: str, *, ok: bool) -> None:
        self._gathered.note("free drive", f"channel {request.channel}: {text}")
        self._post(messages.DriveFinished(request.channel, text, ok=ok))


def pulses_of(request: DriveRequest) -> Pulses:
    """Return a request in whole microseconds."""
    return Pulses(request.count, round(1e6 / request.frequency_hz), round(request.on_time_ms * 1e3))


def drive_text(done: FreeDrive) -> str:
    """Return what came of a free drive."""
    pulses = "1 pulse" if done.pulses == 1 else f"{done.pulses} pulses"
    measured = measured_text(done.signature)
    text = f"{pulses} delivered, {done.reason}."
    return f"{text} {measured}" if measured else text
