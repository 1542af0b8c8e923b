"""What all steps of a session share: statements, the fuel ledger, prompts, events and the box's scales.

The thread that runs the session owns everything here but `stop`, which any thread may call, and `on_message`,
which the link's thread calls.
"""

from __future__ import annotations

import itertools
import threading
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from loomproof.box.errors import BoxError, LinkDown
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import DriveRequest
from loomproof.facts.record import EventKind, EventNoted, StatementMade
from loomproof.facts.step import StepEnd
from loomproof.facts.trace import Calibration
from loomproof.job.model import Job
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.conversion import calibration_of, ceilings_of
from loomproof.procedure.events import (
    InterlocksChanged,
    LinkFailed,
    PromptAnswered,
    PromptPut,
    SessionEvent,
    SessionStopped,
    StopCleared,
    SupplyChanged,
)
from loomproof.procedure.prompts import Answer, Choice, Operator, Prompt, PromptKind
from loomproof.procedure.recorder import Recorder
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.box_faults import box_fault
from loomproof.safety.conditions import DriveConditions
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.heat import HeatLedger
from loomproof.safety.interlocks import (
    VOIDER_TEXT,
    Interlocks,
    StatementRefusedError,
    Voider,
)
from loomproof.safety.statements import StatementKind, form_for
from loomproof_wire import messages

UNKNOWN_AGAIN = frozenset({Voider.LINK_LOST, Voider.SUPPLY_LOST, Voider.OTHER_JOB, Voider.OTHER_BOX})
"""After these something else may hang on a pin: its next pulse is a first one again."""


