"""Full collections are made at rest, seldom at work, and by nobody else."""

from __future__ import annotations

import gc
import weakref
from collections.abc import Iterator

import pytest

from loomproof.tui.garbage import ASIDE_S, FIRST_S, NEVER, SWEEP_S, Sweeper


class Ring:
    """Garbage that only the collector can find: it holds itself."""

    def __init__(self) -> None:
        self.me = self


class Clock:
    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def old_garbage() -> weakref.ref[Ring]:
    """Return a dead ring that has reached the oldest generation, where only a full collection looks."""
    ring = Ring()
    gc.collect(0)
    gc.collect(1)
    return weakref.ref(ring)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def sweeper(clock: Clock) -> Iterator[Sweeper]:
    before = gc.get_threshold()
    sweeper = Sweeper(clock)
    sweeper.begin()
    yield sweeper
    sweeper.end()
    assert gc.get_threshold() == before
    assert gc.get_freeze_count() == 0


def test_the_interpreter_makes_no_full_collection_itself(sweeper: Sweeper) -> None:
    assert gc.get_threshold()[2] == NEVER


@pytest.mark.parametrize(("working", "due_s"), [(False, FIRST_S), (True, SWEEP_S)])
def test_a_sweep_comes_when_it_is_due_and_not_before(
    sweeper: Sweeper, clock: Clock, working: bool, due_s: float
) -> None:
    garbage = old_garbage()
    clock.now_s += due_s - 0.1
    sweeper.tick(working=working)
    assert garbage() is not None
    clock.now_s += 0.1
    sweeper.tick(working=working)
    assert garbage() is None


def test_what_is_left_at_rest_is_set_aside_but_not_for_ever(sweeper: Sweeper, clock: Clock) -> None:
    ring = Ring()
    kept = weakref.ref(ring)
    clock.now_s += FIRST_S
    sweeper.tick(working=False)
    assert gc.get_freeze_count() > 0
    del ring
    clock.now_s += ASIDE_S
    sweeper.tick(working=False)
    assert kept() is None


def test_at_work_what_was_set_aside_stays_there(sweeper: Sweeper, clock: Clock) -> None:
    clock.now_s += FIRST_S
    sweeper.tick(working=False)
    aside = gc.get_freeze_count()
    clock.now_s += ASIDE_S
    sweeper.tick(working=True)
    assert gc.get_freeze_count() == aside
