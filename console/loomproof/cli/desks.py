"""What makes the console's desk: the job read, the records opened, the box connected, once the first picture stands."""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, cast

import typer

from loomproof.cli.practice import (
    DEMO_FAULTS,
    DEMO_SEED,
    SIMULATED,
    DemoHands,
    demo_job,
    hands_of,
    own_url,
    sim_url,
)
from loomproof.tui.settings import RecentJob, SettingsKeeper

if TYPE_CHECKING:
    from loomproof.box import Box
    from loomproof.job.model import Job
    from loomproof.records import RecordStore, Resumed
    from loomproof.tui.desk import Desk, Hands, MakeDesk

BAD_JOB = 2
"""Exit code of a bad job file, record or call."""


def need_job(command: str) -> NoReturn:
    """Refuse a call that names a box or a record but no job."""
    typer.echo(f"Name the job: loomproof {command} JOB --box URL", err=True)
    raise typer.Exit(BAD_JOB)


def need_box(command: str, job: Path, otherwise: str = "") -> NoReturn:
    """Refuse a call that names a job but no box."""
    typer.echo(
        f"Name the box, too: loomproof {command} {job} --box URL. `loomproof boxes` lists what answers; "
        f"`--box sim://` is a simulated one{otherwise}.",
        err=True,
    )
    raise typer.Exit(BAD_JOB)


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
            lines.append(f"  {line}{problem.key}: {problem.reason}; {problem.remedy}")
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


def check_record(where: str | None, record: str) -> None:
    """Raise `StartRefusedError` where a record cannot be carried on. Nothing is written to it."""
    store = _store(where)
    try:
        _resumed(store, record)
    finally:
        store.close()


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
        carry_on: a file for a record's id. The record named there is carried on, as long as the job is still the
            same; otherwise the id of the one begun is put there.
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
        carry_on: Path | None = None,
    ) -> None:
        self._reading = reading
        self._carry_on = carry_on
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
        resumed = self._kept(store, text) or _resumed(store, self._resume)
        if resumed is not None:
            self._keep(resumed.record_id)
        from loomproof.box import LookingBox, connect
        from loomproof.procedure.port import BoxPort
        from loomproof.procedure.prompts import Operator
        from loomproof.procedure.session import Session
        from loomproof.records import find_baseline
        from loomproof.tui.conductor import SessionDesk
        from loomproof.tui.readingdesk import ReadingDesk

        def make_session(box: BoxPort, operator: Operator) -> Session:
            recorder = resumed.recorder if resumed is not None else store.recorder(begun=self._keep)
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

    def _kept(self, store: RecordStore, text: str) -> Resumed | None:
        """Return the record that the console before this one wrote, if it can be carried on."""
        from loomproof.records import RecordError

        if self._carry_on is None or not self._carry_on.is_file():
            return None
        with suppress(RecordError):
            resumed = store.resume(self._carry_on.read_text(encoding="utf-8"))
            return resumed if resumed.job_text == text else None
        return None

    def _keep(self, record_id: str) -> None:
        if self._carry_on is not None:
            self._carry_on.write_text(record_id, encoding="utf-8")

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
        path = Path(job)
        url = sim_url(path, DEMO_SEED, ()) if box == SIMULATED else own_url(path, box)
        maker = DeskMaker(path, url, self._who, self._records, settings=self._settings, shown_as=box)
        return self._keep(maker), hands_of(url)

    def practice(self) -> tuple[MakeDesk, Hands | None]:
        """Return the demo's desk and hands."""
        path = demo_job()
        url = sim_url(path, DEMO_SEED, DEMO_FAULTS)
        return self._keep(DeskMaker(path, url, self._who, self._records)), DemoHands()

    def _keep(self, maker: DeskMaker) -> DeskMaker:
        self.made.append(maker)
        return maker


def _user() -> str:
    with suppress(OSError, KeyError):
        return getpass.getuser()
    return "operator"
