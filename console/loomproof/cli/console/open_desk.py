"""Opens the console's desk: reads the job, opens the records, connects the box. Loaded after the first picture."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import cast

from loomproof.box.connect import connect
from loomproof.box.look_only import LookingBox
from loomproof.cli.console.desk_options import DeskOptions
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.job.file.loading import JobError, load_job
from loomproof.job.model import Job
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.prompts import Operator
from loomproof.procedure.session import Session
from loomproof.records.baseline import find_baseline
from loomproof.records.errors import RecordError
from loomproof.records.store import RecordStore, ResumedRecord
from loomproof.tui.desk.protocol import Desk, StartRefusedError
from loomproof.tui.desk.reading_desk import ReadingDesk
from loomproof.tui.desk.session_desk import ConsoleBox, SessionDesk
from loomproof.tui.settings import RecentJob


def read_job(path: Path) -> tuple[Job, str]:
    """Return a job and its text. Raises `StartRefusedError` with everything that is wrong."""
    try:
        return load_job(path), path.read_text(encoding="utf-8")
    except JobError as error:
        lines = [f"{path} cannot be opened:"]
        for problem in error.problems:
            line = f"line {problem.line}, " if problem.line is not None else ""
            lines.append(f"  {line}{problem.key}: {problem.reason}; {problem.remedy}")
        lines.append("Mend it, or see `loomproof check` for the same as a table.")
        raise StartRefusedError("\n".join(lines), BAD_CALL) from None


def _store(where: str | None) -> RecordStore:

    try:
        return RecordStore(where)
    except RecordError as error:
        raise StartRefusedError(f"No record can be kept: {error}", BAD_CALL) from None


def _resumed(store: RecordStore, record: str | None) -> ResumedRecord | None:

    if record is None:
        return None
    try:
        return store.resume(record)
    except RecordError as error:
        raise StartRefusedError(f"That record cannot be carried on: {error}", BAD_CALL) from None


def check_record(where: str | None, record: str) -> None:
    """Raise `StartRefusedError` where a record cannot be carried on. Nothing is written to it."""
    store = _store(where)
    try:
        _resumed(store, record)
    finally:
        store.close()


def open_desk(options: DeskOptions) -> tuple[Desk, Callable[[], None]]:
    """Read the job, open the records, and return the desk and what closes the records.

    Raises:
        StartRefusedError: The job is not sound, or no record can be kept or carried on.
    """
    job, text = read_job(options.job)
    store = _store(options.records)
    try:
        desk = _desk_of(options, job, text, store)
    except BaseException:
        store.close()
        raise
    return desk, store.close


def _desk_of(options: DeskOptions, job: Job, text: str, store: RecordStore) -> Desk:
    resumed = _carried_on(options.carry_on, store, text) or _resumed(store, options.resume)

    def keep(record_id: str) -> None:
        if options.carry_on is not None:
            options.carry_on.write_text(record_id, encoding="utf-8")

    if resumed is not None:
        keep(resumed.record_id)

    def make_session(box: BoxPort, operator: Operator) -> Session:
        recorder = resumed.recorder if resumed is not None else store.recorder(begun=keep)
        earlier = resumed.record_id if resumed is not None else ""
        return Session(
            job,
            box,
            operator,
            recorder,
            outcomes=resumed.outcomes if resumed is not None else (),
            job_text=text,
            url=options.url,
            baseline=find_baseline(store, job, simulated=bool(box.identity.simulated), but=earlier),
        )

    if options.settings is not None:
        recent = RecentJob(str(options.job.resolve()), job.identity.title, options.shown_as or options.url)
        options.settings.keep(options.settings.now.remembering(recent))

    def connected() -> ConsoleBox:
        box = connect(options.url, auto_call_in=False)
        return cast("ConsoleBox", LookingBox(box)) if options.reading else box

    who = options.who or _user()
    desk = SessionDesk(job, connected, make_session, who=who, record_where=store.url)
    return ReadingDesk(desk) if options.reading else desk


def _carried_on(carry_on: Path | None, store: RecordStore, text: str) -> ResumedRecord | None:
    """Return the record that the console before this one wrote, if it can be carried on."""
    if carry_on is None or not carry_on.is_file():
        return None
    with suppress(RecordError):
        resumed = store.resume(carry_on.read_text(encoding="utf-8"))
        return resumed if resumed.job_text == text else None
    return None


def _user() -> str:
    with suppress(OSError, KeyError):
        return getpass.getuser()
    return "operator"
