"""The rooms: which source each has, which tests must notice an error in it, and how many of 100 they must notice."""

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from benchmarks.mutants.mutate import Enums, Mutant, enums_of, mutants_of

ROOT = Path(__file__).resolve().parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent.toml")
LIBRARIES = ("hypothesis.stateful", "numpy", "pydantic", "scipy.integrate", "scipy.stats", "tomlkit")
SOURCE_ROOTS = ("console", "shared", "firmware_sim")


@dataclass(frozen=True)
class Room:
    """A part of the source with tests of its own.

    Attributes:
        name: for `--room`.
        sources: patterns of its files, from the root of the tree.
        left_out: names of files that are no part of it.
        tests: patterns of its test files, the fast ones first.
        least: the share of mutants that must be killed.
        bystanders: modules its tests need that import nothing of it; they are imported once for all trials.
    """

    name: str
    sources: tuple[str, ...]
    tests: tuple[str, ...]
    least: float
    bystanders: tuple[str, ...]
    left_out: tuple[str, ...] = ()

    def files(self, root: Path = ROOT) -> list[Path]:
        """The source files."""
        found = sorted({path for pattern in self.sources for path in root.glob(pattern)})
        return [path for path in found if path.name not in (*self.left_out, "__init__.py")]

    def test_files(self, root: Path = ROOT) -> list[str]:
        """The test files, each once, in the order in which they are run."""
        found = (path for pattern in self.tests for path in sorted(root.glob(pattern)))
        return [path.relative_to(root).as_posix() for path in dict.fromkeys(found)]

    def stages(self, path: str, root: Path = ROOT) -> list[list[str]]:
        """The test files in two parts: those that import a source file themselves, and the rest.

        The first part notices most errors, so most trials need not even import the other.
        """
        importing = _import_of(path)
        tests = self.test_files(root)
        near = [test for test in tests if importing.search((root / test).read_text("utf-8"))]
        return [part for part in (near, [test for test in tests if test not in near]) if part]


ROOMS = (
    Room(
        "safety",
        ("console/loomproof/safety/*.py",),
        (
            "tests/safety/test_*_limits.py",
            "tests/safety/test_interlocks.py",
            "tests/safety/test_[!bi]*.py",
            "tests/reference/test_safety_*.py",
            "tests/safety/test_budget.py",
        ),  # the long one on random orders of statements is left out
        0.95,
        bystanders=(*LIBRARIES, "testbed.jobs", "loomproof.job.catalogue", "loomproof_wire.frames"),
    ),
    Room(
        "guards",
        ("firmware_sim/loomproof_sim/controller/*.py",),
        (
            "tests/sim/controller/test_*.py",
            "tests/sim/test_controller_session.py",
            "tests/sim/test_controller_drives.py",
            "tests/sim/test_looking.py",
        ),  # the long one on random orders of commands is left out
        0.95,
        bystanders=(
            *LIBRARIES,
            "loomproof_wire.frames",
            "loomproof_sim.readback",
            "loomproof_sim.plant.spec",
        ),
        left_out=("info.py", "outbox.py", "traces.py"),  # they switch nothing and refuse no drive
    ),
    Room(
        "diagnose",
        ("console/loomproof/diagnose/**/*.py",),
        ("tests/diagnose/test_*_limits.py", "tests/diagnose/test_*.py"),
        0.85,
        bystanders=(
            *LIBRARIES,
            "testbed.jobs",
        ),
        left_out=("words.py",),  # sentences for people
    ),
)


@lru_cache(maxsize=128)
def _import_of(path: str) -> re.Pattern[str]:
    """What a file that imports this module has at the beginning of a line."""
    *packages, stem = Path(path).with_suffix("").parts
    package = re.escape(".".join(part for part in packages if part not in SOURCE_ROOTS))
    return re.compile(
        rf"^(from|import) {package}\.{stem}\b|^from {package} import .*\b{stem}\b", re.MULTILINE
    )


def equivalents(path: Path = EQUIVALENT) -> dict[tuple[str, str, str, str], str]:
    """The mutants that change nothing anybody could notice, each with its reason."""
    entries = tomllib.loads(path.read_text("utf-8"))["mutant"]
    return {(e["path"], e["where"], e["before"], e["after"]): e["why"] for e in entries}


@lru_cache(maxsize=2)
def _enums(root: Path) -> Enums:
    return enums_of([path for base in SOURCE_ROOTS for path in sorted((root / base).rglob("*.py"))])


def population(room: Room, root: Path = ROOT) -> list[Mutant]:
    """Every mutant of a room, equivalent ones too, in a fixed order."""
    enums = _enums(root)
    return [
        mutant
        for path in room.files(root)
        for mutant in mutants_of(path.relative_to(root).as_posix(), path.read_bytes(), enums)
    ]
