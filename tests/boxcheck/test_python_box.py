"""The simulated box keeps every guarantee, exactly, on three boards; and over a pty in real time."""

import subprocess
import sys
from pathlib import Path

import pytest

from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import open_line
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.run import run_suite
from loomproof.boxcheck.subjects import Subject, Subjects
from loomproof_wire.messages import Refusal

NOT_ON = {
    "reference": {"no-such-channel"},
    "twelve_bit": {"no-such-channel"},
    "four": {"bridge-drives", "own-ceilings-kept"},
}
"""What a board cannot show: 16 channels leave none to miss; four low-side ones no bridge, no logic."""


@pytest.mark.parametrize("board", NOT_ON)
def test_the_simulated_box_keeps_every_guarantee(make_python_box, board):
    results = run_suite(make_python_box(board))
    assert len(results) == len(CASES)
    broken = {result.case.key: result.text for result in results if result.outcome is Outcome.BROKEN}
    assert broken == {}
    assert {result.case.key for result in results if result.outcome is Outcome.NOT_RUN} == NOT_ON[board]


REAL_TIME = (
    "starts-empty",
    "no-session-no-service",
    "other-version-refused",
    "new-session-drops-all",
    "corrupt-frame-dropped",
    "oversize-frame-dropped",
    "bytes-in-any-grouping",
    "repeat-answered-not-executed",
    "stale-dropped",
    "stop-stops",
    "stop-before-reply",
    "heartbeat-loss-stops",
    "heartbeat-of-this-session",
    "cancel-ends-a-drive",
    "configuration-read-back",
    "ceilings-not-raised",
    "needs-its-class",
    "arming-expires",
    "pump-drops-fuel",
    "train-limits",
    "one-channel-at-a-time",
    "trip-latches",
    "train-delivered",
    "silence-ends-a-train",
    "trace-in-chunks",
    "scan-reads",
)
"""A part of the suite that is quick over a real line."""


@pytest.fixture
def served_on_a_pty():
    server = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "loomproof_sim",
            "serve",
            "--pty",
            "--job",
            "examples/bench-relays-lamps-stepper.toml",
        ],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    ready = server.stdout.readline()
    assert ready.startswith("ready "), ready
    yield ready.split()[1]
    server.kill()
    server.wait(10)
    server.stdout.close()


def test_the_simulated_box_keeps_them_over_a_pty_in_real_time(served_on_a_pty):
    line = open_line(served_on_a_pty)
    fixture = Fixture(line, Subjects(tuple(Subject(n) for n in (1, 2))))
    cases = tuple(case for case in CASES if case.key in REAL_TIME)
    assert len(cases) == len(REAL_TIME)
    results = run_suite(fixture, cases)
    line.close()
    assert {r.case.key: r.text for r in results if r.outcome is not Outcome.KEPT} == {}


def test_every_refusal_reason_has_a_case():
    provoked = frozenset().union(*(case.refusals for case in CASES))
    assert set(Refusal) - provoked == set()


def test_every_case_can_be_acted_on():
    page = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text()
    keys = [case.key for case in CASES]
    assert len(set(keys)) == len(keys)
    for case in CASES:
        assert f"\n## {case.rule}\n" in page, f"{case.key} names no heading of the protocol page: {case.rule}"
        assert len(case.guarantee) > 20, case.key
        assert len(case.mend) > 20, case.key
    assert len(NOT_FROM_OUTSIDE) >= 4


def test_nothing_is_driven_without_a_harmless_channel(make_python_box):
    fixture = make_python_box()
    fixture.subjects = Subjects()
    switched = []
    outputs = fixture.line.port.sim.controller.outputs
    original = outputs.set
    outputs.set = lambda *args: (switched.append(args), original(*args))
    results = run_suite(fixture)
    assert switched == []
    assert {r.case.key: r.text for r in results if r.outcome is Outcome.BROKEN} == {}
    assert sum(r.outcome is Outcome.KEPT for r in results) >= 15


def test_the_suite_leaves_the_box_stopped_whatever_happens(make_python_box):
    fixture = make_python_box()

    def quit_in_a_drive(result):
        fixture.accepted(fixture.hold())
        raise KeyboardInterrupt

    first_case = [case for case in CASES if case.key == "hello-again-changes-nothing"]

    def begin(result):
        fixture.fresh()
        quit_in_a_drive(result)

    with pytest.raises(KeyboardInterrupt):
        run_suite(fixture, first_case, begin)
    sim = fixture.line.port.sim
    with sim as controller:
        assert controller.latch.stopped
        assert not controller.outputs.any_on


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda hands: hands.stop_input(True), "release the stop button"),
        (lambda hands: hands.supply(False), "12 V"),
    ],
    ids=["stop button pressed", "no supply"],
)
def test_a_bench_that_is_not_ready_is_not_called_a_broken_box(make_python_box, act, says):
    fixture = make_python_box()
    act(fixture.attendant.hands)
    results = run_suite(fixture)
    assert {r.case.key: r.text for r in results if r.outcome is Outcome.BROKEN} == {}
    assert {r.case.key for r in results if says in r.text} >= {
        "stop-stops",
        "arming-expires",
        "train-delivered",
    }
