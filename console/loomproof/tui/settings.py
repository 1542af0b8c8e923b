"""What the console remembers between runs: looks, sounds, the operator's name, recent jobs and boxes.

Kept in one small TOML file in the user's configuration folder. A file that cannot be read is put aside, never
overwritten; if the folder cannot be written, the settings are lost and the work goes on.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import platformdirs

RECENT_JOBS = 8
RECENT_BOXES = 6


@dataclass(frozen=True)
class RecentJob:
    """A job file that was opened, and the box it was opened on."""

    path: str
    title: str = ""
    box: str = ""


@dataclass(frozen=True)
class Settings:
    """The operator's settings. `theme` empty: the program's first."""

    theme: str = ""
    large_text: bool = False
    sounds: bool = True
    sound_kind: str = "bell"
    who: str = ""
    jobs: tuple[RecentJob, ...] = ()
    boxes: tuple[str, ...] = field(default=())

    def remembering(self, job: RecentJob) -> Settings:
        """Return the settings with a job, and its box, as the most recent ones."""
        others = tuple(kept for kept in self.jobs if kept.path != job.path)
        boxes = (job.box, *(box for box in self.boxes if box != job.box)) if job.box else self.boxes
        return replace(self, jobs=(job, *others)[:RECENT_JOBS], boxes=boxes[:RECENT_BOXES])


class SettingsKeeper:
    """The settings with their file. Reads once, writes on every change.

    Args:
        path: the file; None keeps the settings in memory only.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path
        self.problem = ""
        """What went wrong with the file, for the operator; empty: nothing."""
        self.now = self._read()

    def change(self, **changes: str | bool) -> None:
        """Change settings by name and write them. A name that is no setting raises TypeError."""
        self.keep(replace(self.now, **changes))  # type: ignore[arg-type] # checked by replace

    def keep(self, settings: Settings) -> None:
        """Take these settings and write them; `problem` says what cannot be written."""
        if settings == self.now:
            return
        self.now = settings
        if self.path is None:
            return
        try:
            self._write(self.path, settings)
        except OSError as error:
            self.problem = f"The settings could not be kept in {self.path}: {error.strerror}."

    def _write(self, path: Path, settings: Settings) -> None:
        import tomlkit  # noqa: PLC0415 - most runs change nothing

        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(tomlkit.dumps(asdict(settings)), encoding="utf-8")
        os.replace(fresh, path)  # whole or not at all

    def _read(self) -> Settings:
        if self.path is None:
            return Settings()
        try:
            return settings_from(tomllib.loads(self.path.read_text(encoding="utf-8")))
        except FileNotFoundError:
            return Settings()
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            aside = self.path.with_suffix(".unreadable")
            self.problem = f"The settings in {self.path} could not be read ({error}); the defaults are used."
            with suppress(OSError):
                os.replace(self.path, aside)
                self.problem += f" The old file is kept as {aside.name}."
            return Settings()


def settings_from(data: Mapping[str, Any]) -> Settings:
    """Return settings from a file's table. What is unknown or of another type is left out."""
    usual = Settings()
    simple = {
        f.name: data[f.name]
        for f in fields(Settings)
        if f.name in data
        and isinstance(data[f.name], str | bool)
        and type(data[f.name]) is type(getattr(usual, f.name))
    }
    jobs = tuple(
        RecentJob(**{key: value for key, value in entry.items() if key in ("path", "title", "box")})
        for entry in _list(data.get("jobs"))
        if isinstance(entry, Mapping)
        and isinstance(entry.get("path"), str)
        and all(isinstance(value, str) for value in entry.values())
    )
    boxes = tuple(entry for entry in _list(data.get("boxes")) if isinstance(entry, str))
    return replace(usual, **simple, jobs=jobs[:RECENT_JOBS], boxes=boxes[:RECENT_BOXES])


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def usual_path() -> Path:
    """Return where the settings are kept; the variable LOOMPROOF_SETTINGS names another file."""
    if named := os.environ.get("LOOMPROOF_SETTINGS"):
        return Path(named)
    return platformdirs.user_config_path("loomproof") / "settings.toml"
