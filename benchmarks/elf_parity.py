"""The real firmware against the simulated box: the same looms proven on both, verdict by verdict.

    .venv/bin/python -m benchmarks.elf_parity [JOB...] [--paced] [--seeds N] [--faulty]
                                         [--looms 5]

Virtual time repeats to the byte. `--paced` serves the firmware on a pseudo-terminal in real time as well, as a person would
drive it, and prints whether the simulation kept pace. Bytes lost on the line, resets and a program that ended fail it, and
so does a channel on which the boxes disagree.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from loomproof_cosim.parity import (
    Loom,
    Proof,
    differences,
    prove_firmware,
    prove_served,
    prove_simulated,
)

ROOT = Path(__file__).resolve().parents[1]
ELF = ROOT / "build" / "firmware" / "loomproof-atmega2560.elf"
JOBS = (
    ROOT / "firmware_sim" / "loomproof_sim" / "builtin_job.toml",
    *sorted((ROOT / "examples").glob("*.toml")),
)
FAULTS = {
    "builtin_job": ("open:5", "swapped:1:2", "short_to_ground:6"),
    "bench-relays-lamps-stepper": ("open:1", "swapped:5:9", "short_across_load:12"),
    "boat-four-wasted-spark": ("stuck_armature:1", "added_resistance:2:4"),
    "classroom-vee-six": ("open:2", "short_to_ground:15"),
    "inline-five-turbo": ("swapped:1:3", "open:11", "suppression_missing:14"),
}


@dataclass
class Tally:
    """What has come of all runs so far."""

    channels: Counter[str] = field(default_factory=Counter)
    apart: Counter[str] = field(default_factory=Counter)
    mishaps: Counter[str] = field(default_factory=Counter)
    unfinished: list[str] = field(default_factory=list)

    def take(self, way: str, loom: Loom, reference: Proof, proof: Proof) -> None:
        """Count one run and print its line."""
        apart = differences(reference, proof)
        self.channels[way] += len(reference.verdicts)
        self.apart[way] += len(apart)
        self.mishaps.update(proof.mishaps)
        verdicts = Counter(str(verdict) for verdict in proof.verdicts.values())
        summary = ", ".join(f"{count} {word}" for word, count in sorted(verdicts.items()))
        bad = ", ".join(f"{count} {name}" for name, count in proof.mishaps.items() if count) or "none"
        what = " ".join(loom.faults) or "sound"
        pace = proof.box_s / proof.machine_s
        print(
            f"{loom.job.stem:27} {loom.seed:4} {way:8} {len(apart):5} of {len(reference.verdicts):2} "
            f"{pace:6.1f} x {bad:22} {summary}; {what}",
            flush=True,
        )
        for difference in apart:
            print("  " + str(difference).replace("\n", "\n  "))
        if proof.unfinished != reference.unfinished:
            self.unfinished.extend(proof.unfinished)
            print("  other ends of steps: " + ("; ".join(proof.unfinished) or "none"))


def looms(jobs: list[Path], seeds: range, *, faulty: bool) -> list[Loom]:
    """Every loom to be proven."""
    made = []
    for job in jobs:
        for seed in seeds:
            made.append(Loom(job, (), seed))
            if faulty and job.stem in FAULTS:
                made.append(Loom(job, FAULTS[job.stem], seed))
    return made


def main() -> int:
    """Prove them all; returns how many channels the boxes disagree on, mishaps included."""
    parser = argparse.ArgumentParser(description="Prove looms on the simulated box and on the firmware.")
    parser.add_argument(
        "jobs", nargs="*", type=Path, help="Job files; unsaid: the built-in one and all examples."
    )
    parser.add_argument("--paced", action="store_true", help="Also over a pseudo-terminal in real time.")
    parser.add_argument("--seeds", type=int, default=1, help="How many looms are drawn from each job.")
    parser.add_argument("--first", type=int, default=0, help="The first of the seeds.")
    parser.add_argument("--looms", type=int, help="Draw so many of them, --first is the seed; unsaid: all.")
    parser.add_argument("--faulty", action="store_true", help="Also with faults.")
    parser.add_argument("--elf", type=Path, default=ELF, help="The firmware.")
    asked = parser.parse_args()
    if asked.elf == ELF:
        subprocess.run(["make", "-s", "-C", str(ROOT / "firmware"), "all"], check=True)
    tally = Tally()
    print(f"{'job':27} {'seed':>4} {'time':8} {'apart':>11} {'pace':>8} {'mishaps':22} verdicts; loom")
    seeds = range(asked.first, asked.first + asked.seeds)
    chosen = looms(asked.jobs or list(JOBS), seeds, faulty=asked.faulty)
    if asked.looms is not None and asked.looms < len(chosen):
        chosen = random.Random(asked.first).sample(chosen, asked.looms)
    for loom in chosen:
        reference = prove_simulated(loom)
        tally.take("virtual", loom, reference, prove_firmware(loom, asked.elf))
        if asked.paced:
            tally.take("paced", loom, reference, prove_served(loom, asked.elf))
    for way, count in tally.channels.items():
        print(f"{way}: {count - tally.apart[way]} of {count} channels judged alike")
    mishaps = sum(tally.mishaps.values())
    print(f"mishaps of the firmware: {mishaps}")
    return sum(tally.apart.values()) + mishaps


if __name__ == "__main__":
    sys.exit(min(main(), 1))
