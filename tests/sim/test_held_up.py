"""A box in a busy process: held up with its reader it runs slow; without a reader its time passes in full."""

import time

import pytest

from loomproof_sim.box import HELD_UP_NS
from loomproof_sim.scenario import build_box, scenario_from_query


@pytest.fixture
def passing(monkeypatch):
    """The machine's clock, moved by hand."""
    now = [1_000_000_000]
    monkeypatch.setattr(time, "monotonic_ns", lambda: now[0])

    def let(nanoseconds: int) -> None:
        now[0] += nanoseconds

    return let


@pytest.fixture
def box(passing):
    return build_box(scenario_from_query("", [("clock", "real")]))


def test_a_reader_held_up_holds_the_box_up(box, passing):
    box.read(1, 0)
    before = box.controller.now_ns
    passing(5_000_000_000)
    box.read(1, 0)
    assert box.controller.now_ns - before == HELD_UP_NS


def test_short_delays_pass_in_full(box, passing):
    box.read(1, 0)
    before = box.controller.now_ns
    for _ in range(10):
        passing(HELD_UP_NS)
        box.read(1, 0)
    assert box.controller.now_ns - before == 10 * HELD_UP_NS


def test_with_nobody_reading_time_passes_in_full(box, passing):
    box.read(1, 0)
    box.cancel_read()
    before = box.controller.now_ns
    passing(5_000_000_000)
    box.waiting()
    assert box.controller.now_ns - before == 5_000_000_000
