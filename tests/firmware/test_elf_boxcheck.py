"""The conformance suite of `loomproof box-check` on the unmodified firmware of both boards, in simulated time."""

import pytest

from loomproof.boxcheck.catalogue import CASES
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import RawLine
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.requests import Tolerance
from loomproof.boxcheck.run import run_suite
from loomproof.boxcheck.subjects import Subject, Subjects
from loomproof_cosim.boards import BOARDS
from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.scenario import make_scenario
from testbed.checkboard import LOADS, MORE, SimPort, SimulatedHands, job_of

BOOT_S = 0.02
LATE = Tolerance(box_ms=1, line_ms=5, patience_ms=1)
"""The box acts on its millisecond; a frame takes its time on the line (telemetry: 1.7 ms at 250000 baud)."""
NOT_ON = {"atmega2560": {"no-such-channel"}, "atmega328p": {"bridge-drives", "own-ceilings-kept"}}
"""Sixteen channels leave none to miss; four low-side ones have no bridge and no logic output."""
SHARES = 2
"""The suite in parts of like length, each on a box of its own, so that two workers share the work."""


@pytest.fixture
def make_bench(built):

    boxes = []

    def make(part):
        board = BOARDS[part]
        job = job_of(LOADS if board.channel_count == 4 else LOADS | MORE)
        box = build_elf_box(make_scenario({"clock": "virtual"}), built / f"loomproof-{part}.elf", board, job)
        box.run_for(BOOT_S)
        boxes.append(box)
        bridge = (6, 7) if board.uppers else None
        subjects = Subjects(tuple(Subject(channel) for channel in LOADS), bridge)
        return Fixture(RawLine(SimPort(box)), subjects, SimulatedHands(box.hands), LATE)

    yield make
    for box in boxes:
        counters = box.controller.part.counters
        box.controller.part.close()
        assert (counters.rx_overruns, counters.tx_lost, counters.resets, counters.halted) == (0, 0, 0, 0)


@pytest.mark.parametrize("share", range(SHARES))
@pytest.mark.parametrize("part", NOT_ON)
def test_the_firmware_keeps_every_guarantee(make_bench, part, share):
    cases = CASES[share::SHARES]
    results = run_suite(make_bench(part), cases)
    assert {r.case.key: r.text for r in results if r.outcome is Outcome.BROKEN} == {}
    not_run = {r.case.key for r in results if r.outcome is Outcome.NOT_RUN}
    assert not_run == NOT_ON[part] & {case.key for case in cases}
    assert len(results) == len(cases)
