"""The long studies: `make campaign`, two hours on two cores; `make campaign MINUTES=15` a shorter one.

    python -m benchmarks.campaign [--minutes 120] [--seed N] [--only NAME] [--list]

Every study is given a share of the time, by the pace measured on two cores of a small server; another machine takes
longer or less. The seed is printed, and the same seed tries the same again (but for the fuzzer, which goes on from
its corpus in build/firmware/host/corpus). Exit code 1 when a study failed.
"""

import argparse
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.mutants.room import ROOMS

ROOT = Path(__file__).resolve().parents[1]
HOST = ROOT / "firmware" / "host"
MISSES = ROOT / "build" / "campaign-misses.txt"
"""A line on each loom of the study that did not go as it should, with its seed."""
LOOMS = 75.0
"""How much a minute does, on two cores: this and those that follow."""
JOINTS = 50.0
MATRIX_LOOMS = 45.0
SCRIPTS = 6600.0
EVENT_RUNS = 100_000.0
PROVEN = 1.0
MANY = 1000
"""Mutants, of which as many are tried as there is time for."""
INTERLEAVED = {"core": (0.8, 420_000.0), "python": (0.05, 60_000.0), "elf": (0.15, 3000.0)}
"""Each box's share of the minutes, and the steps that one of them does."""
SHORTEST_ROOM = 3.0
"""Minutes; a shorter run of the mutants tries one room, drawn by the seed."""
SCRIPTS_AT_A_TIME = 5000
"""Hypothesis slows down over one long run; each of these begins with a seed of its own."""
LARGEST_SEED = 2**31 - 1


@dataclass(frozen=True)
class Run:
    """One command of a study, and what it adds to the environment."""

    command: tuple[str, ...]
    settings: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Study:
    """One study.

    Attributes:
        name: for `--only`.
        title: what it tries.
        minutes: its part of MINUTES.
        runs: the commands that take so many minutes, for a seed.
    """

    name: str
    title: str
    minutes: float
    runs: Callable[[float, int], Iterator[Run]]


def _python(*words: str) -> tuple[str, ...]:
    return (sys.executable, *words)


def _looms(minutes: float, seed: int) -> Iterator[Run]:
    first = str(1_000_000 + seed)  # no loom that anything was tuned on
    looms, joints = str(max(10, round(LOOMS * minutes))), str(max(20, round(JOINTS * minutes)))
    study = ("-m", "benchmarks.study", "--looms", looms, "--joints", joints, "--first", first)
    yield Run(_python(*study, "--minutes", f"{minutes:g}", "--misses", str(MISSES)))


def _matrix(minutes: float, seed: int) -> Iterator[Run]:
    looms = str(max(10, round(MATRIX_LOOMS * minutes)))
    yield Run(_python("-m", "benchmarks.fault_matrix", "--looms", looms, "--draw", str(seed)))


def _scripts(minutes: float, seed: int) -> Iterator[Run]:
    left, ends_s = max(200, round(SCRIPTS * minutes)), time.monotonic() + 60.0 * minutes
    test = "tests/firmware/test_differential.py::test_both_implementations_behave_alike"
    while left > 0:
        count = min(left, SCRIPTS_AT_A_TIME)
        yield Run(
            _python("-m", "pytest", "-q", "-n", "0", "--timeout", "0", f"--hypothesis-seed={seed}", test),
            (("LOOMPROOF_SCRIPTS", str(count)),),
        )
        left = left - count if time.monotonic() < ends_s else 0  # a slower machine tries fewer
        seed = (seed + 1) % LARGEST_SEED


def _events(minutes: float, seed: int) -> Iterator[Run]:
    yield Run(("make", "-s", "-C", str(HOST), "random"))
    program = ROOT / "build" / "firmware" / "host" / "random"
    yield Run((str(program), str(seed), str(max(1000, round(EVENT_RUNS * minutes)))))


def _interleavings(minutes: float, seed: int) -> Iterator[Run]:
    for box, (share, pace) in INTERLEAVED.items():
        steps = str(max(100, round(share * minutes * pace)))
        search = ("-m", "benchmarks.interleavings", "--box", box, "--seed", str(seed), "--steps", steps)
        yield Run(_python(*search))


