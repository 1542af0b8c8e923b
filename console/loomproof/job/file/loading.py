"""Reading and writing job files. All that is wrong with a file is reported at once, with its line."""

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError

from loomproof.job.checks.channels import channel_flaws
from loomproof.job.checks.engine import engine_flaws, location_flaws
from loomproof.job.checks.fuses import fuse_flaws
from loomproof.job.checks.header import header_flaws
from loomproof.job.checks.loads import own_load_flaws
from loomproof.job.checks.pump import unsaid_pump_flaws
from loomproof.job.checks.refused import refused_flaws
from loomproof.job.face import FACE_KEYS
from loomproof.job.file.draft import Draft, draft_of
from loomproof.job.file.explain import validation_flaws
from loomproof.job.file.positions import UNREADABLE, Positions, find_positions, statements
from loomproof.job.file.positions import Path as KeyPath
from loomproof.job.model import Job, Matters
from loomproof.job.problem import Flaw, JobError, Problem
from loomproof.job.wire import parted

__all__ = [
    "JobError",
    "Problem",
    "dump_job",
    "job_digest",
    "job_problems",
    "load_job",
    "parse_job",
    "refused_problems",
]

MOST_SYNTAX_PROBLEMS = 20


def load_job(path: Path) -> Job:
    """Return the job in the TOML file at `path`.

    Raises:
        JobError: The file cannot be read or is not a sound job.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        problem = Problem(line, "file", f"byte {error.start} is not UTF-8 text", "save the file as UTF-8")
        raise JobError([problem]) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise JobError([Problem(None, str(path), reason, "give the path of a job file")]) from error
    return parse_job(text)


def parse_job(text: str) -> Job:
    """Return the job that a TOML text describes.

    Raises:
        JobError: The text is not a sound job; carries all that is wrong with it.
    """
    try:
        raw = tomllib.loads(text)
    except UNREADABLE as error:
        raise JobError(_syntax_problems(text)) from error
    job: Job | None = None
    flaws: list[Flaw] = []
    if "schema_version" not in raw:
        remedy = "write `schema_version = 1` in the first line, before any table"
        flaws.append(Flaw(("schema_version",), "`schema_version` is missing", remedy))
    try:
        job = Job.model_validate(raw)
    except ValidationError as error:
        flaws.extend(validation_flaws(error))
    flaws.extend([flaw for flaw in _check(draft_of(raw)) if not _follows(flaw, flaws)])
    if job is None or flaws:
        raise JobError(_problems(flaws, raw, find_positions(text)))
    return job


def job_problems(job: Job) -> tuple[Problem, ...]:
    """Return what the checks say of a job put together in code; lines are None."""
    raw = job.model_dump(mode="json", exclude_none=True)
    return tuple(_problems(list(_check(draft_of(raw))), raw, None))


def refused_problems(job: Job) -> tuple[Problem, ...]:
    """Return what names a circuit that is never driven, in a job from anywhere; lines are None."""
    raw = job.model_dump(mode="json", exclude_none=True)
    return tuple(_problems(list(refused_flaws(draft_of(raw))), raw, None))


def _follows(flaw: Flaw, reported: list[Flaw]) -> bool:
    """Whether a flaw only follows from a key that has been found wrong in itself."""
    paths = [path for earlier in reported for path in (earlier.path, earlier.meant) if path is not None]
    return any(flaw.path[: len(path)] == path or path[: len(flaw.path)] == flaw.path for path in paths)


_CHECKS = (
    header_flaws,
    fuse_flaws,
    own_load_flaws,
    engine_flaws,
    location_flaws,
    channel_flaws,
    unsaid_pump_flaws,
    refused_flaws,
)


def _check(draft: Draft) -> Iterator[Flaw]:
    for check in _CHECKS:
        yield from check(draft)


def _problems(flaws: list[Flaw], raw: dict[str, Any], positions: Positions | None) -> list[Problem]:
    problems = {
        Problem(
            _line(positions, flaw.path),
            _key(flaw.path, raw),
            flaw.reason,
            flaw.remedy,
        )
        for flaw in flaws
    }
    return sorted(problems, key=lambda problem: (problem.line or 0, problem.key, problem.reason))


def _line(positions: Positions | None, path: KeyPath) -> int | None:
    """Return the line of a key; what is missing from the whole file is reported at its first."""
    return None if positions is None else positions.line(path) or 1


def _key(path: KeyPath, raw: dict[str, Any]) -> str:
    """Return a path in words: `channel 4: train.on_time_ms`."""
    if len(path) < 2 or not isinstance(path[1], int):
        return ".".join(map(str, path)) or "file"
    table, index = str(path[0]), path[1]
    row = raw[table][index]
    name = next((row[key] for key in ("channel", "id", "key") if isinstance(row, dict) and key in row), None)
    label = f"{table.removesuffix('s')} {f'#{index + 1}' if name is None else name}"
    rest = ".".join(map(str, path[2:]))
    return f"{label}: {rest}" if rest else label


def _syntax_problems(text: str) -> list[Problem]:
    """Blank each statement that the reader refuses and read again, to report more than the first."""
    rows = text.replace("\r\n", "\n").split("\n")
    problems: list[Problem] = []
    while len(problems) < MOST_SYNTAX_PROBLEMS:
        try:
            tomllib.loads("\n".join(rows))
        except UNREADABLE as error:
            problem = _syntax_problem(error, "\n".join(rows))
            problems.append(problem)
            if problem.line is None or rows[problem.line - 1].lstrip().startswith("["):
                break  # without its header the rest would be misread
            rows[problem.line - 1] = ""
        else:
            break
    return problems


def _syntax_problem(error: ValueError | RecursionError, text: str) -> Problem:
    message = str(error)
    found = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    reason = re.sub(r" \(at .*\)$", "", message)
    if found:
        line, where = int(found[1]), f"column {found[2]}"
    else:
        whole = list(statements(text))
        broken = [statement.line for statement in whole if statement.holds is None]
        line, where = (broken or [whole[-1].line if whole else 1])[0], "to the end of the file"
    remedy = "see the TOML rules: key = value, texts in quotes, every bracket closed"
    if isinstance(error, RecursionError):
        reason, remedy = "brackets are nested too deep", "a job needs no such nesting"
    elif not isinstance(error, tomllib.TOMLDecodeError):
        reason, remedy = "a number is too long", "a job needs no such number"
    if "overwrite" in reason or "twice" in reason:
        remedy = "a key or table may be written once only: remove one, or use [[...]] for several"
    return Problem(line, where, f"not TOML: {reason[0].lower()}{reason[1:]}", remedy)


def dump_job(job: Job) -> str:
    """Return the job as TOML text; reading it again gives an equal job."""
    return tomlkit.dumps(
        job.model_dump(mode="json", exclude_defaults=True) | {"schema_version": job.schema_version}
    )


def job_digest(job: Job) -> str:
    """Return the SHA-256 of a job's content in hex; layout and comments of the file do not matter.

    A connector that does not say how its face looks, a loom without a serial number and a job without a fuel count
    as before these keys existed; an engine and a load type as when they still had the keys that are gone; a wire's
    colour as when it was written with a slash. So a record made then can still be carried on.
    """
    content = job.model_dump(mode="json")
    if not content["identity"]["serial"]:
        del content["identity"]["serial"]
    for connector in content["connectors"]:
        for key in FACE_KEYS:
            if connector[key] is None:
                del connector[key]
    left_out = {"fuel": None, "matters": Matters().model_dump(mode="json")}
    content = {key: value for key, value in content.items() if key not in left_out or value != left_out[key]}
    for part in (*content["feeds"], *content["channels"]):
        if part["wire"] is not None:
            part["wire"] = "/".join(parted(part["wire"]))
    if content["engine"] is not None:
        content["engine"]["compression_ratio"] = None
    for load in content["loads"]:
        load["rated_v"] = 12.0
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()
