"""Arming, limits, exact edges, over-current and traces of drives; times are exact, in virtual time."""

import struct
from typing import Any

import numpy as np
import pytest

from loomproof_wire import messages as wire
from loomproof_wire.messages import DisarmReason, EndReason, Hazard, LoadClass, Refusal

MS, US = 1_000_000, 1_000
PERIOD_NS = 26_000


def read_trace(console: Any, ready: wire.TraceReady) -> np.ndarray:
    rows: list[tuple[int, ...]] = []
    while len(rows) < ready.sample_count:
        chunk = console.ask(wire.ReadTrace(ready.trace_id, len(rows)))
        rows += list(struct.iter_unpack("<4H", chunk.samples))
    return np.array(rows, dtype=float)


def test_pulses_are_exact(console: Any, train: Any) -> None:
    console.configure(3)
    console.run(13)
    start = console.box.now_ns
    console.ask(train(3, count=4, period_us=12_345, on_time_us=2_001))
    console.run(100)
    expected = [(start + k * 12_345 * US, start + k * 12_345 * US + 2_001 * US) for k in range(4)]
    assert console.plant.on_times(3) == expected
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(3, 4, EndReason.COMPLETE)]


@pytest.mark.parametrize(
    ("load", "said", "needed"),
    [
        (LoadClass.INJECTOR, Hazard.NONE, [Hazard.FUEL]),
        (LoadClass.COIL, Hazard.NONE, [Hazard.SPARK]),
        (LoadClass.IGNITER_COIL, Hazard.NONE, [Hazard.SPARK]),
        (LoadClass.MOTOR, Hazard.NONE, [Hazard.MOTION]),
        (LoadClass.MOTOR, Hazard.HEAT, [Hazard.MOTION, Hazard.HEAT]),
        (LoadClass.MOTOR, Hazard.CRANK, [Hazard.CRANK]),
        (LoadClass.RELAY, Hazard.CRANK, [Hazard.CRANK]),
        (LoadClass.INJECTOR, Hazard.MOTION, [Hazard.FUEL, Hazard.MOTION]),
        (LoadClass.VALVE, Hazard.NONE, []),
    ],
)
def test_the_stricter_hazard_counts(
    console: Any, train: Any, load: LoadClass, said: Hazard, needed: list[Hazard]
) -> None:
    console.configure(2, load, said)
    pulses = train(2, period_us=50_000)
    for hazard in needed:
        assert console.refusal(pulses) == (Refusal.NOT_ARMED, hazard)
        console.ask(wire.Arm(hazard, 1000))
    console.ask(pulses)


def test_a_drive_ends_the_moment_its_arming_expires(console: Any) -> None:
    console.configure(2, LoadClass.MOTOR)
    console.ask(wire.Arm(Hazard.MOTION, 150))
    console.run(50)
    console.ask(wire.DriveHold(2, 1000, 1, 0))
    console.run(300)
    assert console.plant.on_times(2) == [(50 * MS, 150 * MS)]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(2, 0, EndReason.DISARMED)]
    assert console.events(wire.Disarmed) == [wire.Disarmed(Hazard.MOTION, DisarmReason.EXPIRED)]


@pytest.mark.parametrize(
    ("action", "reason"),
    [
        (lambda console: console.ask(wire.Disarm(Hazard.FUEL)), DisarmReason.ASKED),
        (lambda console: console.ask(wire.Disarm(Hazard.NONE)), DisarmReason.ASKED),
        (lambda console: console.ask(wire.Stop()), DisarmReason.STOPPED),
        (lambda console: console.configure(9), DisarmReason.RECONFIGURED),
        (lambda console: console.ask(wire.Hello(1, 0, 5, 0)), DisarmReason.NEW_SESSION),
        (lambda console: console.ask(wire.DriveHold(4, 10, 1, 0)), DisarmReason.PUMP_DRIVEN),
        (lambda console: console.run(500, beating=False), DisarmReason.STOPPED),
    ],
)
def test_what_drops_an_arming(console: Any, action: Any, reason: DisarmReason) -> None:
    console.configure(4, LoadClass.RELAY, fuel_pump=1)
    console.ask(wire.Arm(Hazard.FUEL, 60_000))
    action(console)
    assert console.events(wire.Disarmed) == [wire.Disarmed(Hazard.FUEL, reason)]
    assert console.ask(wire.GetStatus()).armed_mask == 0


def test_fuel_cannot_be_armed_beside_the_pump(console: Any) -> None:
    console.configure(4, LoadClass.RELAY, fuel_pump=1)
    console.ask(wire.DriveHold(4, 100, 1, 0))
    assert console.refusal(wire.Arm(Hazard.FUEL, 1000))[0] is Refusal.PUMP_CHANNEL
    console.run(150)
    console.ask(wire.Arm(Hazard.FUEL, 1000))


