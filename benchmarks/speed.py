"""How fast the parts are, each as a ratio to something plain measured in the same run.

usage: python -m benchmarks.speed   (called by python -m benchmarks)
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
from rich.console import Console
from rich.table import Table
from scipy.optimize import curve_fit

from loomproof.box.connect import connect
from loomproof.facts.trace import Trace
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure
from loomproof_sim.named_boxes import forget

EXAMPLE = Path(__file__).parents[1] / "examples" / "bench-relays-lamps-stepper.toml"
Row = tuple[str, str, str]


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median time of one call, after one to warm up."""
    work()
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return median(times)


def winding_trace() -> Trace:
    """A still winding of 42 ohm and 60 mH at 13.5 V: 300 samples of 26 us, 0.5 mA of noise."""
    time_s = np.arange(300, dtype=np.float64) * 26e-6
    clean = 13.5 / 42.0 * (1.0 - np.exp(-time_s * 42.0 / 0.06))
    current = clean + np.random.default_rng(1).normal(0.0, 5e-4, time_s.size)
    return Trace(
        channel=1,
        time_s=time_s,
        current_a=current,
        current_u_a=np.full(time_s.size, 5e-4),
        supply_v=np.full(time_s.size, 13.5),
        drain_v=np.zeros(time_s.size),
        on_time_s=300 * 26e-6,
        sample_period_s=26e-6,
        pulse_index=0,
        truncated=False,
        tripped=False,
        clipped=False,
        gain_u_relative=0.002,
    )


def signature_against_curve_fit() -> Row:
    """One signature with its uncertainty, against a bare least-squares fit of two parameters."""
    trace = winding_trace()
    load = CATALOGUE["stepper_idle"]
    ours = seconds(lambda: measure([trace], load), 50)

    def model(t: np.ndarray, resistance: float, inductance: float) -> np.ndarray:
        return 13.5 / resistance * (1.0 - np.exp(-t * resistance / inductance))

    fit = seconds(lambda: curve_fit(model, trace.time_s, trace.current_a, p0=(30.0, 0.03)), 50)
    return (
        "signature of a winding",
        f"{fit / ours:.2f} x",
        "speed against scipy curve_fit on the same trace",
    )


def virtual_time() -> Row:
    """How much simulated time passes in a second of this machine while nothing is driven."""
    forget("speed")
    box = connect(f"sim://{EXAMPLE}?clock=virtual&name=speed", auto_call_in=True)
    try:
        real = seconds(lambda: box.sleep(10.0), 5)
    finally:
        box.close()
        forget("speed")
    return ("simulated box, idle", f"{10.0 / real:.0f} x", "virtual time against real time")


def whole_run() -> Row:
    """A whole run sheet with record and report, against the box's own time."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "loomproof.cli.app", "prove", str(EXAMPLE), "--box", "sim://"]
        command += ["--operator", "simulated", "--quiet", "--out", folder]
        bare = seconds(lambda: subprocess.run([sys.executable, "-c", "import scipy"], check=True), 3)
        began = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        spent = time.perf_counter() - began
    what = f"against starting Python with scipy; exit code {done.returncode}"
    return ("prove, bench example, whole", f"{spent / bare:.0f} x", what)


def command_start() -> Row:
    """`loomproof --help` against a bare interpreter."""
    bare = seconds(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True), 5)
    ours = seconds(
        lambda: subprocess.run(
            [sys.executable, "-m", "loomproof.cli.app", "--help"], capture_output=True, check=True
        ),
        5,
    )
    return ("loomproof --help", f"{ours / bare:.1f} x", "time against starting a bare interpreter")


def main() -> int:
    """Measure and print."""
    table = Table("what", "ratio", "of what")
    for measured in (signature_against_curve_fit, virtual_time, command_start, whole_run):
        table.add_row(*measured())
    Console().print(table)
    return 0


if __name__ == "__main__":
    sys.exit(main())
