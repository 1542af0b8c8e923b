"""Builds what the firmware tests run, once; a missing compiler or library makes them fail."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))  # hostbox; import mode importlib does not add it

from core_types import typed
from hostbox import HostBox
from hostconsole import HostConsole

from testbed.firmware import ROOT, run


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


@pytest.fixture(scope="session")
def guarded():
    """A core compiled for this computer, to be called function by function."""
    made = HostBox()
    typed(made.core)
    return made


@pytest.fixture(autouse=True)
def interrupts_come_back(request):
    """Each call of the core that holds the interrupts off lets them in again before it returns."""
    yield
    if "guarded" in request.fixturenames:
        assert not request.getfixturevalue("guarded").core.host_held_off()


@pytest.fixture
def console(guarded):
    """A console in a session with a fresh box, heartbeats begun."""
    made = HostConsole(guarded)
    made.greet()
    return made
