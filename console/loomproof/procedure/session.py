"""One job on one box with one operator: the run sheet worked through, step by step, into a record.

Synchronous: call it from one thread. `request_stop` may be called from any thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from loomproof import __version__
from loomproof.facts.drive import PulseTrain
from loomproof.facts.evidence import Baseline, LoomEvidence
from loomproof.facts.finding import Finding
from loomproof.facts.kinds import HazardClass
from loomproof.facts.record import EventKind, SoftwareFacts
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import PropertyVerdict, Verdict
from loomproof.job.file.loading import JobError, job_digest, refused_problems
from loomproof.job.model import Job
from loomproof.procedure.attempts import Attempts
from loomproof.procedure.bench.run import FreeDrive, FreeDriving
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.configure import configure_all
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import facts_of
from loomproof.procedure.events import JudgedAnew, SessionEvent, SessionOpened
from loomproof.procedure.evidence_merge import newest
from loomproof.procedure.judge_loom import Judging
from loomproof.procedure.null_recorder import NullRecorder
from loomproof.procedure.prompts import Operator
from loomproof.procedure.recorder import Recorder
from loomproof.procedure.sheet import build_sheet
from loomproof.procedure.step import RunSheet, Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.step_runner import work
from loomproof.procedure.step_verdict import loom_verdict
from loomproof.procedure.walk.map import WalkMap, answers_from, map_of
from loomproof.procedure.walk.model import Order
from loomproof.procedure.walk.places import places_of
from loomproof.procedure.walk.runner import Walk, Walked, Walker
from loomproof.procedure.wiggle.model import Wiggler, WiggleResult
from loomproof.procedure.wiggle.runner import WiggleTest
from loomproof.safety.budget import Budget
from loomproof.safety.interlocks import DEFAULT_EXPIRY_S, Blocked, Interlocks, Permit, Voider
from loomproof.safety.statements import StatementKind
from loomproof_wire import messages

__all__ = ["FreeDrive", "Session"]

HEARTBEATS_S = 3 * messages.TIMING.heartbeat_period_ms / 1000
"""Waited after opening: a box senses and drives nothing before it has heard a heartbeat."""
_ENDING = (StepEnd.STOPPED, StepEnd.LINK_LOST, StepEnd.SUPPLY_LOST, StepEnd.LEFT)
"""Ends after which the run sheet is not carried on by itself."""


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

    Raises:
        JobError: a channel is named after a restraint or high-voltage circuit.
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
        if refused := refused_problems(job):
            raise JobError(refused)
        self.job = job
        self.sheet: RunSheet = build_sheet(job)
        self.record_id = ""
        self._core = Core(job, box, operator, recorder or NullRecorder(), expiry_s)
        self._outcomes: list[StepOutcome] = list(outcomes)
        self._judging = Judging(self._core, self.sheet, self._outcomes, baseline)
        self._attempts = Attempts(self._core, self._outcomes, self._judging)
        self.free = FreeDriving(self._core, self._attempts.look_again)
        self._job_text = job_text
        self._software = software or SoftwareFacts("loomproof", __version__, messages.SPEC_HASH)
        self._url = url
        self._baseline = baseline
        self._open = False
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
        return self._judging.evidence

    def outcome_of(self, step_id: str) -> StepOutcome | None:
        """The newest attempt at a step."""
        return newest(self._outcomes).get(step_id)

    def next_step(self) -> Step | None:
        """The first step that is not finished; None when all are."""
        done = newest(self._outcomes)
        return next((s for s in self.sheet.steps if s.id not in done or not done[s.id].finished), None)

    def verdicts(self) -> tuple[PropertyVerdict, ...]:
        """Every property of every channel, as known now."""
        return self._judging.verdicts()

    def findings(self) -> tuple[Finding, ...]:
        """The faults that explain the verdicts, likeliest first. The search for them can take a second."""
        return self._judging.findings()

    def verdict(self) -> Verdict:
        """The worst verdict over all fitted channels; a loom passes only with its whole sheet done."""
        return loom_verdict(self.job, self.sheet, self._outcomes, self.verdicts())

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
        began_s = core.box.now_s()
        core.write_events()
        attempt = self._attempts.begin(step, began_s)
        self._attempts.look_again()
        return self._attempts.end(step, attempt, began_s, work(core, step))

    def walk(self, walker: Walker, order: Order = Order.GUIDED, *, again: bool = False) -> Walked:
        """Walk round the loom: its pull checks hands-free, one connector after another.

        What is settled goes into the record at once as the pull checks of the run sheet; a walk that was cut
        short carries on with the places still open. Where none is open, `again` asks for what was not right, or
        for everything where all was; a place keeps its earlier answer until it has a new one.
        """
        walked = Walk(
            self._core, self.sheet, self._outcomes, self._attempts.found, walker, order=order, again=again
        ).run()
        self._core.publish(JudgedAnew(self.verdicts(), self.findings()))
        return walked

    def wiggle(self, wiggler: Wiggler, channels: Sequence[int], *, held: bool) -> WiggleResult:
        """Watch channels in turn while somebody bends the loom; written as the sheet's wiggle tests.

        Raises:
            ValueError: a channel that cannot be watched so.
            NotPermittedError: a statement is missing for one that is to be held on.
            BoxError: the box refused or is gone before it began.
        """
        core = self._core
        core.check()
        test = WiggleTest(
            core, self.sheet, self._outcomes, self._attempts.found, wiggler, channels=channels, held=held
        )
        wiggled = test.run()
        core.publish(JudgedAnew(self.verdicts(), self.findings()))
        return wiggled

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
        step, began_s = self.sheet.step(step_id), self._core.box.now_s()
        result = StepResult(end=StepEnd.SKIPPED, skipped_reason=reason.strip())
        return self._attempts.end(step, self._attempts.begin(step, began_s), began_s, result)

    # --- free drive ---------------------------------------------------------------------------------------

    def budget(self, channel: int, *, on_time_us: int | None = None, period_us: int | None = None) -> Budget:
        """The budget of a channel now."""
        return self._core.conditions.budget(channel, on_time_us=on_time_us, period_us=period_us)

    def permit(self, channel: int) -> Permit | Blocked:
        """Whether a channel may be driven now, or which statements would free it."""
        self._attempts.look_again()
        return self._core.conditions.permit((channel,))

    def drive(self, channel: int, train: PulseTrain) -> FreeDrive:
        """Drive any fitted channel under the same interlocks and budgets as the run sheet.

        Raises:
            NotPermittedError: a statement is missing.
            OverBudgetError: the train is over its budget.
            BoxError: the box refused or is gone.
            StepInterruptedError: everything is stopped.
            ValueError: the channel is not fitted.
        """
        return self.free.drive(channel, train)

    # --- statements, stop, link ---------------------------------------------------------------------------

    def state(self, kind: StatementKind, facts: Sequence[str], typed: str, who: str) -> None:
        """Make a statement outside a prompt.

        Args:
            kind: which statement.
            facts: the facts that were confirmed one by one.
            typed: what was typed to confirm it.
            who: who states it.

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

    def _step_hazard(self, step_id: str) -> HazardClass:
        return next((s.hazard for s in self.sheet.steps if s.id == step_id), HazardClass.FUEL)

    def _blocked_by(self, step: Step, unstated: set[StatementKind]) -> StatementKind | None:
        """The statement an operator has just declined and this step would need: it is not asked for again."""
        if step.kind is not StepKind.DRIVE or not unstated:
            return None
        permit = self._core.conditions.permit(step.channels)
        needs = permit.needs if isinstance(permit, Blocked) else ()
        return next((kind for kind in needs if kind in unstated), None)

    def _block(self, step: Step, kind: StatementKind) -> StepOutcome:
        began_s = self._core.box.now_s()
        reason = f"needs the statement {kind.value.replace('_', ' ')}, which was not made"
        attempt = self._attempts.begin(step, began_s)
        self._core.note(EventKind.BLOCKED, reason, channel=step.channel, step=step.id)
        return self._attempts.end(step, attempt, began_s, StepResult(end=StepEnd.BLOCKED, problems=[reason]))
