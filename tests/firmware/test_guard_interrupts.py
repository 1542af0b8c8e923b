"""Entries of the core one by one: what an interrupt does when nothing is under way, and what is seen without one.

The rules and every number: docs/protocol.md.
"""

import ctypes
from dataclasses import replace

import pytest
from core_types import Board, Channel, Edge, SampleSet
from hostconsole import HELD, HOLD, MS, TRAIN, WATCH, HostConsole, configure

from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, EndReason, Hazard, Refusal, StopReason

NOT_CUT = 0xFF


def switched_on(console, channel=2):
    """Switch an output on past the core's requests; nothing is under way."""
    core = console.box.core
    edge = Edge(at_ticks=core.host_now() & 0xFFFFFFFF, channel=channel, drive=1)
    core.outputs_edge_at(ctypes.byref(edge))
    console.wait_ns(1000)
    assert console.on() == [channel]


FULL = SampleSet(1023, 1023, 690, 690)


# -- nothing under way ---------------------------------------------------------------------------------


def test_over_current_switches_off_whatever_is_under_way(console):
    switched_on(console)
    console.box.core.core_over_current_isr(ctypes.byref(FULL), 0)
    assert console.on() == []
    console.wait(2)
    assert console.said(wire.Trip) == console.said(wire.DriveEnded) == []
    assert console.status().tripped_mask == 0


@pytest.mark.parametrize("message", [HOLD, HELD, wire.Scan(1, 80)], ids=["drive", "watch", "scan"])
def test_what_comes_after_the_end_changes_nothing(console, message):
    """The tables of the activity that is over are still there; none of its entries is called."""
    configure(console, HOLD)
    console.ask(message)
    console.wait(400)
    console.listen()
    console.events.clear()
    core = console.box.core
    before = len(console.replies)
    core.core_over_current_isr(ctypes.byref(FULL), 0)
    core.core_set_isr(ctypes.byref(FULL))
    core.core_edge_isr()
    core.core_sets_lost_isr(3)
    core.core_tick_1ms()
    console.wait(3)
    assert console.events == []
    assert len(console.replies) == before
    status = console.status()
    assert (status.tripped_mask, status.driving_channel, status.state) == (0, 0, BoxState.IDLE)
    assert console.refusal(replace(HOLD, trace_samples=0)) is None  # not tripped either


@pytest.mark.parametrize("message", [HOLD, HELD, TRAIN], ids=["hold", "watch", "train"])
def test_what_comes_after_the_cut_changes_nothing(console, message):
    """Between the cut in an interrupt and the report in the main loop."""
    configure(console, message)
    assert console.refusal(message) is None
    console.wait(3)
    core = console.box.core
    core.activity_cut(EndReason.CANCELLED)
    core.core_over_current_isr(ctypes.byref(FULL), 0)
    core.core_set_isr(ctypes.byref(FULL))
    core.core_edge_isr()
    core.core_sets_lost_isr(3)
    console.wait(2)
    assert [event.reason for event in console.said(wire.DriveEnded)] == [EndReason.CANCELLED]
    assert console.said(wire.Trip) == []
    assert console.on() == []


def test_a_cut_stops_the_converter_and_plans_nothing(console):
    """A look at rest may begin when the main loop has its turn."""
    core = console.box.core
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, trace_samples=0)) is None
    console.wait(2)
    assert core.host_converting()
    core.activity_cut(EndReason.STOPPED)
    assert not core.host_converting()
    assert core.host_edges_planned() & 0xFF == 0


def test_what_is_over_is_complete_whatever_cuts_it_then(console):
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, duration_ms=5000, trace_samples=0)) is None
    console.wait(3)
    core = console.box.core
    core.activity_over()
    assert not core.host_converting()
    assert core.host_edges_planned() & 0xFF == 0
    core.activity_cut(EndReason.STOPPED)
    core.outputs_all_off()
    console.wait(1)
    assert [event.reason for event in console.said(wire.DriveEnded)] == [EndReason.COMPLETE]


