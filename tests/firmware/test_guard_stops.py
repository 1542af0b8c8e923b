"""What stops the core, and when.

The rules and every number: docs/protocol.md.
"""

from dataclasses import replace

import pytest
from hostconsole import HELD, HOLD, MS, TRAIN, HostConsole, configure, name

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
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


# -- what was sent or queued before a stop -----------------------------------------------------------------------


def arrive(console, *messages):
    """Have frames arrive while the main loop is busy with something else."""
    for message in messages:
        own = not isinstance(message, wire.Stop)
        console.sequence = (console.sequence + own) & 0xFFFF
        number = console.sequence if own else (console.sequence + 1) & 0xFFFF
        for byte in encode_frame(number, message):
            console.box.core.core_rx_byte(byte)


@pytest.mark.parametrize("stopped_before", [False, True])
@pytest.mark.parametrize("number", [None, 0])
def test_what_is_queued_before_a_stop_does_not_undo_it(console, stopped_before, number):
    """With the number of the next request, and with any other."""
    configure(console, HOLD)
    assert console.refusal(wire.Arm(Hazard.HEAT, 60_000)) is None
    if stopped_before:
        console.refusal(wire.Stop())
    console.events.clear()
    before = console.sequence
    arrive(console, wire.ClearStop(), wire.Arm(Hazard.SPARK, 60_000), replace(HOLD, duration_ms=5000))
    if number is None:
        arrive(console, wire.Stop())
    else:
        for byte in encode_frame(number, wire.Stop()):
            console.box.core.core_rx_byte(byte)
    assert console.on() == []
    console.wait(20)
    status = console.status()
    assert status.state is BoxState.STOPPED
    assert status.stop_reason is StopReason.COMMAND
    assert status.armed_mask == 0
    assert console.on() == []
    late = [
        m for sequence, m in console.replies if before < sequence <= before + 3 and m.KIND != wire.Status.KIND
    ]
    assert not any(isinstance(m, wire.Ack) and m.request_kind != wire.Stop.KIND for m in late)


def test_every_stop_is_answered_with_a_full_queue(console):
    arrive(console, *[wire.GetStatus()] * 9, wire.Stop())
    console.wait(5)
    assert (console.sequence + 1, wire.Ack(wire.Stop.KIND)) in console.replies
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.COMMAND)]


def test_a_clear_behind_its_stop_is_carried_out(console):
    arrive(console, wire.Stop(), wire.ClearStop())
    console.wait(5)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.COMMAND)]
    assert console.status().state is BoxState.IDLE
    assert not console.box.core.guard_stopped() & 0xFF


def test_a_clear_from_before_a_stop_of_the_box_itself_is_refused(console):
    console.refusal(wire.Stop())
    arrive(console, wire.ClearStop())
    console.box.core.guard_stop(StopReason.HEARTBEAT)
    console.wait(5)
    refused = wire.Refused(wire.ClearStop.KIND, Refusal.STOPPED, StopReason.COMMAND)
    assert (console.sequence, refused) in console.replies
    assert console.status().state is BoxState.STOPPED
    assert console.refusal(wire.ClearStop()) is None


def test_a_clear_is_refused_while_a_stop_is_unreported(console):
    core = console.box.core
    core.guard_stop(StopReason.HEARTBEAT)
    assert not core.guard_clear(core.guard_stops() & 0xFF) & 0xFF
    console.wait(1)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.HEARTBEAT)]
    assert not core.guard_clear((core.guard_stops() - 1) & 0xFF) & 0xFF
    assert core.guard_clear(core.guard_stops() & 0xFF) & 0xFF
    assert not core.guard_stopped() & 0xFF


# -- what stands still -------------------------------------------------------------------------------------------

LONG = replace(HOLD, duration_ms=9000, trace_samples=0)
PULSES = wire.DriveTrain(1, 200, 20_000, 60, 0, 1, 0)
"""So short and so far apart that a look each millisecond mostly finds nothing on."""


@pytest.mark.parametrize(
    ("part", "reason", "within_ms"),
    [
        ("host_ticks_die", StopReason.WATCHDOG, 122),
        ("host_clock_stops", StopReason.TIMER, 33),
        ("host_converter_sticks", StopReason.CONVERTER, 5),
    ],
)
@pytest.mark.parametrize("request_", [LONG, replace(HELD, duration_ms=9000)], ids=name)
def test_a_part_that_stands_still_leaves_nothing_on(console, request_, part, reason, within_ms):
    """The millisecond, the clock or the converter dies in the midst of a drive, with heartbeats going on."""
    configure(console, request_)
    console.beat()
    assert console.refusal(request_) is None
    console.wait(30)
    assert console.on() == [1]
    getattr(console.box.core, part)()
    for _ in range(within_ms):
        console.wait(1)
    assert console.on() == []
    console.wait(200)
    assert console.on() == []
    assert console.box.core.guard_reason() & 0xFF == reason
    assert len(console.pulses()) == 1


def test_an_edge_that_does_not_come_ends_the_pulse(console):
    configure(console, TRAIN)
    assert console.refusal(replace(TRAIN, trace_samples=0)) is None
    console.wait_ns(MS // 2)
    assert console.on() == [1]
    console.box.core.host_edges_die()
    console.wait(6)
    assert console.on() == []
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.TIMER)]
    ((_, on_us),) = console.pulses()
    assert on_us <= 1000 + 5000


def test_a_converter_that_is_dead_is_noticed_in_short_pulses_too(console):
    configure(console, PULSES)
    assert console.refusal(PULSES) is None
    console.wait(100)
    assert console.said(wire.Stopped) == []
    console.box.core.host_converter_sticks()
    console.wait(25)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.CONVERTER)]
    assert len(console.pulses()) <= 7


def test_a_scan_with_a_dead_converter_ends(console):
    configure(console, HOLD)
    console.box.core.host_converter_sticks()
    assert console.ask(wire.Scan(1, 80)) is None
    console.wait(10)
    assert (console.sequence, wire.Refused(wire.Scan.KIND, Refusal.STOPPED, 0)) in console.replies
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.CONVERTER)]


def test_at_rest_a_stopped_clock_is_noticed_too(console):
    console.box.core.host_clock_stops()
    console.wait(33)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.TIMER)]
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, StopReason.TIMER)
    console.wait(20)
    assert console.status().state is BoxState.STOPPED
    assert console.said(wire.Stopped) == []
