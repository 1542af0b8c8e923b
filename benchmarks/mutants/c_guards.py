"""How many small errors in the C guards of the box the tests on the host build notice.

    python -m benchmarks.mutants.c_guards [--count 150] [--seed 1] [--jobs 2] [--minutes 20] [--file limits.c]

The guards are what stops the box, arms it, limits it and refuses: GUARDS. Each mutant (`c_mutate.py`) is built into
the core for this computer and run against TESTS, the fast ones first; it is killed when one of them fails, and counts
as noticed, too, when it hangs. Those of `c_equivalent.toml` change nothing that a test could see and are not drawn.
Exit code 1 when fewer than LEAST are noticed.

universalmutator, the kept tool for C, was tried first: its patterns know no types, so that many of its mutants do not
compile or change a comment, and it brings eleven packages that only its other modes need.
"""

import argparse
import math
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from benchmarks.mutants.c_mutate import CMutant, c_mutants
from benchmarks.mutants.interval import wilson

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "firmware" / "core"
HOST = ROOT / "firmware" / "host"
EQUIVALENT = Path(__file__).with_name("c_equivalent.toml")
GUARDS = (
    "activity.c",
    "arming.c",
    "drive_requests.c",
    "guard.c",
    "limits.c",
    "outputs.c",
    "receive.c",
    "refusal.c",
    "session.c",
    "trip.c",
)
TESTS = (
    "tests/firmware/test_guard_limits.py",
    "tests/firmware/test_guard_trip.py",
    "tests/firmware/test_guard_arming.py",
    "tests/firmware/test_guard_requests.py",
    "tests/firmware/test_guard_stops.py",
    "tests/firmware/test_guard_sessions.py",
    "tests/firmware/test_guard_frames.py",
    "tests/firmware/test_guard_interrupts.py",
    "tests/firmware/test_guard_restart.py",
    "tests/firmware/test_guard_drives.py",
    "tests/firmware/test_golden.py",
    "tests/firmware/test_core_boxcheck.py",
    "tests/firmware/test_differential.py",
)
SCRIPTS = "40"
"""Of the differential test."""
LEAST = 0.95
LIMIT_S = 120
"""Of the processor, which a busy machine does not lengthen."""
LONGEST_S = 1800.0
"""On the clock."""
COUNT = 150
TOLD_AFTER = 10
TRAPS = ("-fsanitize=undefined", "-fsanitize-undefined-trap-on-error")
"""An index or a shift beyond its end is noticed, as by the fuzzer's build."""
COMPILE = ("gcc", "-std=c11", "-O1", "-fPIC", *TRAPS, f"-I{CORE}", "-c")


class Bench:
    """The objects of the unchanged core in a folder, into which one mutant at a time is linked."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.texts = {name: (CORE / name).read_text() for name in GUARDS}
        for source in (*CORE.glob("*.c"), HOST / "board.c", HOST / "plant.c"):
            subprocess.run([*COMPILE, source, "-o", folder / f"{source.stem}.o"], check=True)
        self.objects = sorted(folder.glob("*.o"))

    def link(self, mutant: CMutant | None) -> Path:
        """Return a library with this error in it; with None the sound one."""
        name = "sound" if mutant is None else f"{mutant.file}-{mutant.start}-{abs(hash(mutant.after))}"
        place = self.folder / name
        place.mkdir()
        objects = list(self.objects)
        if mutant is not None:
            source = place / mutant.file
            source.write_text(mutant.apply(self.texts[mutant.file]))
            changed = place / f"{source.stem}.o"
            subprocess.run([*COMPILE, source, "-w", "-o", changed], check=True)
            objects = [changed if one.name == changed.name else one for one in objects]
        library = place / "core.so"
        subprocess.run(["gcc", "-shared", "-o", library, *objects, "-lm"], check=True)
        return library


def _test(library: Path, file: str = "") -> int:
    """Run the tests on a library, in this process, those named after a file first; returns pytest's exit code."""
    os.environ["LOOMPROOF_HOST_LIBRARY"] = str(library)
    os.environ["LOOMPROOF_SCRIPTS"] = SCRIPTS
    options = ["-x", "-q", "--no-header", "--tb=line", "-p", "no:cacheprovider", "-p", "no:xdist"]
    return int(
        pytest.main(
            [*options, "--hypothesis-seed=1", *sorted(TESTS, key=lambda test: Path(file).stem not in test)]
        )
    )


