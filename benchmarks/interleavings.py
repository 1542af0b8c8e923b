"""Searches for an interleaving of frames, interrupts and hands that breaks a rule; prints the shortest way to it.

    python -m benchmarks.interleavings [--box core|python|elf] [--steps 10000000] [--seed N] [--kept FILE]

The steps are walked in stretches of their own seeds, one after another. With --kept the file holds how far it came, and
a run that was interrupted goes on from there. Exit code 1 when a rule was broken; the file then holds the steps, too.
The rules are in `testbed/interleave/watcher.py`.
"""

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path

from testbed.interleave.boxes import PythonBox, SearchedBox
from testbed.interleave.core_box import CoreBox
from testbed.interleave.elf_box import ElfBox
from testbed.interleave.player import Tally, search

ROOT = Path(__file__).resolve().parents[1]
STRETCH = {"core": 50_000, "python": 10_000, "elf": 600}
"""Steps under one seed."""
STEPS = 10_000_000


def _core() -> SearchedBox:
    subprocess.run(("make", "-s", "-C", str(ROOT / "firmware" / "host")), check=True)
    return CoreBox(ROOT / "build" / "firmware" / "host" / "libloomproof_host.so")


def _elf() -> SearchedBox:
    subprocess.run(("make", "-s", "-C", str(ROOT / "firmware")), check=True)
    return ElfBox(ROOT / "build" / "firmware" / "loomproof-atmega2560.elf")


BOXES: dict[str, Callable[[], SearchedBox]] = {"core": _core, "python": PythonBox, "elf": _elf}


def _arguments(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.interleavings", description=__doc__.split("\n")[0]
    )
    parser.add_argument(
        "--box", choices=sorted(BOXES), default="core", help="which box (default: %(default)s)"
    )
    parser.add_argument("--steps", type=int, default=STEPS, help="how many (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="of the first stretch (default: %(default)s)")
    parser.add_argument("--kept", type=Path, help="file of how far it came, to go on from")
    return parser.parse_args(words)


def _came_to(kept: Path | None, seed: int) -> tuple[int, Tally]:
    if kept is None or not kept.is_file():
        return seed, Tally()
    held = json.loads(kept.read_text(encoding="utf-8"))
    return int(held["next_seed"]), Tally(**held["tally"])


def _keep(kept: Path | None, next_seed: int, tally: Tally, found: str = "") -> None:
    if kept is not None:
        held = {"next_seed": next_seed, "tally": asdict(tally), "found": found}
        kept.write_text(json.dumps(held, indent=1), encoding="utf-8")


def main(words: Sequence[str] | None = None) -> int:
    """Search; return the exit code."""
    options = _arguments(words)
    seed, tally = _came_to(options.kept, options.seed)
    box, began_s = BOXES[options.box](), time.monotonic()
    while tally.steps < options.steps:
        stretch = min(STRETCH[options.box], options.steps - tally.steps)
        found = search(box, seed, stretch, tally)
        if found is not None:
            _keep(options.kept, seed, tally, str(found))
            print(f"{options.box}, seed {seed}: {found}")
            return 1
        seed += 1
        _keep(options.kept, seed, tally)
    print(
        f"{options.box}: {tally.steps} steps, {tally.accepted} requests accepted, {tally.energised} times something with "
        f"a hazard switched on, {tally.resets} resets, no rule broken; {time.monotonic() - began_s:.0f} s"
    )
    return 0 if tally.energised else 1


if __name__ == "__main__":
    sys.exit(main())
