"""Reading a job file."""

import tomllib
from pathlib import Path

from loomproof.job.model import Job


def parse_job(text: str) -> Job:
    """Return the job that `text` (TOML) describes."""
    return Job.model_validate(tomllib.loads(text))


def load_job(path: Path) -> Job:
    """Return the job in the TOML file at `path`."""
    return parse_job(path.read_text(encoding="utf-8"))
