"""A box that starts has nothing of the time before, and what happens in interrupts alone is exact.

The rules and every number: docs/protocol.md.
"""

import ctypes
from dataclasses import replace

import pytest
from core_types import Edge
from hostconsole import HELD, HOLD, MS, PLAIN, TRAIN, HostConsole, configure

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import (
    BoxState,
    DisarmReason,
    EndReason,
    Hazard,
    LoadClass,
    Refusal,
    StopReason,
)

MOST = 0xFFFF


def restarted(console, channel_count=16):
    """The same core started anew, with a session again."""
    again = HostConsole(console.box, channel_count)
    again.greet()
    return again


# -- a start -------------------------------------------------------------------------------------------


def test_a_start_forgets_heartbeat_time_stop_and_arming(console):
    core = console.box.core
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.wait(30)
    assert core.guard_alive()
    assert core.guard_uptime_ms() == 30
    core.guard_stop(StopReason.COMMAND)
    core.host_stop_input(True)
    console.box.restart()
    assert not core.guard_alive()
    assert core.guard_uptime_ms() == 0
    assert core.arming_mask() == 0
    assert not core.guard_stopped()
    again = HostConsole(console.box)
    again.greet()
    again.wait(5)
    assert again.said(wire.Stopped) == []  # the one before was never reported, and is not now
    assert again.status().state is BoxState.IDLE


def test_a_start_reports_no_supply_of_the_time_before(console):
    core = console.box.core
    core.host_supply(ctypes.c_double(4.0))
    core.guard_look_at_supply()
    assert not core.guard_supply_good()
    again = restarted(console)
    again.wait(5)
    assert core.guard_supply_good()
    assert again.said(wire.SupplyEvent) == again.said(wire.Stopped) == []


def test_a_start_reports_no_trip_and_holds_none(console):
    console.box.core.trip_now(3, 1023, 106)
    again = restarted(console)
    again.wait(5)
    assert again.said(wire.Trip) == []
    assert again.status().tripped_mask == 0


def test_a_start_ends_what_was_under_way_without_a_word(console):
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, duration_ms=5000, trace_samples=0)) is None
    console.wait(3)
    assert console.on() == [1]
    again = restarted(console)
    assert again.on() == []
    assert again.said(wire.DriveEnded) == []
    assert again.status().driving_channel == 0
    assert again.refusal(HOLD) == (Refusal.NOT_CONFIGURED, 1)
    configure(again, HOLD)
    assert again.refusal(HOLD) is None


def test_a_start_makes_the_outputs_switch_again(console):
    configure(console, HOLD)
    assert console.refusal(wire.Stop()) is None
    again = restarted(console)
    configure(again, HOLD)
    assert again.refusal(replace(HOLD, trace_samples=0)) is None
    again.wait(5)
    assert again.on() == [1]


def test_a_start_knows_no_session_and_counts_from_nothing(console):
    core = console.box.core
    for _ in range(3):
        core.receive_count_bad()
        core.receive_count_stale()
    for number in range(6):
        for byte in encode_frame(100 + number, wire.GetStatus()):
            core.core_rx_byte(byte)
    for byte in b"\x05ab":
        core.core_rx_byte(byte)  # a frame under way
    again = HostConsole(console.box)
    again.wait_ns(5 * MS)
    assert again.replies == []  # what waited is gone
    assert again.ask(wire.GetStatus()) == wire.Refused(wire.GetStatus.KIND, Refusal.NO_SESSION, 0)
    again.greet()
    status = again.status()
    assert (status.bad_frames, status.stale_frames, status.overruns) == (0, 0, 0)


@pytest.mark.parametrize("by_watchdog", [False, True])
def test_only_the_watchdog_starts_a_box_that_is_stopped(console, by_watchdog):
    if by_watchdog:
        console.box.hang()
        console.wait_ns(130 * MS)
        console.box.take_output()
    else:
        console.box.restart()
    core = console.box.core
    assert core.guard_stopped() is by_watchdog
    assert core.host_gates_killed()
    console.greet(9)
    console.wait(3)
    assert console.said(wire.Stopped) == []  # the identity and the status say it
    assert console.status().stop_reason is (StopReason.WATCHDOG if by_watchdog else StopReason.NONE)


