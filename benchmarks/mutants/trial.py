"""Runs tests against mutants, in copies of the tree: the working tree is never written to.

A parent that has imported pytest, the large libraries and those parts of the project that do not know the room
forks a child per mutant, so a trial costs its tests and little else.
"""

import contextlib
import importlib
import importlib.util
import math
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import pytest

from benchmarks.mutants.mutate import Mutant
from benchmarks.mutants.room import Room

PARTS = ("console", "shared", "firmware_sim", "firmware/cosim", "testbed", "tests", "benchmarks", "examples")
"""What of the tree the tests need."""
PROJECT = {
    "loomproof": "console",
    "loomproof_wire": "shared",
    "loomproof_sim": "firmware_sim",
    "loomproof_cosim": "firmware/cosim",
    "testbed": "",
}
"""Its packages and where they lie."""
PLUGINS = ("pytest_asyncio.plugin", "pytest_timeout", "_hypothesis_pytestplugin")
UNUSED = shutil.ignore_patterns("__pycache__", "__snapshots__", ".*")
LEAST_LIMIT_S = 20.0
SLOWER = 5.0
"""A mutant that takes so many times the processor time of the unchanged source hangs. Processor time, since a busy
machine makes every trial longer."""
LONGEST_S = 1800.0
"""On the clock: for one that waits for ever and takes no time of the processor."""
NO_LIMIT = resource.RLIM_INFINITY


class Fate(StrEnum):
    """What became of a mutant."""

    KILLED = "killed"
    TIMEOUT = "timeout"
    SURVIVED = "survived"


class TrialError(RuntimeError):
    """The tests could not be tried."""


@dataclass
class _Trial:
    """A child at work in one copy of the tree."""

    copy: Path
    mutant: Mutant
    source: bytes
    child: int
    ends_s: float
    late: bool = field(default=False)


def copy_tree(root: Path, to: Path) -> Path:
    """Copy what the tests need."""
    for part in PARTS:
        if (root / part).is_dir():
            shutil.copytree(root / part, to / part, ignore=UNUSED)
    shutil.copy(root / "pyproject.toml", to)
    return to


def _look_into(copy: Path) -> None:
    """Import the project from a copy, also what lies in packages that are imported already."""
    sys.path[:0] = [str(copy / part) for part in ("", *PARTS[:4])]
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in PROJECT and hasattr(module, "__path__"):
            module.__path__ = [str(copy / _part_of(name) / name.replace(".", "/"))]


def _part_of(name: str) -> str:
    return PROJECT[name.split(".", maxsplit=1)[0]]


def _import_bystanders(copy: Path, bystanders: Sequence[str], sources: Sequence[str]) -> None:
    """Import what no mutant changes.

    Raises:
        TrialError: one of them imports a module of the room.
    """
    for name in PLUGINS:
        importlib.import_module(name)
    before = list(sys.path)
    _look_into(copy)
    for name in bystanders:
        importlib.import_module(name)
    sys.path[:] = before
    files = {str(getattr(module, "__file__", "")) for module in sys.modules.values()}
    if known := files & {str(copy / source) for source in sources}:
        raise TrialError(f"imported before the mutants are made: {', '.join(sorted(known))}")


