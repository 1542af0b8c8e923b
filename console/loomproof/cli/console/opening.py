"""What makes the console's desk: the job read, the records opened, the box connected, once the first picture stands."""

from __future__ import annotations

import getpass
from contextlib import suppress
from pathlib import Path
from typing import cast

from loomproof.box.client import Box
from loomproof.box.connect import connect
from loomproof.box.look_only import LookingBox
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.job.file.loading import JobError, load_job
from loomproof.job.model import Job
from loomproof.procedure.box_port import BoxPort
from loomproof.procedure.prompts import Operator
from loomproof.procedure.session import Session
from loomproof.records.baseline import find_baseline
from loomproof.records.errors import RecordError
from loomproof.records.store import RecordStore, Resumed
from loomproof.tui.desk.protocol import Desk, StartRefusedError
from loomproof.tui.desk.reading_desk import ReadingDesk
from loomproof.tui.desk.session_desk import SessionDesk
from loomproof.tui.settings import RecentJob, SettingsKeeper


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


def _resumed(store: RecordStore, record: str | None) -> Resumed | None:

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


def _user() -> str:
    with suppress(OSError, KeyError):
        return getpass.getuser()
    return "operator"
