"""The study of findings on random looms.

    python -m benchmarks.study [--looms 3000] [--first 1000000] [--workers 2] [--joints 2000] [--publish] [--misses FILE]
                              [--kind KIND ...]

Seeds under 100000 were used to tune; the published ones begin at 1000000. `--publish` writes the tables between the
markers of docs/measuring.md. `--kind` draws looms with one fault of these kinds only: to see how often one is found
without waiting for it among all others.
"""

from __future__ import annotations

import argparse
import datetime
import os
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from benchmarks.study import report
from benchmarks.study.joints import measure_joints
from benchmarks.study.run import Outcome, run
from benchmarks.study.tally import Study, first_named, verdict_of
from loomproof.facts.fault_kind import FaultKind

PAGE = Path(__file__).resolve().parents[2] / "docs" / "measuring.md"
BEGIN, END = "<!-- study: begin (python -m benchmarks.study --publish) -->", "<!-- study: end -->"
TUNED_BELOW = 100_000
FIRST = 1_000_000
PORTION = 50


def looms(
    first: int, count: int, workers: int, minutes: float, draw: Callable[[int], Outcome] = run
) -> list[Outcome]:
    """Every outcome, in the order of the seeds, until the time is up."""
    found: list[Outcome] = []
    end = time.monotonic() + 60.0 * minutes
    with ProcessPoolExecutor(workers) as pool:
        for begin in range(first, first + count, PORTION):
            if time.monotonic() > end:
                break
            seeds = range(begin, min(begin + PORTION, first + count))
            found += pool.map(draw, seeds, chunksize=5)
            print(f"{len(found)} looms", file=sys.stderr, flush=True)
    return found


def misses(outcome: Outcome) -> str | None:
    """A line on a loom that did not go as it should."""
    wrong = []
    if outcome.error:
        wrong.append(outcome.error)
    for p in outcome.planted:
        word = verdict_of(outcome, p)
        if p.visible and word != "fail":
            wrong.append(f"{p.kind} {word}")
    if outcome.planted and all(p.visible for p in outcome.planted) and not first_named(outcome, twins=True):
        wrong.append("not named first")
    falsely = {c: w for c, w in outcome.words.items() if w == "fail" and c not in outcome.touched}
    if falsely and all(p.channels for p in outcome.planted):
        wrong.append(f"failed falsely {sorted(falsely)}: " + " / ".join(outcome.reasons[c] for c in falsely))
    if not outcome.planted and outcome.found:
        wrong.append("accused falsely")
    if not wrong:
        return None
    there = ", ".join(
        f"{p.kind}@{p.channels}[{p.severity}{'' if p.visible else ', hidden'}]" for p in outcome.planted
    )
    said = ", ".join(
        f"{f.kind}{''.join('|' + t for t in f.twins)}@{f.channels}({f.likelihood:.2f})" for f in outcome.found
    )
    bad = {c: w for c, w in outcome.words.items() if w != "pass" and c in outcome.touched}
    return f"{outcome.seed} {outcome.board} {outcome.law}: {'; '.join(wrong)} || {there or 'sound'} -> {said} {bad}"


def page(study: Study, trials: int, first: int, seconds: float, kinds: Sequence[str] = ()) -> list[str]:
    """Everything between the markers."""
    reference = Study([o for o in study.outcomes if o.board == "reference"])
    joints = measure_joints(first, trials)
    last = first + len(study.outcomes) - 1
    today = datetime.datetime.now(tz=datetime.UTC).date()
    seen = "among those used to tune" if first < TUNED_BELOW else "none of them used to tune"
    way = "".join(f" --kind {kind}" for kind in kinds) or " --publish"
    lines = [
        f"`python -m benchmarks.study --looms {len(study.outcomes)} --first {first} --joints {trials}{way}`, {today}: "
        f"{len(study.whole)} looms ({len(study.sound)} without a fault, {len(study.with_faults(1))} with one, "
        f"{len(study.with_faults(2))} with two), {sum(len(o.words) for o in study.whole)} channels; seeds {first} to {last}, "
        f"{seen} (those lie under {TUNED_BELOW}); {joints.trials} trials for each joint.",
        "",
        *report.goals(study, joints, reference),
        "",
        *report.extras(study),
        "",
        "Is a likelihood what it says? Looms with at most one fault; a finding counts where it names the fault by itself:",
        "",
        *report.reliabilities(study),
        "",
        "The smallest joint that is still seen, on the sound looms: what would have to be added to the value measured:",
        "",
        *report.joints_seen(study),
        "",
        "Detection by kind and severity (faults of single and double looms; naming only where the fault was alone):",
        "",
        *report.detection(study),
        "",
        "Confusion: what was there, what was named first (single faults):",
        "",
        *report.confusions(study),
    ]
    print(f"{len(study.outcomes)} looms in {seconds:.0f} s", file=sys.stderr)
    return lines


def publish(lines: list[str]) -> None:
    """Writes the lines between the markers of the page."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    PAGE.write_text(f"{before}{BEGIN}\n" + "\n".join(lines) + f"\n{END}{after}", encoding="utf-8")


def main() -> int:
    """Runs the study; exit code 1 when a loom broke the program."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--looms", type=int, default=3000)
    parser.add_argument(
        "--first", type=int, default=FIRST, help=f"first seed; those under {TUNED_BELOW} tuned"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--joints", type=int, default=2000, help="trials of each bad-joint curve")
    parser.add_argument("--minutes", type=float, default=1e6, help="stop drawing looms after so long")
    parser.add_argument("--publish", action="store_true", help="write the tables into docs/measuring.md")
    parser.add_argument("--misses", type=Path, help="write a line on each loom that did not go as it should")
    kinds = [str(kind) for kind in FaultKind]
    parser.add_argument("--kind", action="append", choices=kinds, help="one fault of this kind in each loom")
    given = parser.parse_args()
    if given.kind and given.publish:
        parser.error("--publish is for looms with faults of every kind: leave --kind out")
    draw = partial(run, faults=1, kinds=tuple(given.kind)) if given.kind else run
    begin = time.perf_counter()
    study = Study(looms(given.first, given.looms, given.workers, given.minutes, draw))
    lines = page(study, given.joints, given.first, time.perf_counter() - begin, given.kind or ())
    print("\n".join(lines))
    if given.misses:
        found = [line for o in study.outcomes if (line := misses(o)) is not None]
        given.misses.write_text("\n".join(found) + "\n", encoding="utf-8")
    if given.publish:
        publish(lines)
    return 1 if study.broken else 0


if __name__ == "__main__":
    sys.exit(main())
