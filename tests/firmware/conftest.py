"""Builds what the firmware tests run, once; a missing compiler or library makes them fail."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "firmware" / "cosim"))


def run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"
    return done.stdout


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """Where the firmware and the shim are. One worker builds, the others wait for it."""
    lock = tmp_path_factory.getbasetemp().parent / "firmware.lock"
    run("flock", str(lock), "make", "-s", "-C", "firmware")
    return ROOT / "build" / "firmware"
