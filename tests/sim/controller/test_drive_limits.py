"""A drive under way: which pulses are traced, when it trips, what is counted and what a late look finds.

13.5 V on 14 ohm and 14 mH: tau 1 ms, i = 0.964 A (1 - exp(-t / 1 ms)) (first-order R-L circuit, any textbook).
"""

import math

import pytest

from loomproof_sim.controller.drive import TracePlan
from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, EndReason, Hazard, LoadClass

MS, US = 1_000_000, 1000


@pytest.mark.parametrize(
    ("every", "sets", "traced"),
    [
        (0, 10, []),
        (1, 10, [0, 1, 2, 3, 4]),
        (2, 10, [0, 2, 4]),
        (5, 10, [0]),
        (1, 0, []),
        (1, 1, [0, 1, 2, 3, 4]),
    ],
)
def test_which_pulses_are_traced(every, sets, traced):
    plan = TracePlan(every, 1, sets)
    assert [pulse for pulse in range(5) if plan.wants(pulse)] == traced


def test_without_a_plan_nothing_is_traced():
    assert not TracePlan().wants(0)


def test_traces_name_their_pulse_and_its_length(console, train):
    console.configure(1)
    console.ask(train(1, count=5, trace_every=2, trace_samples=10))
    console.run(200)
    ready = console.events(wire.TraceReady)
    assert [
        (r.channel, r.pulse_index, r.sample_count, r.on_time_us, r.truncated, r.tripped) for r in ready
    ] == [(1, index, 10, 5000, 1, 0) for index in (0, 2, 4)]


@pytest.mark.parametrize(("samples", "announced_us"), [(10, 5000), (300, 7_796)])
def test_a_trace_is_announced_when_it_is_full_and_the_pulse_is_over(console, train, samples, announced_us):
    """300 sets of 26 us, the last drain 21.5 us after the start of the last: 7795.5 us."""
    console.configure(1)
    console.ask(train(1, count=1, trace_every=1, trace_samples=samples, period_us=50_000))
    step = 0
    while not console.events(wire.TraceReady):
        step += 1
        console.box.advance_to(step * US)
        console.box.catch_up()
        console.pump()
    assert step == announced_us


def test_a_trace_longer_than_its_period_ends_with_the_next_traced_pulse(console, train):
    console.configure(1)
    console.ask(train(1, count=3, period_us=10_000, on_time_us=2000, trace_every=2, trace_samples=600))
    console.run(100)
    first, third = console.events(wire.TraceReady)
    assert (first.pulse_index, third.pulse_index) == (0, 2)
    assert (first.on_time_us, third.on_time_us) == (2000, 2000)
    assert first.sample_count == 600  # 15.6 ms, and the third begins after 20 ms
    console.ask(train(1, count=2, period_us=10_000, on_time_us=2000, trace_every=1, trace_samples=600))
    console.run(100)
    assert [r.sample_count for r in console.events(wire.TraceReady)[2:]] == [384, 600]
    # a set is whole after 26 us times its index and 21.5 us: 383 * 26 + 21.5 = 9979.5 us, the next after 10 ms


@pytest.mark.parametrize(("limit_ma", "trips"), [(958, False), (957, True)])
def test_a_current_below_its_limit_does_not_trip(console, train, limit_ma, trips):
    """After 5 ms 0.9643 A * (1 - e^-5) = 0.9578 A; the last sample before it is at 4.994 ms: 0.95775 A."""
    console.configure(1, max_current_ma=limit_ma)
    console.ask(train(1, count=2))
    console.run(100)
    assert bool(console.events(wire.Trip)) is trips


def test_a_later_pulse_trips_too_and_the_pulses_before_it_are_counted(console, train):
    console.configure(1, max_current_ma=1000)
    console.ask(train(1, count=5, period_us=20_000, on_time_us=5000))
    console.run(35)
    console.plant.ohm[1] = 10.0  # 1.35 A now
    console.run(100)
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 2, EndReason.TRIPPED)]
    on, off = console.plant.on_times(1)[-1]
    reached_us = -1e6 * 14e-3 / 10.0 * math.log(1 - 1.0 * 10.0 / 13.5)
    assert on == 40 * MS
    assert reached_us <= (off - on) / US <= reached_us + 26
    assert len(console.plant.on_times(1)) == 3


