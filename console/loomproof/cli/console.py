"""`loomproof open` and `loomproof demo`: the terminal console on a job and a box."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast
from urllib.parse import quote, urlencode

import typer

from loomproof.tui.settings import RecentJob, SettingsKeeper, usual_path

if TYPE_CHECKING:
    from loomproof.box import Box
    from loomproof.job.model import Job
    from loomproof.records import RecordStore, Resumed
    from loomproof.tui.desk import Desk, Hands, MakeDesk

BAD_JOB = 2
"""Exit code of a bad job file, record or call."""
NO_TERMINAL = 2
DEMO_BOX = "demo"
DEMO_JOB = "inline-five-turbo.toml"
SIMULATED = "sim://"
DEMO_SEED = 5
DEMO_FAULTS = ("swapped:1:2", "added_resistance:8:1.2")
"""Sealed into the demo's loom: two injector plugs crossed, and a poor joint at a coil."""

InBrowser = Annotated[bool, typer.Option("--in-browser", hidden=True, help="Used by `loomproof web`.")]
Who = Annotated[str, typer.Option("--who", help="Your name or initials, for statements and the record.")]
Where = Annotated[
    str | None,
    typer.Option("--records", metavar="WHERE", help="Where records are kept: a path or database URL."),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    app.command("open")(open_job)
    app.command("demo")(demo)
    app.command("edit")(edit)


def open_job(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file (TOML). Without it: choose on a page.")
    ] = None,
    box: Annotated[
        str | None,
        typer.Option("--box", metavar="URL", help="The box: a port name or pyserial URL."),
    ] = None,
    who: Who = "",
    records: Where = None,
    resume: Annotated[
        str | None, typer.Option("--resume", metavar="RECORD", help="Carry this record on (or: last).")
    ] = None,
    in_browser: InBrowser = False,
) -> None:
    """Open a job in the console and prove its loom on a box; without a job, choose both on the first page.

    Exit code: 0 left in order, 2 bad job, record or call, 4 ended by a signal or a closed terminal.
    """
    if not in_browser:
        _need_terminal(job)
    if job is None and (box is not None or resume is not None):
        typer.echo("Name the job: loomproof open JOB --box URL", err=True)
        raise typer.Exit(BAD_JOB)
    if job is not None and box is None:
        typer.echo(
            f"Name the box, too: loomproof open {job} --box URL. `loomproof boxes` lists what answers; "
            "`--box sim://` is a simulated one; `loomproof open` alone lets you choose.",
            err=True,
        )
        raise typer.Exit(BAD_JOB)
    raise typer.Exit(_run(job, box or "", who, records, resume, reading=in_browser))


def demo(
    job: Annotated[
        Path | None, typer.Option("--job", help="Another job than the inline-five example.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", help="Seal in this fault, e.g. open:5."),
    ] = None,
    sound: Annotated[bool, typer.Option("--sound", help="Seal no fault in.")] = False,
    seed: Annotated[int, typer.Option("--seed", help="Draws the parts and the noise.")] = DEMO_SEED,
    who: Who = "",
    records: Where = None,
    in_browser: InBrowser = False,
) -> None:
    """Try the console: an example loom on a simulated box, with a page that plays your hands.

    Nothing real is driven. The record says that it was made with a simulated box.
    """
    path = job or demo_job()
    if not in_browser:
        _need_terminal(path)
    faults: Sequence[str] = fault or (() if sound or job is not None else DEMO_FAULTS)
    url = sim_url(path, seed, faults)
    raise typer.Exit(_run(path, url, who, records, None, demo=True, reading=in_browser))


def edit(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file; one that is not there yet is begun.")
    ] = None,
    who: Who = "",
    records: Where = None,
) -> None:
    """Make or edit a job file in the console, without a box: from a template, a pin-out table, or as it is.

    Exit code: 0 left in order, 2 bad call, 4 ended by a signal or a closed terminal.
    """
    _need_terminal(None)
    raise typer.Exit(_run(None, "", who, records, None, edit=job or True))


