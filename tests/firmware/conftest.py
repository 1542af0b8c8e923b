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


def make(tmp_path_factory, *targets: str) -> Path:
    """Build; one worker does, the others wait for it."""
    lock = tmp_path_factory.getbasetemp().parent / "firmware.lock"
    run("flock", str(lock), "make", "-s", "-C", "firmware", *targets)
    return ROOT / "build" / "firmware"


@pytest.fixture(scope="session")
def shim(tmp_path_factory):
    """Where the shim is."""
    return make(tmp_path_factory, "shim")


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """Where the shim and the firmware of both boards are."""
    return make(tmp_path_factory)