def test_a_trip_is_told_in_milliamperes_that_fit_the_wire(new_console):
    console = new_console(ohm=0.1, henry=1e-6)
    console.open()
    console.configure(1)
    console.ask(wire.DriveHold(1, 100, 1, 0))
    console.run(50)
    (trip,) = console.events(wire.Trip)
    full_a = 13.5 / 0.1 * -math.expm1(-2e-6 / (1e-6 / 0.1))
    assert trip.current_ma == round(full_a * 1000)
    huge = new_console(ohm=0.1, henry=1e-9)
    huge.open()
    huge.configure(1)
    huge.ask(wire.DriveHold(1, 100, 1, 0))
    huge.run(50)
    assert huge.events(wire.Trip)[0].current_ma == 0xFFFF  # 135 A


def test_a_status_asked_after_a_trip_shows_it_at_once(console):
    """The current passes 0.5 A after 0.73 ms; a request at 1 ms finds the drive over, though no block has ended."""
    console.configure(1, max_current_ma=500)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.advance_to(MS)
    status = console.ask(wire.GetStatus())
    assert (status.state, status.tripped_mask, status.driving_channel) == (BoxState.IDLE, 1, 0)
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.TRIPPED)]


def test_a_trip_before_a_stop_is_told_as_a_trip(console):
    console.configure(1, max_current_ma=500)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.advance_to(MS)
    console.box.set_stop_input(True)
    console.pump()
    assert [event.reason for event in console.events(wire.DriveEnded)] == [EndReason.TRIPPED]
    ((_, off),) = console.plant.on_times(1)
    assert off < MS


def test_either_channel_of_a_bridge_trips_and_is_told_as_the_first(new_console):
    for sharp in (15, 16):
        console = new_console(ohm=14.0)
        console.open()
        for channel in (15, 16):
            console.configure(channel, LoadClass.RELAY, max_current_ma=1000)
        console.plant.ohm[sharp] = 1.0
        console.ask(wire.DriveBridge(15, 16, 100, 1000, 300, 1, 0))
        console.run(150)
        assert [trip.channel for trip in console.events(wire.Trip)] == [15]
        assert console.events(wire.DriveEnded) == [wire.DriveEnded(15, 0, EndReason.TRIPPED)]


def test_a_tripped_trace_says_so_and_ends_its_pulse_at_the_trip(console, train):
    console.configure(1, max_current_ma=500)
    console.ask(train(1, trace_every=1, trace_samples=60))
    console.run(100)
    (ready,) = console.events(wire.TraceReady)
    ((on, off),) = console.plant.on_times(1)
    assert (ready.tripped, ready.sample_count) == (1, 60)
    assert ready.on_time_us == round((off - on) / US)


def test_a_cancelled_trace_is_kept_as_far_as_it_went(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 1000, 1, 600))
    console.box.advance_to(5 * MS)
    console.ask(wire.Cancel())
    (ready,) = console.events(wire.TraceReady)
    assert ready.sample_count == 192  # whole sets of 26 us in 5 ms
    assert (ready.on_time_us, ready.truncated) == (5000, 1)


def test_a_stepper_is_supervised_winding_by_winding(console):
    for channel in (1, 2, 3, 4):
        console.configure(channel, LoadClass.STEPPER, max_current_ma=1000)
    console.plant.ohm[3] = 1.0
    console.ask(wire.DriveStepper((1, 2, 3, 4), 8, 10_000))
    console.run(100)
    assert [trip.channel for trip in console.events(wire.Trip)] == [3]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 2, EndReason.TRIPPED)]
    assert console.plant.on_times(4) == []


def test_a_drive_that_needs_no_arming_is_not_ended_by_one_that_is_lost(console):
    console.configure(1, LoadClass.INJECTOR)
    console.ask(wire.Arm(Hazard.FUEL, 1000))
    console.ask(wire.Sense(1, 80, 12))
    console.ask(wire.Disarm(Hazard.FUEL))
    console.run(5)
    assert console.plant.on_times(1) == [(0, 80 * US)]