def demo_job() -> Path:
    """Return the example job: beside the program where it was installed, else in the source tree."""
    import loomproof

    home = Path(loomproof.__file__).resolve()
    for folder in (home.parent / "examples", home.parents[2] / "examples"):
        if (folder / DEMO_JOB).is_file():
            return folder / DEMO_JOB
    typer.echo(f"The example {DEMO_JOB} is not installed. Name a job: loomproof demo --job JOB", err=True)
    raise typer.Exit(BAD_JOB)


def sim_url(job: Path, seed: int, faults: Sequence[str]) -> str:
    """Return the URL of a simulated box that can be found again by its name."""
    query = [("seed", str(seed)), *(("fault", fault) for fault in faults), ("name", DEMO_BOX)]
    return f"sim://{quote(str(job.resolve()))}?{urlencode(query, safe=':')}"


class DemoHands:
    """The hands of the demo's box, which exists once the console has connected (`tui.desk.Hands`)."""

    def _hands(self) -> Hands | None:
        from loomproof_sim.urls import find

        with suppress(KeyError):
            return find(DEMO_BOX).hands
        return None

    def pull(self, where: int | str) -> None:
        """Pull a connector."""
        if (hands := self._hands()) is not None:
            hands.pull(where)

    def seat(self, where: int | str) -> None:
        """Seat it."""
        if (hands := self._hands()) is not None:
            hands.seat(where)

    def flex(self, where: int | str) -> None:
        """Flex the loom there."""
        if (hands := self._hands()) is not None:
            hands.flex(where)

    def supply(self, on: bool) -> None:
        """Switch the supply."""
        if (hands := self._hands()) is not None:
            hands.supply(on)

    def stop_input(self, open_: bool) -> None:
        """Open or close the stop switch."""
        if (hands := self._hands()) is not None:
            hands.stop_input(open_)


def _need_terminal(job: Path | None) -> None:
    """Without a terminal there is no console; say what is wrong with the job, too, if something is."""
    if sys.stdin.isatty() and sys.stdout.isatty():
        return
    from loomproof.tui.desk import StartRefusedError

    try:
        if job is not None:
            read_job(job)
    except StartRefusedError as refused:
        typer.echo(str(refused), err=True)
        raise typer.Exit(refused.code) from None
    typer.echo("The console needs a terminal. Without one use `loomproof prove`.", err=True)
    raise typer.Exit(NO_TERMINAL)


def read_job(path: Path) -> tuple[Job, str]:
    """Return a job and its text. Raises `StartRefusedError` with everything that is wrong."""
    from loomproof.job.loading import JobError, load_job
    from loomproof.tui.desk import StartRefusedError

    try:
        return load_job(path), path.read_text(encoding="utf-8")
    except JobError as error:
        lines = [f"{path} cannot be opened:"]
        for problem in error.problems:
            line = f"line {problem.line}, " if problem.line is not None else ""
            lines.append(f"  {line}{problem.key}: {problem.reason} {problem.remedy}")
        lines.append("Mend it, or see `loomproof check` for the same as a table.")
        raise StartRefusedError("\n".join(lines), BAD_JOB) from None


def _store(where: str | None) -> RecordStore:
    from loomproof.records import RecordError, RecordStore
    from loomproof.tui.desk import StartRefusedError

    try:
        return RecordStore(where)
    except RecordError as error:
        raise StartRefusedError(f"No record can be kept: {error}", BAD_JOB) from None


def _resumed(store: RecordStore, record: str | None) -> Resumed | None:
    from loomproof.records import RecordError
    from loomproof.tui.desk import StartRefusedError

    if record is None:
        return None
    try:
        return store.resume(record)
    except RecordError as error:
        raise StartRefusedError(f"That record cannot be carried on: {error}", BAD_JOB) from None


