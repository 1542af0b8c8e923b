"""The job file that is being written: where it lies, whether it is saved, and a draft beside it until it is."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from loomproof.job.file.document import JobDocument

DRAFT_ENDING = ".unsaved"
"""Added to the job file's name: the draft that is kept while there are unsaved changes."""


class JobFileError(Exception):
    """A job file cannot be read or written. Says why and what to do."""


class ChangedOnDiskError(JobFileError):
    """Someone else wrote the file since it was read."""


@dataclass(frozen=True)
class Leftover:
    """A draft that an earlier session left behind, and when it was last written."""

    path: Path
    text: str
    written: datetime


def read_text(path: Path) -> str:
    """Return a job file's text.

    Raises:
        JobFileError: It cannot be read.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobFileError(f"{path} is not UTF-8 text (byte {error.start}). Save it as UTF-8.") from error
    except OSError as error:
        raise JobFileError(f"{path}: {error.strerror or error}.") from error


def write_whole(path: Path, text: str) -> None:
    """Write a file so that at any moment the old or the new one is whole.

    Raises:
        JobFileError: It cannot be written.
    """
    name = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", newline="", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as file:
            name = file.name
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
        os.chmod(name, mode)
        os.replace(name, path)
    except OSError as error:
        if name is not None:
            with suppress(OSError):
                os.unlink(name)
        raise JobFileError(f"{path} could not be written: {error.strerror or error}.") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


class JobFile:
    """One job file in work.

    Args:
        path: Where it is or will be.
        text: Its text.
        saved: The text on the disk; None: there is no file yet.
    """

    def __init__(self, path: Path, text: str, saved: str | None) -> None:
        self.path = path
        self.document = JobDocument(text)
        self.saved = saved

    @classmethod
    def open(cls, path: Path) -> JobFile:
        """Read a job file.

        Raises:
            JobFileError: It cannot be read.
        """
        text = read_text(path)
        return cls(path, text, text)

    @property
    def unsaved(self) -> bool:
        """Whether the text differs from what is on the disk."""
        return self.document.text != self.saved

    @property
    def draft_path(self) -> Path:
        """Where the draft lies."""
        return self.path.with_name(self.path.name + DRAFT_ENDING)

    def keep_draft(self) -> None:
        """Write the draft, or take it away when everything is saved.

        Raises:
            JobFileError: It cannot be written.
        """
        if self.unsaved:
            write_whole(self.draft_path, self.document.text)
        else:
            self.drop_draft()

    def drop_draft(self) -> None:
        """Take the draft away."""
        with suppress(OSError):
            self.draft_path.unlink(missing_ok=True)

    def leftover(self) -> Leftover | None:
        """Return a draft that an earlier session left, if it says anything else than the file."""
        try:
            text = read_text(self.draft_path)
            written = datetime.fromtimestamp(self.draft_path.stat().st_mtime)
        except (JobFileError, OSError):
            return None
        return Leftover(self.draft_path, text, written) if text != self.document.text else None

    def save(self, *, over: bool = False) -> None:
        """Write the file.

        Args:
            over: Also over what someone else wrote meanwhile.

        Raises:
            ChangedOnDiskError: The file is not as it was read, or there is one where there was none.
            JobFileError: It cannot be written.
        """
        if not over and self._on_disk() != self.saved:
            raise ChangedOnDiskError(f"{self.path} was written by someone else since it was read here.")
        text = self.document.text
        write_whole(self.path, text)
        self.saved = text
        self.drop_draft()

    def save_as(self, path: Path) -> None:
        """Write the text to another file and go on with that one.

        Raises:
            JobFileError: There is such a file already, or it cannot be written.
        """
        if path.exists() and path.resolve() != self.path.resolve():
            raise JobFileError(f"{path} is there already. Give another name.")
        old = self.draft_path
        write_whole(path, self.document.text)
        self.path, self.saved = path, self.document.text
        with suppress(OSError):
            old.unlink(missing_ok=True)
        self.drop_draft()

    def _on_disk(self) -> str | None:
        try:
            return read_text(self.path) if self.path.exists() else None
        except JobFileError:
            return ""
