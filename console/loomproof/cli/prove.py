"""`loomproof prove`: the whole run sheet without the full-screen console, against any box.

Exit codes: 0 every channel passed; 1 faults found, unsure, or something not tested; 2 bad job or usage; 3
no link to the box, or lost; 4 blocked by an interlock, stopped, or left.
"""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from pathlib import Path
from typing import Annotated
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

import typer
from rich.console import Console

from loomproof.box import Box, BoxError, connect
from loomproof.cli.asking_operator import AskingOperator
from loomproof.cli.prove_tables import print_end, print_opening, print_result, print_step
from loomproof.cli.simulated_operator import Hands, SimulatedOperator
from loomproof.diagnose import Verdict
from loomproof.job.loading import JobError, load_job
from loomproof.job.model import Job
from loomproof.procedure import Operator, Recorder, Session, StepEnd, StepOutcome, WrongBoxError
from loomproof.procedure.events import SessionEvent, StepFinished
from loomproof.records import RecordError, RecordStore
from loomproof.records.report import html


class Code(IntEnum):
    """Exit codes."""

    PASSED = 0
    FAULTS = 1
    USAGE = 2
    LINK = 3
    STOPPED = 4


class Who(StrEnum):
    """Who answers the prompts."""

    SIMULATED = "simulated"
    ASK = "ask"


RECORD_FILE = "records.sqlite"
REPORT_FILE = "report.html"
_HALTED = (StepEnd.BLOCKED, StepEnd.STOPPED, StepEnd.SUPPLY_LOST, StepEnd.LEFT)


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("prove")(prove)


def prove(  # noqa: PLR0917 - typer reads the command line off the signature
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file (TOML).")],
    box: Annotated[str, typer.Option("--box", help="Port or URL of the box; sim:// for a simulated one.")],
    operator: Annotated[Who, typer.Option("--operator", help="Who answers the prompts.")] = Who.ASK,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the record and the report.", file_okay=False)
    ] = None,
    hands: Annotated[
        str | None, typer.Option("--hands", metavar="HOST:PORT", help="Hands of a served simulated box.")
    ] = None,
    name: Annotated[str, typer.Option("--name", help="Name or initials for the record.")] = "",
    resume: Annotated[
        str | None, typer.Option("--resume", metavar="RECORD", help="Carry on a record in --out.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Only the final tables.")] = False,
) -> None:
    """Work a job's whole run sheet on a plain terminal and print what was found.

    Exit code: 0 every channel passed; 1 faults found, unsure or not tested; 2 bad job or usage; 3 no link to
    the box; 4 blocked by an interlock, stopped or left.
    """
    console = Console(highlight=False)
    try:
        loaded = load_job(job)
    except JobError as error:
        console.print(f"{job}: {error}\nloomproof check {job} shows every problem.", markup=False)
        raise typer.Exit(Code.USAGE) from None
    url = box_url(box, job, operator)
    options = Options(operator, out, hands, name, resume)
    raise typer.Exit(_Run(console, loaded, job.read_text(encoding="utf-8"), url, options, quiet=quiet).work())


def box_url(box: str, job: Path, operator: Who) -> str:
    """The box's URL; a simulated one gets the job, a name for its hands, and virtual time if nobody asks."""
    parts = urlsplit(box)
    if parts.scheme != "sim":
        return box
    query = parse_qsl(parts.query, keep_blank_values=True)
    keys = {key for key, _ in query}
    if "clock" not in keys and operator is Who.SIMULATED:
        query.append(("clock", "virtual"))
    if "name" not in keys:
        query.append(("name", f"prove-{abs(hash((str(job), tuple(query))))}"))
    path = (parts.netloc + parts.path) or quote(str(job))
    return f"sim://{path}?{urlencode(query, safe=':/.')}"


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line said."""

    who: Who
    out: Path | None = None
    hands: str | None = None
    name: str = ""
    resume: str | None = None


class _Run:
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

    def work(self) -> Code:
        """Connect, work the run sheet, report. Returns the exit code."""
        try:
            with contextlib.ExitStack() as stack:
                return self._work(stack)
        except (RecordError, _UsageError, WrongBoxError) as error:
            self.console.print(str(error), markup=False)
            return Code.USAGE
        except BoxError as error:
            self.console.print(str(error), markup=False)
            return Code.LINK

    def _work(self, stack: contextlib.ExitStack) -> Code:
        recorder, outcomes, store = self._record(stack)
        box = connect(self.url, auto_call_in=True)
        stack.callback(box.close)
        operator = self._operator(stack, box)
        session = Session(
            self.job, box, operator, recorder, outcomes=outcomes, job_text=self.text, url=self.url
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
            session.run_all()
        finally:
            verdict = session.close()
        print_result(self.console, self.job, session.verdicts(), session.findings())
        report = _write_report(store, record_id, self.options.out)
        code = exit_code(session.outcomes, verdict)
        print_end(self.console, verdict, session.outcomes, record_id, report)
        return code

    def _operator(self, stack: contextlib.ExitStack, box: Box) -> Operator:
        name = self.options.name
        if self.options.who is Who.SIMULATED:
            return SimulatedOperator(self._hands(stack), self.job, name or "simulated operator")
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

    def _hands(self, stack: contextlib.ExitStack) -> Hands:
        """The hands at the simulated loom; only this command knows where the simulator lives."""
        hands = self.options.hands
        if hands is not None:
            from loomproof_sim.hands_wire import HandsClient

            host, _, port = hands.rpartition(":")
            if not host or not port.isdigit():
                raise _UsageError(f"--hands wants HOST:PORT, not {hands!r}")
            try:
                client = HandsClient(host, int(port))
            except OSError as error:
                raise _UsageError(f"nobody offers hands at {hands}: {error}") from error
            stack.callback(client.close)
            return client
        if not self.url.startswith("sim://"):
            raise _UsageError("--operator simulated needs a simulated box: sim://..., or --hands HOST:PORT")
        from loomproof_sim.urls import find, forget

        name = dict(parse_qsl(urlsplit(self.url).query))["name"]
        stack.callback(forget, name)
        return find(name).hands

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
