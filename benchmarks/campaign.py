"""The long studies: `make campaign`. Fault matrix, differential test, fuzzing; about two hours on two cores.

LOOMPROOF_FUZZ_SECONDS sets how long the firmware's core is fuzzed (default 3600), LOOMPROOF_SCRIPTS how many random
scripts both boxes are given (default 100000).
"""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FUZZ_SECONDS = os.environ.get("LOOMPROOF_FUZZ_SECONDS", "3600")
SCRIPTS = os.environ.get("LOOMPROOF_SCRIPTS", "100000")
STUDIES = {
    "findings on 3000 random looms": ([sys.executable, "-m", "benchmarks.study", "--looms", "3000"], {}),
    "fault matrix, three seeds": (
        [sys.executable, str(Path(__file__).with_name("fault_matrix.py")), "--seeds", "3"],
        {},
    ),
    f"core and Python box on {SCRIPTS} scripts": (
        [sys.executable, "-m", "pytest", "-q", "--timeout", "0", "tests/firmware/test_differential.py"],
        {"LOOMPROOF_SCRIPTS": SCRIPTS},
    ),
    f"core fuzzed for {FUZZ_SECONDS} s": (
        ["make", "-C", "firmware/host", "fuzz", f"SECONDS={FUZZ_SECONDS}"],
        {},
    ),
}

failed = []
for title, (command, settings) in STUDIES.items():
    print(f"== {title}", flush=True)
    if subprocess.call(command, cwd=ROOT, env=os.environ | settings):
        failed.append(title)
print("failed: " + ", ".join(failed) if failed else "all held")
sys.exit(bool(failed))
