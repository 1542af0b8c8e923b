"""What the core switches when nothing is refused, and how it ends.

The rules and every number: docs/protocol.md.
"""

from dataclasses import replace

import pytest
from hostconsole import (
    ARMED,
    BRIDGE,
    HOLD,
    MS,
    PEAK,
    PLAIN,
    SENSE,
    TRAIN,
    US,
    WATCH,
    HostConsole,
    configure,
    name,
)

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame as wire_frame
from loomproof_wire.messages import BoxState, DisarmReason, EndReason, Hazard, Refusal

# -- what is driven ----------------------------------------------------------------------------------------------


def test_a_train_is_as_asked_and_rests_to_keep_the_duty(console):
    configure(console, TRAIN, max_duty_permille=100)
    assert console.refusal(replace(TRAIN, trace_samples=0)) is None
    assert console.status().state is BoxState.DRIVING
    console.wait_ns(20 * MS + 9 * MS + 999 * US)
    assert console.refusal(TRAIN) == (Refusal.BUSY, 1)
    console.wait_ns(MS)
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 3, EndReason.COMPLETE)]
    assert console.pulses() == [(1, 1000.0)] * 3
    assert console.status().state is BoxState.IDLE


def test_a_rest_is_rounded_up(console):
    """50 us at 300 thousandths: 166.67 us."""
    configure(console, TRAIN, max_duty_permille=300)
    assert console.refusal(wire.DriveTrain(1, 1, 200, 50, 0, 1, 0)) is None
    console.wait_ns(166 * US + 500)
    assert console.status().driving_channel == 1
    console.wait_ns(500)
    assert console.status().driving_channel == 0


def test_a_hold_lasts_as_asked_with_one_trace(console):
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, trace_decimation=2)) is None
    console.wait(40)
    assert console.pulses() == [(1, 30_000.0)]
    (ready,) = console.said(wire.TraceReady)
    assert (ready.sample_count, ready.sample_period_ns, ready.truncated) == (20, 52_000, 1)


@pytest.mark.parametrize(("every", "traced"), [(0, []), (1, [0, 1, 2]), (2, [0, 2])])
def test_every_so_many_th_pulse_is_traced(console, every, traced):
    configure(console, TRAIN)
    for message in (TRAIN, replace(PEAK, count=3)):
        assert (
            console.refusal(replace(message, trace_every=every, trace_decimation=3, trace_samples=7)) is None
        )
        console.wait(60)
        ready = console.said(wire.TraceReady)
        assert [one.pulse_index for one in ready] == traced
        assert {(one.sample_count, one.sample_period_ns) for one in ready} <= {(7, 78_000)}


def test_a_sense_pulse_is_one_with_a_whole_trace(console):
    configure(console, SENSE)
    assert console.refusal(SENSE) is None
    assert console.status().state is BoxState.SENSING
    console.wait(20)
    assert console.pulses() == [(1, 60.0)]
    (ready,) = console.said(wire.TraceReady)
    assert (ready.sample_count, ready.sample_period_ns) == (5, 26_000)
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 1, EndReason.COMPLETE)]


def test_a_bridge_is_traced_once(console):
    configure(console, BRIDGE)
    assert console.refusal(replace(BRIDGE, trace_decimation=4)) is None
    console.wait(30)
    (ready,) = console.said(wire.TraceReady)
    assert (ready.channel, ready.sample_count, ready.sample_period_ns) == (16, 20, 104_000)


def test_a_trip_of_a_bridge_is_that_of_its_first_channel(console):
    configure(console, BRIDGE)
    for channel in (15, 16):
        console.box.set_load(channel, 0.05, 1e-9)
    assert console.refusal(BRIDGE) is None
    console.wait(5)
    assert [trip.channel for trip in console.said(wire.Trip)] == [15]
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(15, 0, EndReason.TRIPPED)]
    assert console.status().tripped_mask == 1 << 14
    assert console.refusal(replace(PLAIN, channel=15, max_sense_us=0)) is None
    assert console.status().tripped_mask == 0


def test_cancel_ends_what_is_under_way_at_once(console):
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, trace_samples=0)) is None
    console.wait(7)
    assert console.on() == [1]
    assert console.refusal(wire.Cancel()) is None
    assert console.on() == []
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.CANCELLED)]
    console.wait(30)
    assert len(console.pulses()) == 1
    assert console.refusal(wire.Cancel()) is None
    assert console.said(wire.DriveEnded) == []


def test_a_reconfiguration_drops_every_arming(console):
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    configure(console, HOLD)
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.RECONFIGURED)]
    assert console.refusal(HOLD) is None
    assert console.refusal(replace(PLAIN, channel=5)) == (Refusal.BUSY, 1)


# -- the gates' supply -------------------------------------------------------------------------------------------


def supplied(console):
    """Whether the gate drivers have their supply."""
    return not console.box.core.host_gates_killed() & 0xFF


@pytest.mark.parametrize("request_", [*ARMED, SENSE], ids=name)
def test_the_gates_have_a_supply_only_while_something_is_driven_or_sensed(console, request_):
    configure(console, request_)
    assert not supplied(console)
    assert console.refusal(request_) is None
    console.wait_ns(20 * US)
    assert supplied(console)
    console.wait(500)
    assert console.said(wire.DriveEnded)[-1].reason is EndReason.COMPLETE
    assert not supplied(console)


def test_a_watch_at_rest_and_a_session_need_no_supply_of_the_gates(guarded):
    console = HostConsole(guarded)
    assert not supplied(console)
    console.greet()
    configure(console, WATCH)
    assert console.refusal(WATCH) is None
    console.wait(10)
    assert not supplied(console)


@pytest.mark.parametrize("end", [wire.Stop(), wire.Cancel(), wire.Disarm(Hazard.NONE)], ids=name)
def test_whatever_ends_a_drive_takes_the_supply_of_the_gates_away(console, end):
    configure(console, HOLD, hazard=Hazard.HEAT)
    assert console.refusal(wire.Arm(Hazard.HEAT, 5000)) is None
    assert console.refusal(replace(HOLD, duration_ms=1000)) is None
    console.wait(5)
    assert supplied(console)
    assert console.refusal(end) is None
    assert not supplied(console)
    console.refusal(wire.ClearStop())
    assert not supplied(console)


def test_a_scan_has_it_for_its_pulses(console):
    configure(console, SENSE)
    console.sequence += 1
    console.box.receive(wire_frame(console.sequence, wire.Scan(1, 80)))
    console.wait_ns(60 * US)
    assert supplied(console)
    console.wait(5)
    assert not supplied(console)