class Core:
    """Shared state and services of one session."""

    def __init__(
        self, job: Job, box: BoxPort, operator: Operator, recorder: Recorder, expiry_s: float
    ) -> None:
        self.job = job
        self.box = box
        self.operator = operator
        self.recorder = recorder
        self.interlocks = Interlocks(setting=job.setting, expiry_s=expiry_s)
        self.fuel = FuelLedger()
        self.heat = HeatLedger()
        self.stopped: str | None = None
        self.link_down: str | None = None
        self.supply_v = 0.0
        bits = box.identity.adc_bits
        self.calibrations: dict[int, Calibration] = {
            c: calibration_of(i, bits) for c, i in box.channels.items()
        }
        self.rested_s: dict[int, float] = {}
        self.reaches: dict[int, frozenset[int]] = {}
        self._tripped: set[int] = set()
        """Channel of the newest trip: a fault of the box names its channel by one."""
        self.pulsed: set[int] = set()
        self.suspects: dict[int, float] = {}
        """Channels that look like an initiator, with what they measured, in ohm: pulsed no more."""
        self.declined: set[StatementKind] = set()
        self._lock = threading.RLock()
        self._subscribers: list[Callable[[SessionEvent], None]] = []
        self._pending: deque[EventNoted] = deque()
        self._numbers = itertools.count(1)

    # --- telling others -----------------------------------------------------------------------------------

    def subscribe(self, callback: Callable[[SessionEvent], None]) -> Callable[[], None]:
        """Call `callback` with every event; returns what ends it."""
        self._subscribers.append(callback)

        def unsubscribe() -> None:
            if callback in self._subscribers:
                self._subscribers.remove(callback)

        return unsubscribe

    def publish(self, event: SessionEvent) -> None:
        """Tell every subscriber."""
        for callback in tuple(self._subscribers):
            callback(event)

    def note(self, event: EventKind, text: str, *, channel: int | None = None, **facts: object) -> None:
        """Queue an event for the record; the session's thread writes it, so a stop never waits for it."""
        self._pending.append(EventNoted(event, text, self.box.now_s(), channel, facts))

    def write_events(self) -> None:
        """Write the queued events to the record. Session's thread only."""
        while self._pending:
            self.recorder.event(self._pending.popleft())

    # --- interlocks ---------------------------------------------------------------------------------------

    def state(self, kind: StatementKind, facts: Iterable[str], typed: str, who: str) -> None:
        """Take in a statement: into the record first, then into the interlocks.

        Args:
            kind: which statement.
            facts: the facts that were confirmed one by one.
            typed: what was typed to confirm it.
            who: who states it.

        Raises:
            StatementRefusedError: it is incomplete, or everything is stopped.
        """
        now_s = self.box.now_s()
        form = form_for(kind, self.job.setting)
        changed = self.interlocks.with_statement(kind, tuple(facts), who, now_s, typed=typed)
        made = changed.statements[kind]
        self.recorder.statement(
            StatementMade(
                kind=kind.value,
                sentence=form.sentence,
                facts=tuple(fact.text for fact in form.facts),
                who=made.who,
                made_s=now_s,
                valid_for_s=self.interlocks.expiry_s,
                setting=self.job.setting.value,
            )
        )
        with self._lock:
            if self.stopped or self.link_down:
                raise StatementRefusedError(f"it would not hold: {self.stopped or self.link_down}")
            self.interlocks = self.interlocks.with_statement(kind, tuple(facts), who, now_s, typed=typed)
            self.fuel = self.fuel.with_statement(kind)
            snapshot = self.interlocks
        self.publish(InterlocksChanged(snapshot, made=made))

    def void(self, by: Voider, kind: StatementKind | None = None) -> None:
        """Void statements; from any thread."""
        with self._lock:
            before = self.interlocks
            self.interlocks = before.voided(by, kind)
            if by in UNKNOWN_AGAIN:
                self.pulsed.clear()
                self.suspects.clear()
            gone = [k for k in before.statements if k not in self.interlocks.statements]
            snapshot = self.interlocks
        for k in gone:
            title = form_for(k, self.job.setting).title
            self.note(
                EventKind.STATEMENT_VOIDED, f'"{title}" voided: {VOIDER_TEXT[by]}.', kind=k.value, by=by.value
            )
        if gone or by is Voider.FUEL_DRIVEN:
            self.publish(InterlocksChanged(snapshot, voided_by=by))

    @property
    def conditions(self) -> DriveConditions:
        """What decides at this moment whether a drive is allowed, as a frozen value."""
        return DriveConditions(
            job=self.job,
            ceilings={channel: ceilings_of(info) for channel, info in self.box.channels.items()},
            interlocks=self.interlocks,
            fuel=self.fuel,
            heat=self.heat,
            reaches=self.reaches,
            supply_v=self.supply_v,
            now_s=self.box.now_s(),
        )

    def mark(self, approved: ApprovedDrive[DriveRequest]) -> None:
        """Void what a drive voids, and count its fuel and heat: before it, so that nothing can come in between."""
        for effect in approved.effects:
            self.heat = self.heat.with_drive(
                effect.channel, effect, effect.heat_j, self.box.now_s(), approved.request.duration_s
            )
            if effect.is_pump:
                self.void(Voider.PUMP_DRIVEN)
            if effect.is_fuel:
                self.void(Voider.FUEL_DRIVEN)
                self.fuel = self.fuel.with_drive(effect.place, effect.fuel_ul)

    def look_at_supply(self) -> None:
        """Take in the supply as the box reads it now; budgets are worked out for the highest one seen."""
        self.supply_v = max(self.supply_v, self.box.status().supply_mv / 1000)

    # --- asking -------------------------------------------------------------------------------------------

    def prompt(self, kind: PromptKind, step_id: str, title: str, text: str, **more: Any) -> Prompt:  # noqa: ANN401 - Prompt's own fields
        """A prompt with the next number.

        Args:
            kind: what is asked.
            step_id: the step that asks.
            title: its heading.
            text: the question.
            more: further fields of `Prompt`, by name.
        """
        return Prompt(next(self._numbers), kind, step_id, title, text, **more)

    def ask(self, prompt: Prompt) -> Answer:
        """Put a prompt and wait for an answer it offers.

        Raises:
            StepInterruptedError: the operator leaves, or everything was stopped meanwhile.
        """
        self.check()
        self.publish(PromptPut(prompt))
        answer = self.operator.answer(prompt)
        self.publish(PromptAnswered(prompt, answer))
        self.check()
        if answer.choice is Choice.LEAVE or answer.choice not in prompt.choices:
            raise StepInterruptedError(StepEnd.LEFT, "left by the operator")
        return answer

    def check(self) -> None:
        """Raise if the step cannot go on."""
        if self.link_down is not None:
            raise StepInterruptedError(StepEnd.LINK_LOST, self.link_down)
        if self.stopped is not None:
            raise StepInterruptedError(StepEnd.STOPPED, self.stopped)

    # --- stop, link, supply -------------------------------------------------------------------------------

    def stop(self, reason: str) -> None:
        """Stop everything; from any thread. The box first, words after."""
        try:
            self.box.stop_now()
        except (BoxError, OSError) as error:
            reason = f"{reason}; the box could not be told: {error}"
        self.stopped_by(reason)

    def stopped_by(self, reason: str) -> None:
        """Take in that the box is stopped; from any thread."""
        first = self.stopped is None
        self.stopped = self.stopped or reason
        self.void(Voider.STOP)
        self.operator.cancel()
        if first:
            self.note(EventKind.STOP, f"Stopped: {reason}.")
            self.publish(SessionStopped(reason))

    def cleared(self) -> None:
        """Take in that the stop was cleared: nothing is armed, nothing stated."""
        self.stopped = None
        self.void(Voider.STOP)
        self.note(EventKind.STOP_CLEARED, "Stop cleared by the operator.")
        self.publish(StopCleared())

    def link_lost(self, reason: str) -> None:
        """Take in that the link is down; from any thread."""
        first = self.link_down is None
        self.link_down = self.link_down or reason
        self.void(Voider.LINK_LOST)
        self.operator.cancel()
        if first:
            self.note(EventKind.LINK_LOST, f"Link to the box lost: {reason}")
            self.publish(LinkFailed(reason))

    def on_message(self, message: messages.Message | LinkDown) -> None:
        """Take in an unsolicited message of the box; called by the link's thread."""
        if isinstance(message, LinkDown):
            self.link_lost(message.cause)
        elif isinstance(message, messages.Stopped):
            text = f"the box stopped: {messages.STOP_REASON_TEXT[message.reason]}"
            fault = box_fault(message.reason, self._tripped)
            if fault is not None:
                text = str(fault).removesuffix(".")
                self.stopped = None  # a fault of the board takes the place of another reason
            if message.reason is messages.StopReason.SUPPLY:
                self.void(Voider.SUPPLY_LOST)
            self.stopped_by(text)
        elif isinstance(message, messages.SupplyEvent):
            present, supply_v = bool(message.present), message.supply_mv / 1000
            if not present:
                self.void(Voider.SUPPLY_LOST)
            state = "back" if present else "lost"
            self.note(
                EventKind.SUPPLY, f"Supply {state} at {supply_v:.1f} V.", present=present, supply_v=supply_v
            )
            self.publish(SupplyChanged(present, supply_v))
        elif isinstance(message, messages.Trip):
            amperes = message.current_ma / 1000
            self._tripped = {message.channel}
            text = f"Channel {message.channel} tripped at {amperes:.1f} A."
            self.note(EventKind.TRIP, text, channel=message.channel, current_a=amperes)
