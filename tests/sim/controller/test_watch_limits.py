"""What counts as a dropout, and the watch's own supervision."""

import numpy as np
import pytest

from loomproof_sim.controller.watch import DropoutFinder, _runs
from loomproof_wire import messages as wire
from loomproof_wire.messages import EndReason, Hazard, LoadClass, Refusal

MS, US = 1_000_000, 1000


def finder_of(depth, *learnt):
    finder = DropoutFinder(depth)
    for values in learnt:
        finder.learn(np.array(values, dtype=float))
    finder.settle()
    return finder


def feed(finder, values, start=0):
    return finder.feed(np.arange(start, start + len(values), dtype=np.int64) * 10, np.array(values))


def test_runs_are_stretches_of_equal_flags():
    flags = np.array([True, True, False, True])
    assert _runs(flags) == [(0, 2), (2, 3), (3, 4)]
    assert _runs(np.array([False])) == [(0, 1)]
    assert _runs(np.array([], dtype=bool)) == []


def test_a_dropout_lasts_from_the_first_value_below_to_the_first_not_below():
    finder = finder_of(0.25, [1.0] * 4)
    assert feed(finder, [1.0, 0.5, 0.25, 0.75, 1.0]) == [(10, 30, 0.75)]
    assert finder.close(1000) == []


@pytest.mark.parametrize(("value", "counts"), [(0.75, False), (np.nextafter(0.75, 0.0), True), (0.76, False)])
def test_the_fall_itself_is_none_and_anything_deeper_is_one(value, counts):
    finder = finder_of(0.25, [1.0] * 4)
    assert bool(feed(finder, [1.0, value, 1.0])) is counts


def test_a_dropout_may_go_on_from_block_to_block_and_is_as_deep_as_its_deepest():
    finder = finder_of(0.25, [2.0] * 4)
    assert feed(finder, [2.0, 1.0]) == []
    assert feed(finder, [0.5, 1.2], 2) == []
    assert feed(finder, [2.0, 1.0, 2.0], 4) == [(10, 40, 0.75), (50, 60, 0.5)]


def test_a_dropout_still_on_is_closed_at_the_end_once():
    finder = finder_of(0.25, [1.0] * 4)
    feed(finder, [1.0, 0.1])
    assert finder.close(77) == [(10, 77, pytest.approx(0.9))]
    assert finder.close(78) == []


def test_the_settled_value_is_the_median_of_the_last_half():
    """The first half is still rising: 2, 2, 2 of 0, 1, 1, 2, 2, 2."""
    finder = finder_of(0.25, [0.0, 1.0, 1.0], [2.0, 2.0, 2.0])
    assert feed(finder, [1.5]) == []
    assert feed(finder, [1.49, 2.0], 1) == [(10, 20, pytest.approx(0.255))]


def test_noise_of_six_standard_deviations_is_no_dropout():
    """0.9 and 1.1 in turn: standard deviation 0.1, so 0.6 below the median of 1.0."""
    finder = finder_of(0.1, [0.9, 1.1] * 8)
    assert feed(finder, [0.41, 0.9]) == []
    assert len(feed(finder, [0.39, 0.9])) == 1


def test_a_box_that_learnt_nothing_finds_nothing():
    assert feed(finder_of(0.25), [0.0, 1.0]) == []


# -- on the box ---------------------------------------------------------------------------------------


def test_a_held_watch_trips_and_says_so(new_console):
    console = new_console(ohm=1.0, henry=1e-6)
    console.open()
    console.configure(1)
    console.ask(wire.Watch(1, 1, 1000, 1000, 300))
    console.run(50)
    ((on, off),) = console.plant.on_times(1)
    assert (on, off) == (0, 2 * US)
    assert [trip.channel for trip in console.events(wire.Trip)] == [1]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.TRIPPED)]
    assert console.refusal(wire.Watch(1, 1, 1000, 1000, 300)) == (Refusal.TRIPPED, 1)


@pytest.mark.parametrize("held", [0, 1])
def test_a_watch_lasts_as_long_as_asked(console, held):
    console.configure(1, max_hold_ms=10_000)
    console.ask(wire.Watch(1, held, 250, 1000, 300))
    while console.box.machine.activity is not None:
        console.beat()
        console.box.advance_to(console.box.next_event_ns())
    assert console.box.now_ns == 250 * MS
    assert console.plant.on_times(1) == ([(0, 250 * MS)] if held else [])
    console.pump()
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.COMPLETE)]


def test_a_watch_is_broken_off_by_a_stop_and_a_dropout_still_on_is_told(console):
    console.configure(1)
    console.plant.away = [(1, 0.15, 9.0)]
    console.ask(wire.Watch(1, 0, 1000, 5000, 300))
    console.run(200)
    console.ask(wire.Stop())
    (dropout,) = console.events(wire.Dropout)
    assert dropout.start_us == pytest.approx(150_000, abs=200)
    assert dropout.length_us == pytest.approx(50_000, abs=200)
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.STOPPED)]


def test_nothing_is_a_dropout_in_the_first_100_ms(console):
    """They are what the settled value is learnt from; the contact is away for a small part of their first half."""
    console.configure(1)
    console.plant.away = [(1, 0.01, 0.012), (1, 0.110, 0.112)]
    console.ask(wire.Watch(1, 0, 300, 5000, 300))
    console.run(400)
    (dropout,) = console.events(wire.Dropout)
    assert dropout.start_us == pytest.approx(110_000, abs=200)


def test_an_unheld_watch_needs_no_arming_and_keeps_to_no_hold(console):
    console.configure(1, LoadClass.INJECTOR, max_hold_ms=0)
    console.ask(wire.Watch(1, 0, 500, 1000, 300))
    console.ask(wire.Arm(Hazard.FUEL, 1000))
    console.ask(wire.Disarm(Hazard.FUEL))
    assert console.box.machine.activity is not None


def test_a_held_watch_ends_with_its_arming(console):
    console.configure(1, LoadClass.VALVE, Hazard.FUEL)
    console.ask(wire.Arm(Hazard.FUEL, 100))
    console.ask(wire.Watch(1, 1, 500, 1000, 300))
    console.run(300)
    assert console.plant.on_times(1) == [(0, 100 * MS)]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.DISARMED)]