# -- counters that stop at their end ---------------------------------------------------------------------


def test_the_counters_of_frames_stay_at_their_highest(console):
    core = console.box.core
    for count, name in ((core.receive_count_bad, "bad_frames"), (core.receive_count_stale, "stale_frames")):
        for _ in range(MOST - 1):
            count()
        assert getattr(console.status(), name) == MOST - 1
        for _ in range(3):
            count()
            assert getattr(console.status(), name) == MOST


def test_the_counter_of_lost_frames_stays_at_its_highest(console):
    core = console.box.core
    console.wait(1)
    for _ in range(3):
        core.receive_keep()
    for _ in range(MOST - 1):
        core.receive_keep()
    assert core.receive_lost_frames() & MOST == MOST - 1
    for _ in range(3):
        core.receive_keep()
        assert core.receive_lost_frames() & MOST == MOST


# -- what was stopped and cleared, and what only looks like it --------------------------------------------


def test_a_stop_is_not_cleared_before_the_main_loop_saw_it_and_is_reported_once(console):
    core = console.box.core
    core.guard_stop(StopReason.COMMAND)
    assert not core.guard_clear(core.guard_stops())
    assert core.guard_reason() & 0xFF == StopReason.COMMAND
    console.wait(2)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.COMMAND)]
    assert core.guard_clear(core.guard_stops())
    assert not core.guard_stopped()
    assert core.guard_reason() & 0xFF == StopReason.NONE
    core.guard_stop(StopReason.STOP_INPUT)
    core.guard_stop(StopReason.COMMAND)
    assert core.guard_reason() & 0xFF == StopReason.STOP_INPUT
    console.wait(1)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.STOP_INPUT)]


def test_a_stop_during_boot_is_one(guarded):
    guarded.restart()
    core = guarded.core
    assert core.guard_reason() & 0xFF == StopReason.BOOT
    core.guard_stop(StopReason.COMMAND)
    assert core.guard_reason() & 0xFF == StopReason.COMMAND
    core.guard_new_session()
    assert core.guard_reason() & 0xFF == StopReason.COMMAND


def test_a_new_session_ends_boot_alone(guarded):
    guarded.restart()
    guarded.core.guard_new_session()
    assert guarded.core.guard_reason() & 0xFF == StopReason.NONE


def test_the_supply_reads_in_whole_millivolts_and_stops_at_the_highest_number(guarded):
    """19.55 mV a count of the host board: 1023 counts are 19 999 mV."""
    guarded.restart()
    core = guarded.core
    core.host_supply(ctypes.c_double(1000.0))
    assert core.guard_supply_mv() == 1023 * 19_550 // 1000
    core.host_supply(ctypes.c_double(0.0))
    assert core.guard_supply_mv() == 0


# -- reasons of an end ------------------------------------------------------------------------------------


def test_the_first_reason_of_an_end_stays(console):
    core = console.box.core
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, duration_ms=5000, trace_samples=0)) is None
    console.wait(3)
    core.activity_cut(EndReason.TRIPPED)
    assert console.on() == []
    core.activity_cut(EndReason.STOPPED)
    core.activity_end(EndReason.CANCELLED)
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.TRIPPED)]
    core.activity_end(EndReason.CANCELLED)
    core.activity_cut(EndReason.CANCELLED)
    console.wait(2)
    assert console.said(wire.DriveEnded) == []