def _child(
    copy: Path, stages: Sequence[Sequence[str]], *, keep_bytecode: bool, limit_s: float = NO_LIMIT
) -> int:
    """Fork: run the tests in a copy, one part after another, and leave with pytest's exit code at the first failure."""
    if (child := os.fork()) != 0:
        return child
    code = 99
    try:
        os.setsid()
        os.chdir(copy)
        if limit_s != NO_LIMIT:
            resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(limit_s), NO_LIMIT))
        log = os.open(copy / "log.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(log, 1)
        os.dup2(log, 2)
        sys.dont_write_bytecode = not keep_bytecode
        _look_into(copy)
        for name in [name for name in sys.modules if name.split(".")[0] == "benchmarks"]:
            del sys.modules[name]
        os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
        words = [word for plugin in PLUGINS for word in ("-p", plugin)]
        words += ["-p", "no:cacheprovider", "--hypothesis-seed=1", "-x", "-q", "--no-header", "--tb=line"]
        for tests in stages:
            code = int(pytest.main([*words, *tests]))
            if code != 0:
                break
    finally:
        sys.stdout.flush()
        os._exit(code)


def _wait(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _kill(child: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)


def _begin(copy: Path, mutant: Mutant, stages: Sequence[Sequence[str]], limit_s: float) -> _Trial:
    path = copy / mutant.path
    source = path.read_bytes()
    shutil.rmtree(copy / ".hypothesis", ignore_errors=True)  # no trial profits from another's examples
    for stale in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
        stale.unlink()
    path.write_bytes(mutant.apply(source))
    child = _child(copy, stages, keep_bytecode=False, limit_s=limit_s)
    return _Trial(copy, mutant, source, child, time.monotonic() + LONGEST_S)


def _ended(trial: _Trial) -> Fate | None:
    """What became of it, or None while it runs."""
    child, status = os.waitpid(trial.child, os.WNOHANG)
    if child == 0:
        if time.monotonic() > trial.ends_s and not trial.late:
            trial.late = True
            _kill(trial.child)
        return None
    (trial.copy / trial.mutant.path).write_bytes(trial.source)
    code = os.waitstatus_to_exitcode(status)
    if trial.late or code == -signal.SIGXCPU:
        return Fate.TIMEOUT
    if code in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED, 99):
        raise TrialError((trial.copy / "log.txt").read_text()[-2000:])
    return Fate.SURVIVED if code == 0 else Fate.KILLED


def _check_unchanged(copy: Path, tests: Sequence[str]) -> float:
    """Run the tests on the unchanged source, which fills the byte code too; returns their processor time, in s."""
    if _wait(_child(copy, [tests], keep_bytecode=True)) != 0:
        raise TrialError("the tests fail without a mutant:\n" + (copy / "log.txt").read_text()[-2000:])
    _, _, used = os.wait4(_child(copy, [tests], keep_bytecode=False), 0)
    return used.ru_utime + used.ru_stime


def try_all(
    root: Path,
    mutants: Sequence[Mutant],
    room: Room,
    *,
    jobs: int,
    report: Callable[[str], None],
    until_s: float = math.inf,
) -> Iterator[tuple[Mutant, Fate]]:
    """Yield what becomes of each mutant, as soon as it is known.

    Args:
        root: the tree; it is only read.
        mutants: to be tried.
        room: whose tests are to notice.
        jobs: how many at a time, each in a copy of its own.
        report: takes a line on how long the tests take.
        until_s: none is begun after this, of the monotonic clock; those that were are waited for, since a mutant
            that survives takes the longest.

    Raises:
        TrialError: the tests fail on the unchanged source, or cannot be run.
    """
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copies = [copy_tree(root, Path(folder, str(number))) for number in range(jobs)]
        tests = room.test_files(root)
        sources = [path.relative_to(root).as_posix() for path in room.files(root)]
        _import_bystanders(copies[0], room.bystanders, sources)
        usual_s = max(_check_unchanged(copy, tests) for copy in copies)
        limit_s = max(LEAST_LIMIT_S, SLOWER * usual_s)
        report(f"the tests take {usual_s:.1f} s of a processor; a mutant that takes {limit_s:.0f} s hangs")
        left, running = list(mutants), list[_Trial]()
        try:
            while left or running:
                if time.monotonic() >= until_s:
                    left.clear()
                while left and copies:
                    mutant = left.pop(0)
                    stages = room.stages(mutant.path, root)
                    running.append(_begin(copies.pop(), mutant, stages, limit_s))
                time.sleep(0.01)
                for trial in list(running):
                    if (fate := _ended(trial)) is not None:
                        running.remove(trial)
                        copies.append(trial.copy)
                        yield trial.mutant, fate
        finally:
            for trial in running:
                _kill(trial.child)
                _wait(trial.child)