def test_an_injector_cannot_be_the_fuel_pump(console: Any) -> None:
    request = console.configuration(4, LoadClass.INJECTOR, fuel_pump=1)
    assert console.refusal(request)[0] is Refusal.PUMP_CHANNEL


@pytest.mark.parametrize(
    ("pulses", "refusal"),
    [
        ({"on_time_us": 20_001, "period_us": 100_000}, (Refusal.OVER_ON_TIME, 20_000)),
        ({"on_time_us": 5001, "period_us": 10_000}, (Refusal.OVER_DUTY, 500)),
        ({"count": 101}, (Refusal.OVER_COUNT, 100)),
    ],
)
def test_limits_of_a_train(console: Any, train: Any, pulses: dict[str, int], refusal: Any) -> None:
    console.configure(1)
    assert console.refusal(train(1, **pulses)) == refusal
    console.ask(train(1, count=100, period_us=40_000, on_time_us=20_000))


def test_limits_of_a_hold(console: Any) -> None:
    console.configure(1)
    assert console.refusal(wire.DriveHold(1, 2001, 1, 0)) == (Refusal.OVER_ON_TIME, 2_000_000)
    console.configure(1, max_hold_ms=0)
    assert console.refusal(wire.DriveHold(1, 1, 1, 0))[0] is Refusal.OVER_ON_TIME


def test_trains_end_to_end_keep_the_duty(console: Any, train: Any) -> None:
    console.configure(1, max_duty_permille=100)
    for k in range(1, 4):
        console.ask(train(1, count=1, period_us=50_000, on_time_us=5000))
        while len(console.events(wire.DriveEnded)) < k:
            console.run(1)
    starts = [on for on, _ in console.plant.on_times(1)]
    assert min(np.diff(starts)) >= 50 * MS


def test_one_channel_at_a_time(console: Any, train: Any) -> None:
    console.configure(1)
    console.configure(2)
    console.ask(wire.DriveHold(1, 100, 1, 0))
    for request in (train(2), wire.Sense(2, 50, 5), wire.Scan(3, 50), console.configuration(2)):
        assert console.refusal(request) == (Refusal.BUSY, 1)
    console.ask(wire.Cancel())
    console.ask(train(2))


def test_drives_the_driver_cannot_do_are_refused(console: Any, train: Any) -> None:
    for channel in (14, 15):
        console.configure(channel, max_current_ma=200)
    assert console.refusal(train(15))[0] is Refusal.WRONG_KIND
    assert console.refusal(wire.DriveStepper((1, 2, 3, 14), 4, 1000))[0] is Refusal.WRONG_KIND
    assert console.refusal(wire.DriveBridge(15, 1, 10, 200, 300, 1, 0))[0] is Refusal.WRONG_KIND
    assert console.refusal(train(1))[0] is Refusal.NOT_CONFIGURED


def test_peak_and_hold_chops_after_the_peak(console: Any) -> None:
    console.configure(1, max_current_ma=20_000)
    console.ask(wire.DrivePeakHold(1, 1, 100_000, 3000, 1000, 500, 400, 0, 1, 0))
    console.run(50)
    expected = [(0, 1000), (1300, 1500), (1800, 2000), (2300, 2500), (2800, 3000)]
    assert console.plant.on_times(1) == [(on * US, off * US) for on, off in expected]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 1, EndReason.COMPLETE)]


def test_a_stepper_turns_one_winding_at_a_time_both_ways(console: Any) -> None:
    for channel in (1, 2, 3, 4):
        console.configure(channel, LoadClass.STEPPER)
    console.ask(wire.DriveStepper((1, 2, 3, 4), -5, 10_000))
    console.run(100)
    on = [channel for _, channel, drive in console.plant.log if drive.name == "ON"]
    assert on == [4, 3, 2, 1, 4]
    assert console.plant.on_times(3) == [(10 * MS, 20 * MS)]


def test_a_bridge_drives_its_pair_and_lets_go_of_both(console: Any) -> None:
    for channel in (15, 16):
        console.configure(channel, LoadClass.MOTOR)
    console.ask(wire.Arm(Hazard.MOTION, 1000))
    console.ask(wire.DriveBridge(15, 16, 20, 1000, 300, 1, 100))
    console.run(50)
    assert console.plant.on_times(15) == console.plant.on_times(16) == [(0, 20 * MS)]
    high = [time for time, channel, drive in console.plant.log if (channel, drive.name) == (15, "HIGH")]
    assert high == [k * MS for k in range(20)]