class DeskMaker:
    """Makes the real desk when the first picture stands; what it imports is loaded only then.

    Args:
        path: the job file.
        url: the box.
        who: the operator's name or initials.
        records: where records are kept; None is the usual place.
        resume: the record to carry on.
        settings: remembers the job and the box as recent ones; None: they are not remembered.
        shown_as: the box as it is remembered; None: its URL.
        reading: the box is only read and sensed: whatever would drive a load is refused before it leaves.
    """

    def __init__(
        self,
        path: Path,
        url: str,
        who: str,
        records: str | None,
        *,
        resume: str | None = None,
        settings: SettingsKeeper | None = None,
        shown_as: str | None = None,
        reading: bool = False,
    ) -> None:
        self._reading = reading
        self._shown_as = shown_as or url
        self._path = path
        self._url = url
        self._who = who
        self._records = records
        self._resume = resume
        self._settings = settings
        self._store: RecordStore | None = None

    def __call__(self) -> Desk:
        """Read the job, open the records and return the desk. Raises `StartRefusedError`."""
        job, text = read_job(self._path)
        self._store = store = _store(self._records)
        resumed = _resumed(store, self._resume)
        from loomproof.box import LookingBox, connect
        from loomproof.procedure.port import BoxPort
        from loomproof.procedure.prompts import Operator
        from loomproof.procedure.session import Session
        from loomproof.records import find_baseline
        from loomproof.tui.conductor import SessionDesk
        from loomproof.tui.readingdesk import ReadingDesk

        def make_session(box: BoxPort, operator: Operator) -> Session:
            recorder = resumed.recorder if resumed is not None else store.recorder()
            outcomes = resumed.outcomes if resumed is not None else ()
            carried_on = resumed.record_id if resumed is not None else ""
            return Session(
                job,
                box,
                operator,
                recorder,
                outcomes=outcomes,
                job_text=text,
                url=self._url,
                baseline=find_baseline(store, job, simulated=bool(box.identity.simulated), but=carried_on),
            )

        if self._settings is not None:
            recent = RecentJob(str(self._path.resolve()), job.identity.title, self._shown_as)
            self._settings.keep(self._settings.now.remembering(recent))

        def connected() -> Box:
            box = connect(self._url, auto_call_in=False)
            return cast("Box", LookingBox(box)) if self._reading else box

        desk = SessionDesk(job, connected, make_session, who=self._who or _user(), record_where=store.url)
        return cast("Desk", ReadingDesk(desk)) if self._reading else desk

    def close(self) -> None:
        """Close the record store, if it was opened."""
        if self._store is not None:
            self._store.close()


class JobStarter:
    """Opens what is chosen on the start page (`tui.desk.Starter`)."""

    def __init__(self, who: str, records: str | None, settings: SettingsKeeper) -> None:
        self._who = who
        self._records = records
        self._settings = settings
        self.made: list[DeskMaker] = []

    def ports(self) -> Sequence[tuple[str, str]]:
        """List the serial ports without opening one."""
        from loomproof.box import serial_ports

        return serial_ports()

    def open(self, job: str, box: str) -> tuple[MakeDesk, Hands | None]:
        """Return what makes the desk; a bare `sim://` is given the job's own loom, and hands."""
        path, simulated = Path(job), box == SIMULATED
        url = sim_url(path, DEMO_SEED, ()) if simulated else box
        maker = DeskMaker(path, url, self._who, self._records, settings=self._settings, shown_as=box)
        return self._keep(maker), DemoHands() if simulated else None

    def practice(self) -> tuple[MakeDesk, Hands | None]:
        """Return the demo's desk and hands."""
        path = demo_job()
        url = sim_url(path, DEMO_SEED, DEMO_FAULTS)
        return self._keep(DeskMaker(path, url, self._who, self._records)), DemoHands()

    def _keep(self, maker: DeskMaker) -> DeskMaker:
        self.made.append(maker)
        return maker


def _run(
    path: Path | None,
    url: str,
    who: str,
    records: str | None,
    resume: str | None,
    *,
    demo: bool = False,
    edit: Path | bool = False,
    reading: bool = False,
) -> int:
    from loomproof.tui.shell import Console, run_console

    settings = SettingsKeeper(usual_path())
    starter = JobStarter(who, records, settings)
    if path is None:
        edited = edit if isinstance(edit, Path) else None
        console = Console(who=who, settings=settings, starter=starter, making=bool(edit), job_path=edited)
    else:
        kept = None if demo or reading else settings
        maker = DeskMaker(path, url, who, records, resume=resume, settings=kept, reading=reading)
        starter.made.append(maker)
        hands = DemoHands() if demo else None
        console = Console(
            maker, hands=hands, welcome=demo, who=who, settings=settings, job_path=path, reading=reading
        )
    try:
        return run_console(console)
    finally:
        for maker in starter.made:
            maker.close()


def _user() -> str:
    with suppress(OSError, KeyError):
        return getpass.getuser()
    return "operator"