def _fuzz(minutes: float, seed: int) -> Iterator[Run]:
    del seed
    yield Run(("make", "-s", "-C", str(HOST), "fuzz", f"SECONDS={max(10, round(60 * minutes))}"))


def _firmware(minutes: float, seed: int) -> Iterator[Run]:
    looms = str(max(1, round(PROVEN * minutes)))
    parity = ("-m", "benchmarks.elf_parity", "--faulty", "--looms", looms, "--first", str(seed % 1000))
    yield Run(_python(*parity))


def _mutants(minutes: float, seed: int) -> Iterator[Run]:
    rooms = ROOMS if minutes >= len(ROOMS) * SHORTEST_ROOM else ROOMS[seed % len(ROOMS) :][:1]
    for room in rooms:
        limits = ("--count", str(MANY), "--minutes", f"{minutes / len(rooms):g}")
        yield Run(_python("-m", "benchmarks.mutants", "--room", room.name, *limits, "--seed", str(seed)))


def _c_mutants(minutes: float, seed: int) -> Iterator[Run]:
    limits = ("--count", str(MANY), "--minutes", f"{minutes:g}")
    yield Run(_python("-m", "benchmarks.mutants.c_guards", *limits, "--seed", str(seed)))


STUDIES = (
    Study("looms", "findings on random looms", 24, _looms),
    Study("matrix", "single faults of the example jobs, through the whole run sheet", 10, _matrix),
    Study("scripts", "the core and the Python box on the same random scripts", 14, _scripts),
    Study("events", "the core against its safety oracle on random events", 5, _events),
    Study("firmware", "the real binary proves the same looms as the Python box", 7, _firmware),
    Study("mutants", "errors put into the source, and whether the tests of its room notice", 20, _mutants),
    Study(
        "c-mutants",
        "errors put into the C guards, and whether the tests on the host build notice",
        6,
        _c_mutants,
    ),
    Study("interleavings", "every box under frames, interrupts and hands in any order", 24, _interleavings),
    Study("fuzz", "the core fuzzed with sanitizers and the oracle", 10, _fuzz),
)
MINUTES = sum(study.minutes for study in STUDIES)


def _arguments(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.campaign", description=__doc__.split("\n")[0])
    parser.add_argument(
        "--minutes", type=float, default=MINUTES, help="about how long (default: %(default)g)"
    )
    parser.add_argument("--seed", type=int, help="of what is drawn at random (default: another each time)")
    names = [study.name for study in STUDIES]
    parser.add_argument("--only", action="append", choices=names, help="only this study; may be repeated")
    parser.add_argument("--list", action="store_true", help="list the studies and leave")
    options = parser.parse_args(words)
    if not 0 < options.minutes < 100_000:
        parser.error("--minutes must be above 0 and below 100000")
    if options.seed is not None and not 0 <= options.seed <= LARGEST_SEED:
        parser.error(f"--seed must be from 0 to {LARGEST_SEED}")
    return options


def _carry_out(study: Study, minutes: float, seed: int) -> bool:
    """Run a study to its end or to its first failure; say what it came to."""
    print(f"== {study.name}: {study.title}, about {minutes:.1f} min", flush=True)
    began_s = time.monotonic()
    held = all(
        subprocess.call(run.command, cwd=ROOT, env=os.environ | dict(run.settings)) == 0
        for run in study.runs(minutes, seed)
    )
    took = (time.monotonic() - began_s) / 60
    print(f"== {study.name}: {'held' if held else 'FAILED'}, {took:.1f} min", flush=True)
    return held


def main(words: Sequence[str] | None = None) -> int:
    """Run the campaign; returns the exit code."""
    options = _arguments(words)
    chosen = [study for study in STUDIES if not options.only or study.name in options.only]
    if options.list:
        for study in STUDIES:
            print(f"{study.name:9} {study.minutes:3.0f} min  {study.title}")
        return 0
    share = options.minutes / sum(study.minutes for study in chosen)
    seed = random.SystemRandom().randrange(LARGEST_SEED) if options.seed is None else options.seed
    print(f"about {options.minutes:g} min, seed {seed}", flush=True)
    MISSES.parent.mkdir(exist_ok=True)
    failed = [study.name for study in chosen if not _carry_out(study, study.minutes * share, seed)]
    print(f"failed: {', '.join(failed)} (--seed {seed})" if failed else "all held")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