def _child(library: Path, file: str) -> int:
    """Fork: the modules that the tests need are there already."""
    if (child := os.fork()) != 0:
        return child
    code = 99
    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S, resource.RLIM_INFINITY))
        log = os.open(library.with_name("log.txt"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(log, 1)
        os.dup2(log, 2)
        code = _test(library, file)
    finally:
        os._exit(code)


def _fate(child: int) -> str:
    """Wait for a child: survived, killed, or a timeout."""
    ends_s = time.monotonic() + LONGEST_S
    while time.monotonic() < ends_s:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            if code in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED, 99):
                raise RuntimeError("the tests could not be run")
            if code == -signal.SIGXCPU:
                return "timeout"
            return "survived" if code == 0 else "killed"
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "timeout"


def try_all(
    mutants: Sequence[CMutant], jobs: int, until_s: float = math.inf
) -> Iterator[tuple[CMutant, str]]:
    """Yield what becomes of each mutant; none is begun after `until_s` of the monotonic clock.

    Raises:
        RuntimeError: the tests fail on the sound core.
    """
    with tempfile.TemporaryDirectory(prefix="c-mutants-") as folder:
        bench = Bench(Path(folder))
        if _test(bench.link(None)) != 0:
            raise RuntimeError("the tests fail on the sound core")

        def attempt(mutant: CMutant) -> tuple[CMutant, str] | None:
            if time.monotonic() >= until_s:
                return None
            library = bench.link(mutant)
            fate = _fate(_child(library, mutant.file))
            shutil.rmtree(library.parent)
            return mutant, fate

        with ThreadPoolExecutor(jobs) as pool:
            yield from (tried for tried in pool.map(attempt, mutants) if tried is not None)


def equivalents(path: Path = EQUIVALENT) -> dict[tuple[str, str, str, str, str], str]:
    """The mutants that change nothing that a test could see, each with its reason."""
    entries = tomllib.loads(path.read_text("utf-8"))["mutant"]
    return {(e["file"], e["function"], e["code"], e["before"], e["after"]): e["why"] for e in entries}


def main(words: Sequence[str] | None = None) -> int:
    """Draw mutants, try them, print the figures; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.mutants.c_guards", description=__doc__.split("\n")[0]
    )
    parser.add_argument("--count", type=int, default=COUNT, help="mutants (default: %(default)d)")
    parser.add_argument("--seed", type=int, default=1, help="of the draw (default: %(default)d)")
    parser.add_argument("--jobs", type=int, default=2, help="trials at a time (default: %(default)d)")
    parser.add_argument("--minutes", type=float, default=math.inf, help="begin no more after so long")
    parser.add_argument("--file", action="append", choices=GUARDS, help="only this file; may be repeated")
    options = parser.parse_args(words)
    known = equivalents()
    files = options.file or GUARDS
    whole = [mutant for name in files for mutant in c_mutants(CORE / name) if mutant.key not in known]
    drawn = random.Random(options.seed).sample(whole, min(options.count, len(whole)))
    print(f"{len(drawn)} of {len(whole)} mutants, seed {options.seed}", flush=True)
    began_s = time.monotonic()
    fates: Counter[str] = Counter()
    for mutant, fate in try_all(drawn, options.jobs, began_s + 60.0 * options.minutes):
        fates[fate] += 1
        if fates.total() % TOLD_AFTER == 0:
            print(f"  {fates.total()} tried, {fates['survived']} survived", flush=True)
        if fate == "survived":
            print(f"  survived: {mutant}", flush=True)
    if (tried := fates.total()) == 0:
        print(f"none was tried in {options.minutes:g} min")
        return 1
    noticed = tried - fates["survived"]
    low, high = wilson(noticed, tried)
    print(
        f"C guards: killed {fates['killed']}, timeout {fates['timeout']}, survived {fates['survived']} "
        f"of {tried}: {noticed / tried:.1%} noticed "
        f"(95 % interval {low:.1%} to {high:.1%}; at least {LEAST:.0%} asked), "
        f"{(time.monotonic() - began_s) / 60:.1f} min"
    )
    return 0 if noticed >= LEAST * tried else 1


if __name__ == "__main__":
    sys.exit(main())