def test_a_trace_that_is_cut_ends_there(console):
    configure(console, HOLD)
    assert console.refusal(replace(HOLD, trace_samples=600)) is None
    console.wait(2)
    console.box.core.activity_cut(EndReason.CANCELLED)
    console.wait(1)
    (ready,) = console.said(wire.TraceReady)
    assert 0 < ready.sample_count <= 2000 // 26 + 1


def test_a_new_session_switches_off_what_is_on_for_no_reason(console):
    switched_on(console)
    console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, 2, 0))
    assert console.on() == []


# -- each millisecond ------------------------------------------------------------------------------------


def test_a_stop_input_that_is_open_stops_again_within_a_millisecond(console):
    """Its interrupt comes once; each millisecond looks again."""
    core = console.box.core
    core.host_stop_input(True)
    console.wait(1)
    console.events.clear()
    assert core.guard_clear(core.guard_stops())
    assert console.refusal(TRAIN)[0] is Refusal.NOT_CONFIGURED
    assert not core.guard_stopped()
    console.wait(1)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.STOP_INPUT)]
    assert core.guard_stopped()


def test_an_open_stop_input_refuses_before_the_millisecond_has_seen_it(console):
    core = console.box.core
    configure(console, HOLD)
    core.host_stop_input(True)
    assert core.guard_clear(core.guard_stops())
    assert console.refusal(HOLD) == (Refusal.STOP_INPUT_OPEN, 0)


def test_a_supply_that_went_without_an_interrupt_stops_within_a_millisecond(console):
    core = console.box.core
    core.plant_set_supply.argtypes = (ctypes.c_double,)
    core.plant_set_supply(4.0)
    assert core.guard_supply_good()
    console.wait(1)
    assert not core.guard_supply_good()
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.SUPPLY)]
    assert [event.present for event in console.said(wire.SupplyEvent)] == [0]
    core.plant_set_supply(13.5)
    console.wait(1)
    assert [event.present for event in console.said(wire.SupplyEvent)] == [1]


def test_a_bad_supply_refuses_with_its_voltage(console):
    core = console.box.core
    configure(console, HOLD)
    core.host_supply(ctypes.c_double(4.0))
    assert core.guard_clear(core.guard_stops())
    assert console.refusal(HOLD) == (Refusal.SUPPLY_OUT_OF_RANGE, core.guard_supply_mv())
    assert core.guard_supply_mv() == 205 * 19_550 // 1000  # 4.0 V are 204.6 counts


def test_only_a_class_that_is_needed_and_not_armed_cuts(console):
    core = console.box.core
    configure(console, HOLD, hazard=Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.refusal(wire.Arm(Hazard.SPARK, 100))
    assert console.refusal(replace(HOLD, duration_ms=1000, trace_samples=0)) is None
    console.wait(200)  # spark has run out meanwhile
    assert console.on() == [1]
    core.arming_reset()
    core.core_tick_1ms()
    assert console.on() == []
    console.wait(1)
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.DISARMED)]


def test_a_watch_that_is_not_held_needs_no_class(console):
    configure(console, WATCH, hazard=Hazard.HEAT)
    assert console.refusal(WATCH) is None
    console.wait(100)
    assert console.said(wire.DriveEnded) == []
    assert console.status().state is BoxState.SENSING


# -- boards of other scales -------------------------------------------------------------------------------


def supply_board(uv_per_count):
    return Board(supply_min_mv=6000, supply_max_mv=18_000, supply_uv_per_count=uv_per_count)