def test_nothing_is_under_way_after_its_end(console):
    core = console.box.core
    configure(console, HOLD, hazard=Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    assert console.refusal(replace(HOLD, trace_samples=0)) is None
    assert core.activity_hazards() & 0xFF == 1 << Hazard.HEAT
    assert core.activity_channel() & 0xFF == 1
    console.refusal(wire.Cancel())
    assert core.activity_hazards() & 0xFF == core.activity_channel() & 0xFF == 0
    assert core.activity_state() & 0xFF == BoxState.IDLE
    console.refusal(wire.Disarm(Hazard.HEAT))
    assert [event.reason for event in console.said(wire.DriveEnded)] == [EndReason.CANCELLED]


def test_dropping_another_class_ends_nothing(console):
    configure(console, HOLD, hazard=Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.refusal(wire.Arm(Hazard.SPARK, 60_000))
    assert console.refusal(replace(HOLD, duration_ms=5000, trace_samples=0)) is None
    console.wait(3)
    assert console.refusal(wire.Disarm(Hazard.SPARK)) is None
    assert console.on() == [1]
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.SPARK, DisarmReason.ASKED)]
    assert console.said(wire.DriveEnded) == []


def test_a_held_watch_needs_its_class_and_ends_with_it(console):
    configure(console, HELD, load_class=LoadClass.MOTOR)
    assert console.refusal(HELD) == (Refusal.NOT_ARMED, Hazard.MOTION)
    console.refusal(wire.Arm(Hazard.MOTION, 60_000))
    assert console.refusal(HELD) is None
    console.wait(3)
    assert console.on() == [1]
    assert console.refusal(wire.Disarm(Hazard.MOTION)) is None
    assert console.on() == []


def test_a_trip_ends_the_drive_and_a_configuration_of_its_channel_alone_clears_it(console):
    configure(console, TRAIN)
    console.box.core.trip_now(1, 116, 16)
    assert console.refusal(TRAIN) == (Refusal.TRIPPED, 1)
    assert console.refusal(replace(PLAIN, channel=2)) is None
    assert console.refusal(TRAIN) == (Refusal.TRIPPED, 1)
    assert console.refusal(PLAIN) is None
    assert console.refusal(TRAIN) is None


# -- outputs ----------------------------------------------------------------------------------------------


def edge_now(core, drive, channel=2):
    core.outputs_edge_at(
        ctypes.byref(Edge(at_ticks=core.host_now() & 0xFFFFFFFF, channel=channel, drive=drive))
    )


def test_after_a_stop_no_edge_switches_on_until_it_is_cleared(guarded):
    """The core's own lock; the gates are held off beside it."""
    console = HostConsole(guarded)
    core = guarded.core
    assert core.host_gates_killed()
    edge_now(core, 1)
    assert not core.host_gates_killed()
    console.wait_ns(MS)
    assert console.on() == [2]
    core.outputs_all_off()
    assert console.on() == []
    assert core.host_gates_killed()
    edge_now(core, 1)
    console.wait_ns(MS)
    assert console.on() == [2]
    core.outputs_kill()
    assert console.on() == []
    assert core.host_gates_killed()
    edge_now(core, 1)
    console.wait_ns(MS)
    assert console.on() == []
    assert core.host_gates_killed()
    core.outputs_revive()
    assert core.host_gates_killed()
    edge_now(core, 1)
    console.wait_ns(MS)
    assert console.on() == [2]


@pytest.mark.parametrize("how", ["outputs_all_off", "outputs_kill", "outputs_reset"])
def test_what_was_planned_does_not_happen_any_more(guarded, how):
    console = HostConsole(guarded)
    core = guarded.core
    later = Edge(at_ticks=(core.host_now() + 1000) & 0xFFFFFFFF, channel=2, drive=1)
    edge_now(core, 1, channel=3)
    console.wait_ns(1000)
    core.outputs_edge_at(ctypes.byref(later))
    getattr(core, how)()
    assert console.on() == []
    console.wait_ns(2 * MS)
    assert console.on() == []
    assert core.host_gates_killed()


def test_an_edge_that_switches_off_is_planned_even_when_all_is_stopped(guarded):
    console = HostConsole(guarded)
    core = guarded.core
    core.outputs_kill()
    core.host_edges_planned.restype = ctypes.c_uint8
    edge_now(core, 0)
    assert core.host_edges_planned() == 1
    edge_now(core, 1)
    assert core.host_edges_planned() == 1
    console.wait_ns(MS)
    assert core.host_edges_planned() == 0
