"""One job on one box with one operator: the run sheet worked through, step by step, into a record.

Synchronous: call it from one thread. `request_stop` may be called from any thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from loomproof import __version__
from loomproof.box import BoxError
from loomproof.diagnose import (
    Baseline,
    Finding,
    LoomEvidence,
    Property,
    PropertyVerdict,
    Verdict,
    channel_verdict,
    find,
    judge,
)
from loomproof.job.kinds import HazardClass
from loomproof.job.loading import job_digest
from loomproof.job.model import Job
from loomproof.procedure.acting import run_drive
from loomproof.procedure.configuring import configure_all
from loomproof.procedure.core import Core, StepInterruptedError, StepResult
from loomproof.procedure.ends import end_of, outcome_of
from loomproof.procedure.events import (
    JudgedAnew,
    SessionEvent,
    SessionOpened,
    StepFinished,
    StepStarted,
)
from loomproof.procedure.evidence import gather, newest, reached_elsewhere
from loomproof.procedure.flexing import Flexed, Flexer, Flexing
from loomproof.procedure.freely import FreeDrive, FreeDriving
from loomproof.procedure.looking import run_look
from loomproof.procedure.model import RunSheet, Step, StepEnd, StepKind, StepOutcome
from loomproof.procedure.port import BoxPort
from loomproof.procedure.prompts import Operator
from loomproof.procedure.pulling import run_pull
from loomproof.procedure.readings import counts_of, facts_of
from loomproof.procedure.recorders import NullRecorder
from loomproof.procedure.recording import EventKind, Recorder, SoftwareFacts, StepBegan
from loomproof.procedure.sheet import build_sheet
from loomproof.procedure.stating import run_statement
from loomproof.procedure.walk.mapping import WalkMap, answers_from, map_of
from loomproof.procedure.walk.model import Order
from loomproof.procedure.walk.places import places_of
from loomproof.procedure.walk.runner import Walk, Walked, Walker
from loomproof.procedure.wiggling import run_wiggle
from loomproof.safety import (
    DEFAULT_EXPIRY_S,
    Blocked,
    Budget,
    Interlocks,
    Permit,
    Pulses,
    StatementKind,
    Voider,
)
from loomproof_wire import messages

HEARTBEATS_S = 3 * messages.TIMING.heartbeat_period_ms / 1000
"""Waited after opening: a box senses and drives nothing before it has heard a heartbeat."""
__all__ = ["FreeDrive", "Session"]

_ENDING = (StepEnd.STOPPED, StepEnd.LINK_LOST, StepEnd.SUPPLY_LOST, StepEnd.LEFT)
"""Ends after which the run sheet is not carried on by itself."""


_WORST_FIRST = (Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED, Verdict.PASS)
_ABOUT = {StepKind.PULL_CHECK: Property.LOCATION, StepKind.WIGGLE: Property.CONTACT}
"""A step that proves one property of its channels is judged by that: the channels themselves are not proven yet."""


_PROVING = (StepKind.PASSIVE_LOOK, StepKind.PULL_CHECK, StepKind.WIGGLE, StepKind.DRIVE)


def _run_summary(core: Core, step: Step, result: StepResult) -> None:
    del core, step, result  # the verdicts are drawn from all outcomes when the step ends


_RUNNERS: Mapping[StepKind, Callable[[Core, Step, StepResult], None]] = {
    StepKind.PASSIVE_LOOK: run_look,
    StepKind.PULL_CHECK: run_pull,
    StepKind.WIGGLE: run_wiggle,
    StepKind.STATEMENT: run_statement,
    StepKind.DRIVE: run_drive,
    StepKind.SUMMARY: _run_summary,
}


def _comparison(earlier: Baseline) -> str:
    """Which record the loom is compared with, for its own record."""
    count = len(earlier.signatures)
    channels = "one channel that" if count == 1 else f"{count} channels that"
    return f"Compared with record {earlier.record_id} of {earlier.when}: {channels} passed then."


class Session:
    """Works a job's run sheet.

    Args:
        job: the job, checked.
        box: a connected box.
        operator: the person, or what plays the person.
        recorder: where the record goes; None: nowhere.
        outcomes: of an earlier session on the same job, to carry on from. No statement survives.
        job_text: the job file as read, for the record.
        software: the program, for the record.
        url: where the box was reached, for the record.
        expiry_s: how long a statement holds, in s.
        baseline: an earlier record of the same loom, which every resistance is then compared with.
    """

    def __init__(
        self,
        job: Job,
        box: BoxPort,
        operator: Operator,
        recorder: Recorder | None = None,
        *,
        outcomes: Iterable[StepOutcome] = (),
        job_text: str = "",
        software: SoftwareFacts | None = None,
        url: str = "",
        expiry_s: float = DEFAULT_EXPIRY_S,
        baseline: Baseline | None = None,
    ) -> None:
        self.job = job
        self.sheet: RunSheet = build_sheet(job)
        self.record_id = ""
        self._core = Core(job, box, operator, recorder or NullRecorder(), expiry_s)
        self._outcomes: list[StepOutcome] = list(outcomes)
        self.free = FreeDriving(self._core, self._look_again)
        self._job_text = job_text
        self._software = software or SoftwareFacts("loomproof", __version__, messages.SPEC_HASH)
        self._url = url
        self._baseline = baseline
        self._open = False
        self._verdicts: tuple[PropertyVerdict, ...] | None = None
        self._findings: tuple[Finding, ...] = ()
        self._findings_stale = True
        if any(o.drove and self._step_hazard(o.step_id) is HazardClass.FUEL for o in self._outcomes):
            self._core.void(Voider.FUEL_DRIVEN)

    # --- looking ------------------------------------------------------------------------------------------

    @property
    def outcomes(self) -> tuple[StepOutcome, ...]:
        """Every attempt at every step, in order."""
        return tuple(self._outcomes)

    @property
    def interlocks(self) -> Interlocks:
        """What has been stated and voided."""
        return self._core.interlocks

    @property
    def stopped(self) -> str | None:
        """Why everything is stopped, or None."""
        return self._core.stopped

    @property
    def evidence(self) -> LoomEvidence:
        """Everything seen of the loom so far."""
        scales = self._core.calibrations.values()
        bias_v = max((s.bias_v for s in scales), default=2.5)
        drain_u_v = max((s.sample_u_counts * s.drain_v_per_count for s in scales), default=0.05)
        seen = gather(self.sheet, self._outcomes, bias_v=bias_v, drain_u_v=drain_u_v)
        if self._baseline is None:
            return seen
        return seen.compared_with(self._baseline, self._core.box.identity.serial_number)

    def outcome_of(self, step_id: str) -> StepOutcome | None:
        """The newest attempt at a step."""
        return newest(self._outcomes).get(step_id)

    def next_step(self) -> Step | None:
        """The first step that is not finished; None when all are."""
        done = newest(self._outcomes)
        return next((s for s in self.sheet.steps if s.id not in done or not done[s.id].finished), None)

    def verdicts(self) -> tuple[PropertyVerdict, ...]:
        """Every property of every channel, as known now."""
        return self._judge() if self._verdicts is None else self._verdicts

    def findings(self) -> tuple[Finding, ...]:
        """The faults that explain the verdicts, likeliest first. The search for them can take a second."""
        verdicts = self.verdicts()
        if self._findings_stale:
            self._findings = find(self.job, self.evidence, verdicts)
            self._findings_stale = False
            self._core.box.call_in()
        return self._findings

    def verdict(self) -> Verdict:
        """The worst verdict over all fitted channels; a loom passes only with its whole sheet done."""
        worst = self._worst(c.channel for c in self.job.channels if c.fitted)
        if worst is not Verdict.PASS:
            return worst
        done = newest(self._outcomes)
        ends = [done[s.id].end if s.id in done else None for s in self.sheet.steps if s.kind in _PROVING]
        return worst if all(end is StepEnd.DONE for end in ends) else Verdict.NOT_TESTED

    def subscribe(self, callback: Callable[[SessionEvent], None]) -> Callable[[], None]:
        """Be told of everything that happens; returns what ends it."""
        return self._core.subscribe(callback)

    # --- opening and closing ------------------------------------------------------------------------------

    def open(self) -> str:
        """Configure the box, check that it holds the same, and begin the record. Returns the record's id.

        Raises:
            BoxError: the box refused or is gone.
            WrongBoxError: it lacks channels of the job.
        """
        core = self._core
        core.box.subscribe(core.on_message)
        configure_all(core)
        core.box.call_in()
        core.box.sleep(HEARTBEATS_S)
        status = core.box.status()
        if status.state is messages.BoxState.STOPPED:
            core.stopped = f"the box was found stopped: {status.stop_reason.name.lower().replace('_', ' ')}"
        self.record_id = core.recorder.begin(
            job=self.job,
            job_text=self._job_text,
            job_digest=job_digest(self.job),
            box=facts_of(core.box.identity, core.calibrations, self._url),
            operator=core.operator.name,
            software=self._software,
        )
        self._open = True
        if self._baseline is not None:
            core.note(EventKind.NOTE, _comparison(self._baseline), record=self._baseline.record_id)
            core.write_events()
        core.publish(SessionOpened(self.record_id))
        return self.record_id

    def close(self, note: str = "") -> Verdict:
        """Write what is left to write and close the record. Returns the verdict of the whole loom."""
        core = self._core
        core.void(Voider.WITHDRAWN)
        verdicts, findings, verdict = self.verdicts(), self.findings(), self.verdict()
        if self._open:
            core.write_events()
            core.recorder.findings(verdicts, findings)
            core.recorder.finish(verdict.value, note)
            self._open = False
        return verdict

    # --- the run sheet ------------------------------------------------------------------------------------

    def run_all(self) -> tuple[StepOutcome, ...]:
        """Work every unfinished step in order, until something ends it. Returns the outcomes."""
        ran: list[StepOutcome] = []
        unstated: set[StatementKind] = set()
        done = newest(self._outcomes)
        for step in self.sheet.steps:
            if step.id in done and done[step.id].finished:
                continue
            blocked = self._blocked_by(step, unstated)
            outcome = self._block(step, blocked) if blocked else self.run_step(step.id)
            ran.append(outcome)
            if outcome.end in _ENDING:
                break
            if step.statement is not None and outcome.end is not StepEnd.DONE:
                unstated.add(step.statement)
        return tuple(ran)

    def run_step(self, step_id: str) -> StepOutcome:
        """Work one step, again or for the first time. Whatever happens, there is an outcome.

        Raises:
            KeyError: the sheet has no such step.
        """
        core = self._core
        step = self.sheet.step(step_id)
        began_s, attempt = core.box.now_s(), self._attempts(step_id) + 1
        core.write_events()
        core.recorder.step_began(
            StepBegan(step.id, attempt, step.kind.value, step.title, step.channel, began_s)
        )
        core.publish(StepStarted(step, attempt))
        core.reaches = dict(reached_elsewhere(self._outcomes))
        result = StepResult()
        try:
            core.check()
            _RUNNERS[step.kind](core, step, result)
        except StepInterruptedError as interrupted:
            result.end = interrupted.end
            result.problems.append(interrupted.reason)
            if interrupted.end is StepEnd.BLOCKED:
                core.note(EventKind.BLOCKED, interrupted.reason, channel=step.channel, step=step.id)
        except BoxError as error:
            result.problems.append(str(error))
            result.end = end_of(error, core)
        return self._finish(step, attempt, began_s, result)

    def walk(self, walker: Walker, order: Order = Order.GUIDED) -> Walked:
        """Walk round the loom: its pull checks hands-free, one connector after another.

        What is settled goes into the record at once as the pull checks of the run sheet; a walk that was cut
        short carries on with the places still open.
        """
        walked = Walk(self._core, self.sheet, self._outcomes, self._finish_walked, walker, order=order).run()
        self._core.publish(JudgedAnew(self.verdicts(), self.findings()))
        return walked

    def flex(self, flexer: Flexer, channels: Sequence[int], *, held: bool) -> Flexed:
        """Watch channels in turn while somebody bends the loom; written as the sheet's wiggle tests.

        Raises:
            ValueError: a channel that cannot be watched so.
            NotPermittedError: a statement is missing for one that is to be held on.
            BoxError: the box refused or is gone before it began.
        """
        core = self._core
        core.check()
        flexing = Flexing(
            core, self.sheet, self._outcomes, self._finish_walked, flexer, channels=channels, held=held
        )
        flexed = flexing.run()
        core.publish(JudgedAnew(self.verdicts(), self.findings()))
        return flexed

    def walk_map(self) -> WalkMap:
        """What pull checks, walked or asked one by one, say of every place."""
        places = places_of(self.job, self.sheet)
        return map_of(places, answers_from(places, self._outcomes))

    def skip_step(self, step_id: str, reason: str) -> StepOutcome:
        """Leave a step out, with a reason.

        Raises:
            ValueError: no reason is given.
            KeyError: the sheet has no such step.
        """
        if not reason.strip():
            raise ValueError("a skipped step needs a reason")
        step, now_s = self.sheet.step(step_id), self._core.box.now_s()
        attempt = self._attempts(step_id) + 1
        self._core.recorder.step_began(
            StepBegan(step.id, attempt, step.kind.value, step.title, step.channel, now_s)
        )
        self._core.publish(StepStarted(step, attempt))
        return self._finish(
            step, attempt, now_s, StepResult(end=StepEnd.SKIPPED, skipped_reason=reason.strip())
        )

    # --- free drive ---------------------------------------------------------------------------------------

    def budget(self, channel: int, *, on_time_us: int | None = None, period_us: int | None = None) -> Budget:
        """The budget of a channel now."""
        return self._core.budget(channel, on_time_us=on_time_us, period_us=period_us)

    def _look_again(self) -> None:
        self._core.reaches = dict(reached_elsewhere(self._outcomes))

    def permit(self, channel: int) -> Permit | Blocked:
        """Whether a channel may be driven now, or which statements would free it."""
        self._look_again()
        return self._core.permit((channel,))

    def drive(self, channel: int, pulses: Pulses) -> FreeDrive:
        """Drive any fitted channel under the same interlocks and budgets as the run sheet.

        Raises:
            NotPermittedError: a statement is missing.
            OverBudgetError: the train is over its budget.
            BoxError: the box refused or is gone.
            StepInterruptedError: everything is stopped.
            ValueError: the channel is not fitted.
        """
        return self.free.drive(channel, pulses)

    # --- statements, stop, link ---------------------------------------------------------------------------

    def state(self, kind: StatementKind, facts: Sequence[str], typed: str, who: str) -> None:
        """Make a statement outside a prompt.

        Raises:
            StatementRefusedError: it is incomplete.
        """
        self._core.state(kind, facts, typed, who)

    def withdraw(self, kind: StatementKind) -> None:
        """Take a statement back."""
        self._core.void(Voider.WITHDRAWN, kind)
        self._core.write_events()

    def request_stop(self, reason: str = "stopped by the operator") -> None:
        """Stop everything at once; from any thread. The box is told before anything else is done."""
        self._core.stop(reason)

    def clear_stop(self) -> None:
        """Leave the stop. Nothing is armed and nothing is stated afterwards.

        Raises:
            BoxError: the box refuses, for example while its stop input is open.
        """
        self._core.box.clear_stop()
        self._core.cleared()
        self._core.write_events()

    def reconnected(self) -> None:
        """Take in that the box was reached again: configure it anew; nothing is armed, nothing stated.

        Raises:
            BoxError: the box refused or is gone again.
        """
        core = self._core
        core.void(Voider.LINK_LOST)
        configure_all(core)
        core.link_down = None
        if core.box.status().state is messages.BoxState.STOPPED:
            core.stopped = core.stopped or "the box is stopped"
        core.note(EventKind.RECONNECTED, "The box was reached again and configured anew.")
        core.write_events()

    # --- inside -------------------------------------------------------------------------------------------

    def _attempts(self, step_id: str) -> int:
        return max((o.attempt for o in self._outcomes if o.step_id == step_id), default=0)

    def _step_hazard(self, step_id: str) -> HazardClass:
        return next((s.hazard for s in self.sheet.steps if s.id == step_id), HazardClass.FUEL)

    def _blocked_by(self, step: Step, unstated: set[StatementKind]) -> StatementKind | None:
        """The statement an operator has just declined and this step would need: it is not asked for again."""
        if step.kind is not StepKind.DRIVE or not unstated:
            return None
        permit = self._core.permit(step.channels)
        needs = permit.needs if isinstance(permit, Blocked) else ()
        return next((kind for kind in needs if kind in unstated), None)

    def _block(self, step: Step, kind: StatementKind) -> StepOutcome:
        attempt, now_s = self._attempts(step.id) + 1, self._core.box.now_s()
        reason = f"needs the statement {kind.value.replace('_', ' ')}, which was not made"
        self._core.recorder.step_began(
            StepBegan(step.id, attempt, step.kind.value, step.title, step.channel, now_s)
        )
        self._core.publish(StepStarted(step, attempt))
        self._core.note(EventKind.BLOCKED, reason, channel=step.channel, step=step.id)
        return self._finish(step, attempt, now_s, StepResult(end=StepEnd.BLOCKED, problems=[reason]))

    def _finish_walked(self, step: Step, began_s: float, result: StepResult) -> StepOutcome:
        """A step answered on a walk or a wiggle at will; the search for findings waits until that ends."""
        attempt = self._attempts(step.id) + 1
        self._core.recorder.step_began(
            StepBegan(step.id, attempt, step.kind.value, step.title, step.channel, began_s)
        )
        self._core.publish(StepStarted(step, attempt))
        return self._finish(step, attempt, began_s, result, search=False)

    def _finish(
        self, step: Step, attempt: int, began_s: float, result: StepResult, *, search: bool = True
    ) -> StepOutcome:
        core = self._core
        draft = outcome_of(step, attempt, (began_s, core.box.now_s()), result)
        self._outcomes.append(draft)
        core.reaches = dict(reached_elsewhere(self._outcomes))
        verdicts = self._judge()
        outcome = draft.model_copy(update={"verdict": self._step_verdict(step, draft)})
        self._outcomes[-1] = outcome
        if search and (step.kind is StepKind.SUMMARY or outcome.verdict is Verdict.FAIL):
            self.findings()  # a search: only where a step has just failed, and at the end
        core.write_events()
        core.recorder.step_ended(outcome, tuple(counts_of(raw, purpose) for raw, purpose in result.traces))
        if step.kind is StepKind.SUMMARY:
            core.recorder.findings(verdicts, self.findings())
        core.publish(StepFinished(step, outcome))
        core.publish(JudgedAnew(verdicts, self._findings))
        return outcome

    def _judge(self) -> tuple[PropertyVerdict, ...]:
        self._core.box.call_in()
        self._verdicts = judge(self.job, self.evidence)
        self._findings_stale = True
        return self._verdicts

    def _step_verdict(self, step: Step, outcome: StepOutcome) -> Verdict:
        if step.kind is StepKind.STATEMENT:
            return Verdict.PASS if outcome.end is StepEnd.DONE else Verdict.NOT_TESTED
        if outcome.end not in (StepEnd.DONE, StepEnd.TRIPPED):
            return Verdict.NOT_TESTED
        if step.kind is StepKind.PASSIVE_LOOK:
            return self._looked()
        about = _ABOUT.get(step.kind)
        if about is not None:
            own = {v.verdict for v in self.verdicts() if v.channel in step.channels and v.property is about}
            return next((verdict for verdict in _WORST_FIRST if verdict in own), Verdict.NOT_TESTED)
        return self._worst(step.channels)

    def _looked(self) -> Verdict:
        """Of the look itself: whether anything was amiss before a load was driven. It proves no channel."""
        found = {v.verdict for v in self.verdicts()}
        return next((v for v in (Verdict.FAIL, Verdict.UNSURE) if v in found), Verdict.PASS)

    def _worst(self, channels: Iterable[int]) -> Verdict:
        found = {channel_verdict(self.verdicts(), channel) for channel in channels}
        return next((verdict for verdict in _WORST_FIRST if verdict in found), Verdict.NOT_FITTED)