@pytest.mark.parametrize(
    ("uv_per_count", "counts", "good"),
    [
        # 6 V are exactly 300 counts of 20 mV, 18 V 900
        (20_000, 299, False),
        (20_000, 300, True),
        (20_000, 900, True),
        (20_000, 901, False),
        # one count is a microvolt short of 6 V, three are 3 uV short of 18 V
        (5_999_999, 1, False),
        (5_999_999, 2, True),
        (5_999_999, 3, True),
        (5_999_999, 4, False),
        (19_550, 306, False),
        (19_550, 307, True),
    ],
)
def test_the_first_whole_count_at_the_least_voltage_is_good(guarded, uv_per_count, counts, good):
    guarded.restart()
    core = guarded.core
    core.plant_set_supply.argtypes = (ctypes.c_double,)
    core.plant_set_supply((counts + 0.01) * 19.55e-3)
    board = supply_board(uv_per_count)
    core.guard_reset(ctypes.byref(board), False)
    assert core.guard_supply_good() is good
    assert core.guard_supply_mv() == min(0xFFFF, counts * uv_per_count // 1000)
    guarded.restart()


@pytest.mark.parametrize(
    ("uv_per_count", "mv"), [(65_535_000, 65_535), (65_536_000, 65_535), (65_534_000, 65_534)]
)
def test_a_voltage_beyond_the_highest_number_reads_as_that(guarded, uv_per_count, mv):
    guarded.restart()
    core = guarded.core
    core.plant_set_supply.argtypes = (ctypes.c_double,)
    core.plant_set_supply(1.01 * 19.55e-3)
    board = supply_board(uv_per_count)
    core.guard_reset(ctypes.byref(board), False)
    assert core.guard_supply_mv() == mv
    guarded.restart()


def other_scale(core, **channel):
    """Let over-current know another scale of every channel; keep what is returned."""
    scale = {
        "wide_na_per_count": 19_665_683,
        "wide_offset_x100": 600,
        "fine_na_per_count": 1_986_097,
        "fine_offset_x100": 1600,
    }
    channels = (Channel * 16)(*[Channel(kind=0, **(scale | channel)) for _ in range(16)])
    board = Board(channel_count=16, adc_bits=10, channels=channels)
    core.trip_reset(ctypes.byref(board))
    return board


def test_the_first_channel_is_reported_as_any_other(guarded):
    """40 mA a count, no offset: 1023 counts are 40.92 A, the most that 32 bits of hundredths of a microampere hold."""
    console = HostConsole(guarded)
    console.greet()
    kept = other_scale(guarded.core, wide_na_per_count=40_000_000, wide_offset_x100=0)
    for counts, ma in ((1, 40), (1023, 40_920)):
        guarded.core.trip_now(1, 1023, counts)
        console.wait(1)
        assert console.said(wire.Trip) == [wire.Trip(1, ma)]
        console.wait(1)
        assert console.said(wire.Trip) == []
    assert kept.channel_count == 16
    guarded.restart()


def test_a_hundredth_of_a_count_above_the_offset_is_a_current(guarded):
    guarded.restart()
    core = guarded.core
    for offset_x100, hundredths in ((1599, 1), (1600, 0), (1601, 0)):
        kept = other_scale(core, fine_offset_x100=offset_x100)
        assert core.trip_current_10na(1, 16, 0) == hundredths * (1_986_097 >> 10)
        assert kept.adc_bits == 10
    guarded.restart()


def test_classes_beyond_the_last_are_never_missing(guarded):
    guarded.restart()
    core = guarded.core
    assert core.arming_missing(0b000011) == 1
    assert core.arming_missing(0b1000000) == 0
    core.arming_arm(1, 1000)
    assert core.arming_missing(0b000011) == 0


def test_time_wraps_around_in_the_middle_of_an_arming(guarded):
    """32 bits of half microseconds last 36 minutes."""
    guarded.restart()
    core = guarded.core
    core.arming_arm(Hazard.HEAT, 60_000)
    ends = 60_000 * 2000
    assert core.arming_valid_mask(ends - 1) == 1 << Hazard.HEAT
    assert core.arming_valid_mask(ends) == 0
    assert core.arming_valid_mask(0xFFFFFFFF) == 1 << Hazard.HEAT  # a tick before it began


def test_milliseconds_are_counted(console):
    before = console.box.core.guard_uptime_ms()
    console.wait_ns(7 * MS)
    assert console.box.core.guard_uptime_ms() == before + 7
