"""What the command line says of the desk: job, box, records and the way it is used."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from loomproof.tui.settings import SettingsKeeper


@dataclass(frozen=True, kw_only=True)
class DeskOptions:
    """On what the console works.

    Attributes:
        job: the job file.
        url: the box.
        who: the operator's name or initials; empty: the user of this machine.
        records: where records are kept; None: the usual place.
        resume: the record to carry on.
        settings: remembers the job and the box as recent ones; None: they are not remembered.
        shown_as: the box as it is remembered; None: its URL.
        reading: the box is only read and sensed: whatever would drive a load is refused before it leaves.
        carry_on: a file for a record's id. The record named there is carried on, as long as the job is still
            the same; otherwise the id of the record that is begun is written there.
    """

    job: Path
    url: str
    who: str = ""
    records: str | None = None
    resume: str | None = None
    settings: SettingsKeeper | None = None
    shown_as: str | None = None
    reading: bool = False
    carry_on: Path | None = None
