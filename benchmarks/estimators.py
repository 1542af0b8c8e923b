"""How far off the estimators are, how often a sound loom is accused, and how long a trace takes.

    python -m benchmarks.estimators [--seeds 10] [--first 1000]

Traces come from the simulated plant through the reference board's read-back; the truth is the plant's own data. Ratios
only: no wall-clock figure is asserted.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit
from scipy.stats import binomtest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.verdict import Verdict
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import load_job
from loomproof.measure.motion.stroke import stroke_patterns
from loomproof.measure.rise.resistance import resistance_inductance
from loomproof.measure.signature import measure_one
from loomproof.measure.trace.source import look_at_source
from loomproof_sim.plant.materials import copper_factor
from loomproof_sim.plant.spec import IgniterSpec, LampSpec, LogicInputSpec, WoundSpec
from testbed.loombench import LoomBench

ROOT = Path(__file__).resolve().parents[1]
JOBS = ("inline-five-turbo", "boat-four-wasted-spark", "bench-relays-lamps-stepper", "classroom-vee-six")


def truth(lab: LoomBench, channel: int) -> tuple[float, float | None]:
    """Resistance as the box sees it, and inductance at rest."""
    loom = lab.plant.loom
    branch = loom.branch(channel)
    load = branch.load
    factor = copper_factor(loom.temperature_c)
    feed = sum(f.resistance_ohm for f in loom.feeds if f.id == branch.feed_id)
    wire = branch.wire_ohm * factor
    if isinstance(load, IgniterSpec | LogicInputSpec):
        return load.input_ohm + wire, None
    if isinstance(load, LampSpec):
        assert load.resistance_ohm is not None
        return load.resistance_ohm + wire + feed, None
    assert isinstance(load, WoundSpec)
    ohm = load.resistance_ohm * (1.0 + load.temperature_coefficient_per_k * (loom.temperature_c - 20.0))
    beside = load.suppression
    if beside.kind == "resistor":
        ohm = ohm * beside.ohm / (ohm + beside.ohm)
    return ohm + wire + feed, load.inductance_h


def estimators(seeds: range) -> None:
    """Error against the truth, per load type, beside the stated uncertainty."""
    rows: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for name in JOBS:
        job = load_job(ROOT / "examples" / f"{name}.toml")
        for seed in seeds:
            lab = LoomBench(job, seed=seed)
            for item in job.channels:
                if not item.fitted or item.partner is not None:
                    continue
                load = job.load_type(item.channel)
                ohm, henry = truth(lab, item.channel)
                for trace in lab.traces(item.channel)[:1]:
                    got = measure_one(trace, load)
                    for label, seen, due in (("R", got.resistance_ohm, ohm), ("L", got.inductance_h, henry)):
                        if seen is not None and due:
                            row = (seen.value / due - 1.0, seen.relative, (seen.value - due) / seen.u)
                            rows[f"{load.key:16s} {label}"].append(row)
    print("| load | n | error rms % | worst % | stated u % | z rms |\n|---|---|---|---|---|---|")
    for key in sorted(rows):
        table = np.array(rows[key])
        error, u, z = table.T
        print(
            f"| {key} | {len(table)} | {100 * np.sqrt(np.mean(error**2)):.2f} | {100 * np.abs(error).max():.2f} "
            f"| {100 * u.mean():.2f} | {np.sqrt(np.mean(z**2)):.2f} |"
        )


def false_alarms(seeds: range) -> None:
    """Sound looms and channels that are failed, doubted or given a finding."""
    looms = accused = channels = failed = doubted = 0
    for name in JOBS:
        job = load_job(ROOT / "examples" / f"{name}.toml")
        for seed in seeds:
            lab = LoomBench(job, seed=seed)
            evidence = lab.evidence()
            verdicts = judge(job, evidence)
            worst = {c.channel: {v.verdict for v in verdicts if v.channel == c.channel} for c in job.channels}
            fails = [c for c, said in worst.items() if Verdict.FAIL in said]
            doubts = [c for c, said in worst.items() if Verdict.UNSURE in said and Verdict.FAIL not in said]
            looms, channels = looms + 1, channels + sum(c.fitted for c in job.channels)
            failed, doubted = failed + len(fails), doubted + len(doubts)
            accused += bool(fails or find(job, evidence, verdicts))
    for words, hits, total in (
        ("sound looms accused", accused, looms),
        ("sound channels failed", failed, channels),
        ("sound channels doubted", doubted, channels),
    ):
        interval = binomtest(hits, total).proportion_ci(method="wilson")
        print(f"{words}: {hits} of {total} (95 % {interval.low:.4f} to {interval.high:.4f}, Wilson)")


def rise(t: np.ndarray, amplitude: float, tau: float) -> np.ndarray:
    """A plain rise."""
    return amplitude * (1.0 - np.exp(-t / tau))


def moving_rise(t: np.ndarray, amplitude: float, tau: float, stroke: float, landing: float) -> np.ndarray:
    """A rise with a landing in it: what a signature answers, as one model."""
    plain = rise(t, amplitude, tau)
    return plain + stroke * stroke_patterns(t, plain, tau, np.array([landing]))[:, 0]


def least_us(work: Callable[[], object], runs: int = 200) -> float:
    """Least time of one call in us: what else the machine does only adds."""
    work()
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return 1e6 * min(times)


def speed() -> None:
    """A whole signature, its verdict and the bare fit, against curve_fit on the same samples in the same run."""
    job = load_job(ROOT / "examples" / f"{JOBS[0]}.toml")
    lab = LoomBench(job, seed=1)
    evidence = lab.evidence()
    verdict_us = least_us(lambda: judge(job, evidence), 20) / len(evidence.channels)
    load, trace = job.load_type(1), lab.traces(1)[0]
    still = CATALOGUE["stepper_idle"]
    on = trace.on
    t, i, u = trace.time_s[on], trace.current_a[on], trace.current_u_a[on]
    # A copy each time: a trace keeps what it once worked out.
    signature_us = least_us(lambda: measure_one(replace(trace), load))
    still_us = least_us(lambda: measure_one(replace(trace), still))
    source = look_at_source(trace)
    fit_us = least_us(lambda: resistance_inductance(replace(trace), source))
    plain_us = least_us(lambda: curve_fit(rise, t, i, p0=(1.0, 1e-3), sigma=u, absolute_sigma=True))
    start = (1.0, 1e-3, 0.1, 1.5e-3)
    moving_us = least_us(lambda: curve_fit(moving_rise, t, i, p0=start, sigma=u, absolute_sigma=True), 20)
    once_us = least_us(lambda: rise(t, 1.0, 1e-3))
    print(
        f"\ninjector, {t.size} samples; curve_fit of a plain rise {plain_us:.0f} us, of a rise with a landing "
        f"{moving_us:.0f} us, the plain model once {once_us:.1f} us"
    )
    print("what | us | faster than curve_fit, plain rise | than curve_fit, rise with a landing")
    for words, spent in (
        ("R and L with uncertainty", fit_us),
        ("whole signature of a still winding", still_us),
        ("whole signature with motion", signature_us),
        ("verdicts of one channel", verdict_us),
        ("whole signature with motion, and verdicts", signature_us + verdict_us),
    ):
        print(f"{words} | {spent:.0f} | {plain_us / spent:.2f} x | {moving_us / spent:.1f} x")


def main() -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=10, help="looms of each example job")
    parser.add_argument(
        "--first", type=int, default=1000, help="first seed; those under 1000 were used to tune"
    )
    given = parser.parse_args()
    seeds = range(given.first, given.first + given.seeds)
    estimators(seeds)
    false_alarms(seeds)
    speed()


if __name__ == "__main__":
    main()