def test_over_current_trips_within_one_sample_and_latches(console: Any, train: Any) -> None:
    console.configure(1, max_current_ma=500)
    console.ask(train(1, trace_every=1, trace_samples=200))
    console.run(100)
    # 13.5 V, 14 ohm, 14 mH: 0.5 A is reached at -1 ms * ln(1 - 0.5*14/13.5)
    reached_ns = -1e6 * np.log(1 - 0.5 * 14 / 13.5)
    ((on, off),) = console.plant.on_times(1)
    assert reached_ns <= off - on <= reached_ns + PERIOD_NS
    (trip,) = console.events(wire.Trip)
    assert trip.channel == 1
    assert 500 <= trip.current_ma <= 520
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.TRIPPED)]
    (ready,) = console.events(wire.TraceReady)
    assert (ready.tripped, ready.on_time_us) == (1, round((off - on) / US))
    assert console.refusal(train(1)) == (Refusal.TRIPPED, 1)
    assert console.ask(wire.GetStatus()).tripped_mask == 1
    console.configure(1)
    console.ask(train(1))


@pytest.mark.parametrize(("ohm", "trips"), [(0.705, False), (0.69, True)])
def test_near_the_end_of_the_wide_range_a_current_is_always_over(
    new_console: Any, train: Any, ohm: float, trips: bool
) -> None:
    """19.1 and 19.6 A at a limit of 20 A: an amplifier may top out short of its rail, here at 19.4 A."""
    console = new_console(ohm=ohm, henry=1e-6)
    console.open()
    console.configure(1, max_current_ma=20_000)
    console.ask(train(1))
    console.run(100)
    assert bool(console.events(wire.Trip)) is trips


def test_a_dead_short_is_cut_at_the_first_sample(new_console: Any) -> None:
    console = new_console(ohm=0.13, henry=1e-6)
    console.open()
    console.configure(1, max_current_ma=20_000)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.run(200)
    ((on, off),) = console.plant.on_times(1)
    assert off - on <= PERIOD_NS


def test_the_ceilings_cannot_be_raised(console: Any) -> None:
    info = console.ask(wire.GetChannel(14))
    assert info.max_current_ma == 200
    assert console.refusal(console.configuration(14, max_current_ma=201)) == (Refusal.OVER_CURRENT_LIMIT, 200)


def test_a_trace_is_the_current_at_its_times(console: Any, train: Any) -> None:
    console.configure(1)
    console.ask(train(1, count=3, trace_every=2, trace_samples=230))
    console.run(200)
    first, third = console.events(wire.TraceReady)
    assert (first.pulse_index, third.pulse_index) == (0, 2)
    assert (first.sample_count, first.on_time_us, first.truncated) == (230, 5000, 0)
    counts = read_trace(console, first)
    info = console.ask(wire.GetChannel(1))
    amperes = (counts[:, 0] - info.fine_offset_counts_x100 / 100) * info.fine_na_per_count * 1e-9
    times = (first.first_sample_ns + np.arange(230) * first.sample_period_ns) * 1e-9
    on = times < 5e-3
    truth = np.where(on, 13.5 / 14 * -np.expm1(-times / 1e-3), 0.0)
    # within 4 sigma of gain (0.2 %) and noise and quantisation (under 0.6 counts)
    assert np.abs(amperes - truth).max() < 4 * (0.002 * truth.max() + 0.6 * info.fine_na_per_count * 1e-9)
    supply_v = counts[:, 2] * info.supply_uv_per_count * 1e-6
    assert np.abs(supply_v - 13.5).max() < 0.06
    # the drain is sampled after the current: the set at the edge already sees it released
    drain_v = counts[:, 3] * info.drain_uv_per_count * 1e-6
    released = times + first.drain_skew_ns * 1e-9 >= 5e-3
    assert drain_v[released].min() > 13
    assert drain_v[~released].max() < 0.4


def test_decimation_keeps_every_nth_set(console: Any, train: Any) -> None:
    console.configure(1)
    console.ask(train(1, count=1, trace_every=1, trace_decimation=10, trace_samples=30))
    console.run(100)
    (ready,) = console.events(wire.TraceReady)
    assert (ready.sample_period_ns, ready.sample_count) == (260_000, 30)
    fine = read_trace(console, ready)[:, 0]
    assert fine[0] < 25  # 2 us after the edge: the offset and no more
    assert fine[10] > 400  # 2.6 tau: 0.89 A


def test_a_pulse_longer_than_its_trace_says_so(console: Any) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 50, 1, 100))
    console.run(100)
    (ready,) = console.events(wire.TraceReady)
    assert (ready.truncated, ready.sample_count, ready.on_time_us) == (1, 100, 50_000)


def test_old_traces_are_pushed_out_and_counted(console: Any, train: Any) -> None:
    console.configure(1)
    console.ask(train(1, count=10, trace_every=1, trace_samples=20))
    console.run(300)
    first, second, third, *_ = console.events(wire.TraceReady)
    assert console.refusal(wire.ReadTrace(first.trace_id, 0))[0] is Refusal.NO_TRACE
    assert console.refusal(wire.ReadTrace(second.trace_id, 0))[0] is Refusal.NO_TRACE
    console.ask(wire.ReadTrace(third.trace_id, 0))
    assert console.ask(wire.GetStatus()).overruns == 2
