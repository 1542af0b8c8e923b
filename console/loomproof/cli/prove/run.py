"""One run of `loomproof prove`: connect, work the run sheet, write the record and the report."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from rich.console import Console

from loomproof.box.client import Box
from loomproof.box.connect import connect
from loomproof.box.errors import BoxError
from loomproof.cli.prove.hands import OtherLoomError, ProveHands
from loomproof.cli.prove.options import Code, Options, Who
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.cli.prove.tables import print_end, print_opening, print_result, print_step
from loomproof.cli.prove.terminal_operator import AskingOperator
from loomproof.cli.prove.walkers import SimulatedWalker, TerminalWalker, print_map
from loomproof.cli.simulated_address import is_simulated, query_of
from loomproof.facts.evidence import Baseline
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Verdict
from loomproof.job.model import Job
from loomproof.procedure.configure import WrongBoxError
from loomproof.procedure.events import SessionEvent, StepFinished
from loomproof.procedure.prompts import Operator
from loomproof.procedure.recorder import Recorder
from loomproof.procedure.session import Session
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.walk.runner import Walker
from loomproof.records.baseline import baseline_of, find_baseline
from loomproof.records.errors import RecordError
from loomproof.records.report.page import html
from loomproof.records.store import RecordStore

RECORD_FILE = "records.sqlite"
REPORT_FILE = "report.html"
_HALTED = (StepEnd.BLOCKED, StepEnd.STOPPED, StepEnd.SUPPLY_LOST, StepEnd.LEFT)


class Run:
    """One call of the command."""

    def __init__(
        self, console: Console, job: Job, text: str, url: str, options: Options, *, quiet: bool
    ) -> None:
        self.options = options
        self.console = console
        self.job = job
        self.text = text
        self.url = url
        self.quiet = quiet
        self.session: Session | None = None
        self.stop_asked = ""
        self._hands_found: ProveHands | None = None

    def work(self) -> Code:
        """Connect, work the run sheet, report. Returns the exit code."""
        try:
            with contextlib.ExitStack() as stack:
                return self._work(stack)
        except (RecordError, _UsageError, WrongBoxError, OtherLoomError) as error:
            self.console.print(str(error), markup=False)
            return Code.USAGE
        except BoxError as error:
            self.console.print(str(error), markup=False)
            return Code.LINK

    def _work(self, stack: contextlib.ExitStack) -> Code:
        recorder, outcomes, store = self._record(stack)
        if is_simulated(self.url):
            stack.callback(self._forget_simulated)
        box = connect(self.url, auto_call_in=True)
        stack.callback(box.close)
        operator = self._operator(stack, box)
        session = Session(
            self.job,
            box,
            operator,
            recorder,
            outcomes=outcomes,
            job_text=self.text,
            url=self.url,
            baseline=self._baseline(store, simulated=bool(box.identity.simulated)),
        )
        self.session = session
        if self.stop_asked:
            session.request_stop(self.stop_asked)
        session.subscribe(self._tell)
        stack.enter_context(_stop_on_signals(self._stop))
        print_opening(self.console, self.job, box.identity, operator.name)
        record_id = session.open()
        if session.stopped is not None and not self.stop_asked:
            self.console.print(f"{session.stopped}; nothing is armed, so the stop is cleared.", markup=False)
            session.clear_stop()
        verdict = Verdict.NOT_TESTED
        try:
            if not self.options.walk or self._walk(session, operator):
                session.run_all()
        finally:
            verdict = session.close()
        print_result(self.console, self.job, session.verdicts(), session.findings())
        report = _write_report(store, record_id, self.options.out)
        code = exit_code(session.outcomes, verdict)
        print_end(self.console, verdict, session.outcomes, record_id, report)
        return code

    def _baseline(self, store: RecordStore | None, *, simulated: bool) -> Baseline | None:
        """The earlier record to compare with: the one named, else the newest of the same serial."""
        wanted = self.options.baseline
        if store is None:
            if wanted is not None:
                raise _UsageError("--baseline needs --out, the folder that holds the record")
            return None
        if wanted is not None:
            found: Baseline | None = baseline_of(store.read(wanted), self.job)
        else:
            found = find_baseline(store, self.job, simulated=simulated, but=self.options.resume or "")
        if found is not None:
            text = (
                f"Compared with record {found.record_id} of {found.when}: {len(found.signatures)} channels."
            )
            self.console.print(text, markup=False)
        return found

    def _walk(self, session: Session, operator: Operator) -> bool:
        """First look, then the walk; False when it was left or stopped and the sheet is not to go on."""
        look = session.outcome_of("look")
        if (look is None or not look.finished) and session.run_step("look").end in _HALTED:
            return False
        walked = session.walk(self._walker(operator))
        print_map(self.console, self.job, walked.map)
        if walked.reason:
            self.console.print(f"The walk ended early: {walked.reason}", markup=False)
        return walked.end is StepEnd.DONE

    def _walker(self, operator: Operator) -> Walker:
        if isinstance(operator, AskingOperator):
            return TerminalWalker(self.job, self.console, operator.typed)
        assert self._hands_found is not None
        return SimulatedWalker(self._hands_found)

    def _operator(self, stack: contextlib.ExitStack, box: Box) -> Operator:
        name = self.options.name
        if self.options.who is Who.SIMULATED:
            self._hands_found = self._hands(stack)
            return SimulatedOperator(self._hands_found, self.job, name or "simulated operator")
        return AskingOperator(name, sys.stdin, self.console, box.call_in, self._stop)

    def _record(
        self, stack: contextlib.ExitStack
    ) -> tuple[Recorder | None, tuple[StepOutcome, ...], RecordStore | None]:
        out, resume = self.options.out, self.options.resume
        if out is None:
            if resume is not None:
                raise _UsageError("--resume needs --out, the folder that holds the record")
            return None, (), None
        out.mkdir(parents=True, exist_ok=True)
        store = RecordStore(out / RECORD_FILE)
        stack.callback(store.close)
        if resume is None:
            return store.recorder(), (), store
        resumed = store.resume(resume)
        return resumed.recorder, resumed.outcomes, store

    def _hands(self, stack: contextlib.ExitStack) -> ProveHands:
        """The hands at the simulated loom; only this command knows where the simulator lives."""
        hands = self.options.hands
        if hands is not None:
            from loomproof_sim.hands.remote import HandsClient  # noqa: PLC0415 - the simulator only when it is asked for

            host, _, port = hands.rpartition(":")
            if not host or not port.isdigit():
                raise _UsageError(f"--hands wants HOST:PORT, not {hands!r}")
            try:
                client = HandsClient(host, int(port))
            except OSError as error:
                raise _UsageError(f"nobody offers hands at {hands}: {error}") from error
            stack.callback(client.close)
            return client
        if not is_simulated(self.url):
            raise _UsageError("--operator simulated needs a simulated box: sim://..., or --hands HOST:PORT")
        from loomproof_sim.named_boxes import find  # noqa: PLC0415 - the simulator only when it is asked for

        return find(self._simulated_name()).hands

    def _simulated_name(self) -> str:
        return query_of(self.url)["name"]

    def _forget_simulated(self) -> None:
        """A simulated box lives as long as its name is known; this run's is done with."""
        from loomproof_sim.named_boxes import forget  # noqa: PLC0415 - the simulator only when it is asked for

        forget(self._simulated_name())

    def _stop(self, reason: str) -> None:
        if self.session is not None:
            self.session.request_stop(reason)
        else:
            self.stop_asked = reason  # typed before there was anything to stop

    def _tell(self, event: SessionEvent) -> None:
        if isinstance(event, StepFinished) and not self.quiet:
            print_step(self.console, event.step, event.outcome)


class _UsageError(Exception):
    """The command was called in a way that cannot work."""


def _write_report(store: RecordStore | None, record_id: str, out: Path | None) -> Path | None:
    if store is None or out is None:
        return None
    path = out / REPORT_FILE
    path.write_text(html(store.read(record_id)), encoding="utf-8")
    return path


def exit_code(outcomes: tuple[StepOutcome, ...], verdict: Verdict) -> Code:
    """The exit code of a run: the link first, then interlocks and stops, then the verdict."""
    latest = {outcome.step_id: outcome.end for outcome in outcomes}.values()
    if StepEnd.LINK_LOST in latest:
        return Code.LINK
    if any(end in _HALTED for end in latest):
        return Code.STOPPED
    return Code.PASSED if verdict is Verdict.PASS else Code.FAULTS


@contextlib.contextmanager
def _stop_on_signals(stop: Callable[[str], None]) -> Iterator[None]:
    """Ctrl+C and a polite kill stop the box before anything else; the run sheet then ends by itself."""

    def handle(number: int, _frame: object) -> None:
        stop(f"signal {signal.Signals(number).name}")

    kept = {number: signal.signal(number, handle) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, before in kept.items():
            signal.signal(number, before)
