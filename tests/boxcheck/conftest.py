"""Boxes to check: the simulated one in virtual time, as boards of several sizes."""

from dataclasses import replace

import pytest

from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import RawLine
from loomproof.boxcheck.requests import Tolerance
from loomproof.boxcheck.subjects import Subject, Subjects
from loomproof_sim.box import SimBox
from loomproof_sim.clocks import VirtualClock
from loomproof_sim.controller.controller import Controller
from loomproof_sim.hands.local import SimHands
from loomproof_sim.loom import channel_kinds
from loomproof_sim.plant.plant import Plant
from loomproof_sim.profiles import PROFILES, REFERENCE
from loomproof_sim.scenario import build_loom, make_scenario
from testbed.checkboard import LOADS, MORE, SimPort, SimulatedHands, job_of


def python_box(board="reference"):
    """Return a fixture with a simulated box; `board` may be "four", one of four channels."""
    profile = (
        replace(REFERENCE, board="four channels", channel_count=4) if board == "four" else PROFILES[board]
    )
    loads = LOADS if board == "four" else LOADS | MORE
    job = job_of(loads)
    plant = Plant(build_loom(job, make_scenario({"seed": 3})), seed=3)
    controller = Controller(plant, profile, kinds=channel_kinds(job), seed=3)
    sim = SimBox(controller, VirtualClock())
    sim.hands = SimHands(sim, plant, job, {channel: channel for channel in loads})
    sim.plant = plant
    subjects = Subjects(tuple(Subject(n) for n in LOADS), None if board == "four" else (6, 7))
    # Nothing in a simulated box is ever late: times are checked exactly.
    return Fixture(RawLine(SimPort(sim)), subjects, SimulatedHands(sim.hands), Tolerance(0, 0, 0))


@pytest.fixture(scope="session")
def make_python_box():
    return python_box
