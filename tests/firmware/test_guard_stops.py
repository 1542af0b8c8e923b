"""What stops the core, and when.

The rules and every number: docs/protocol.md.
"""

from dataclasses import replace

import pytest
from hostconsole import HOLD, MS, TRAIN, HostConsole, configure

from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, DisarmReason, EndReason, Hazard, Refusal, StopReason

# -- what stops the box ------------------------------------------------------------------------------------------


def test_the_heartbeat_may_be_missing_for_less_than_400_ms(console):
    configure(console, HOLD)
    console.wait_ns(MS // 2)
    assert console.refusal(replace(HOLD, duration_ms=5000, trace_samples=0)) is None
    console.beat()
    console.wait(400, beats=False)
    assert console.on() == [1]
    console.wait(1, beats=False)
    assert console.on() == []
    console.wait(1, beats=False)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.HEARTBEAT)]
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.STOPPED)]
    assert console.refusal(HOLD) == (Refusal.STOPPED, StopReason.HEARTBEAT)
    assert console.refusal(wire.ClearStop()) is None
    assert console.refusal(HOLD) == (Refusal.NO_HEARTBEAT, 0)
    console.wait(1000, beats=False)
    assert console.said(wire.Stopped) == []
    console.beat()
    assert console.refusal(HOLD) is None


def test_on_the_very_millisecond_the_heartbeat_is_late(console):
    console.wait(5)
    console.beat()
    console.wait(399, beats=False)
    assert console.said(wire.Stopped) == []
    console.wait(1, beats=False)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.HEARTBEAT)]


@pytest.mark.parametrize(
    ("counts", "good"), [(306, False), (307, True), (920, True), (921, False), (0, False)]
)
def test_the_supply_is_good_from_6_to_18_volts(console, counts, good):
    """19.55 mV a count: 307 are the first from 6.0 V on, 920 the last to 18.0 V."""
    console.box.set_supply(counts * 19.55e-3 + 1e-6)
    console.wait(1)
    core = console.box.core
    assert core.guard_supply_good() == good
    assert core.guard_supply_mv() == counts * 19_550 // 1000
    assert console.said(wire.SupplyEvent) == ([] if good else [wire.SupplyEvent(0, counts * 19_550 // 1000)])
    assert console.said(wire.Stopped) == ([] if good else [wire.Stopped(StopReason.SUPPLY)])


def test_a_supply_that_goes_and_comes_is_reported_both_times(console):
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.box.set_supply(4.0)
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.SUPPLY_LOST)]
    console.box.set_supply(13.5)
    assert [event.present for event in console.said(wire.SupplyEvent)] == [0, 1]
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.SUPPLY)]
    assert console.refusal(TRAIN)[0] is Refusal.NOT_CONFIGURED
    assert console.status().state is BoxState.STOPPED
    assert console.refusal(wire.ClearStop()) is None
    assert console.status().state is BoxState.IDLE
    assert console.status().stop_reason is StopReason.NONE


def test_the_first_reason_of_a_stop_stays(console):
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.box.set_stop_input(True)
    console.box.set_supply(4.0)
    assert console.refusal(wire.Stop()) is None
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.STOP_INPUT)]
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.STOPPED)]
    status = console.status()
    assert (status.stop_reason, status.stop_input_open) == (StopReason.STOP_INPUT, 1)


def test_a_stop_by_the_console_switches_off_and_is_acknowledged(console):
    configure(console, HOLD)
    console.refusal(replace(HOLD, trace_samples=0))
    console.wait(3)
    assert console.refusal(wire.Stop()) is None
    assert console.on() == []
    assert [type(event) for event in console.events] == [wire.DriveEnded, wire.Stopped]
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.STOPPED)]
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.COMMAND)]
    console.wait(60)
    assert len(console.pulses()) == 1


def test_a_box_that_hung_starts_stopped(console):
    console.box.hang()
    console.wait_ns(130 * MS)
    console.box.take_output()
    console.greet(5)
    assert console.status().stop_reason is StopReason.WATCHDOG
    assert console.refusal(TRAIN)[0] is Refusal.NOT_CONFIGURED
    assert console.refusal(wire.Arm(Hazard.HEAT, 1000)) == (Refusal.STOPPED, StopReason.WATCHDOG)
    assert console.refusal(wire.ClearStop()) is None
    console.beat(5)
    assert console.refusal(wire.Arm(Hazard.HEAT, 1000)) is None


def test_a_fresh_box_is_in_boot_and_no_longer_after_a_session(guarded):
    console = HostConsole(guarded)
    assert guarded.core.guard_reason() & 0xFF == StopReason.BOOT
    assert not guarded.core.guard_stopped()
    assert console.ask(wire.GetStatus()).reason is Refusal.NO_SESSION
    console.greet()
    assert console.status().stop_reason is StopReason.NONE
    before = console.status().uptime_ms
    console.wait(25)
    assert console.status().uptime_ms == before + 25
