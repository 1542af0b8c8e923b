"""What the core refuses, in which order, and at which limit.

The rules and every number: docs/protocol.md.
"""

import ctypes
from dataclasses import replace

import pytest
from core_types import Board
from hostconsole import (
    ARMED,
    BRIDGE,
    EVERY,
    HELD,
    HOLD,
    PEAK,
    PLAIN,
    SENSE,
    STEPPER,
    TRAIN,
    WATCH,
    HostConsole,
    channels_of,
    configure,
    name,
)

from loomproof_wire import messages as wire
from loomproof_wire.messages import DisarmReason, EndReason, Hazard, LoadClass, Refusal, StopReason

# -- the order of refusals ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("message", EVERY, ids=name)
def test_each_refusal_comes_before_those_behind_it(console, message):
    """From the last to the first: each is brought about on top of all that follow it."""
    channels = channels_of(message)
    needs_arming = message in ARMED
    core = console.box.core
    configure(console, message, hazard=Hazard.HEAT)
    assert console.refusal(wire.Arm(Hazard.HEAT, 60_000)) is None
    other = replace(PLAIN, channel=9)
    assert console.refusal(other) is None  # drops every arming
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    assert console.refusal(replace(HOLD, channel=9, duration_ms=5000)) is None
    assert console.refusal(message) == (Refusal.BUSY, 9)
    if needs_arming:
        console.refusal(wire.Disarm(Hazard.HEAT))
        assert console.refusal(message) == (Refusal.NOT_ARMED, Hazard.HEAT)
    core.trip_now(channels[-1], 0, 0)
    assert console.refusal(message) == (Refusal.TRIPPED, channels[-1])
    console.box.core.host_supply(ctypes.c_double(5.0))
    assert console.refusal(wire.ClearStop()) == (Refusal.SUPPLY_OUT_OF_RANGE, core.guard_supply_mv())
    assert console.refusal(message) == (Refusal.STOPPED, StopReason.SUPPLY)


@pytest.mark.parametrize("message", EVERY, ids=name)
def test_nothing_starts_while_the_box_is_not_ready(console, message):
    core = console.box.core
    configure(console, message)
    core.host_stop_input(True)
    assert console.refusal(message) == (Refusal.STOPPED, StopReason.STOP_INPUT)
    assert console.refusal(wire.ClearStop()) == (Refusal.STOP_INPUT_OPEN, 0)
    core.host_stop_input(False)
    core.host_supply(ctypes.c_double(5.0))
    assert console.refusal(wire.ClearStop())[0] is Refusal.SUPPLY_OUT_OF_RANGE
    core.host_supply(ctypes.c_double(13.5))
    assert console.refusal(wire.ClearStop()) is None
    assert console.refusal(message) is None
    console.cancel()
    console.ask(wire.Hello(wire.PROTOCOL_MAJOR, 0, 2, 0))
    assert console.refusal(message) == (Refusal.NO_HEARTBEAT, 0)
    console.beat(2)
    assert console.refusal(message) is None


@pytest.mark.parametrize("message", EVERY, ids=name)
def test_a_channel_that_is_not_configured_is_not_driven(console, message):
    channels = channels_of(message)
    assert console.refusal(message) == (Refusal.NOT_CONFIGURED, channels[0])
    configure(console, message)
    last = replace(PLAIN, channel=channels[-1], load_class=LoadClass.NONE, max_sense_us=0)
    assert console.refusal(last) is None
    assert console.refusal(message) == (Refusal.NOT_CONFIGURED, channels[-1])


@pytest.mark.parametrize(
    ("message", "kinds"),
    [(TRAIN, "lhs"), (HOLD, "lhs"), (PEAK, "lh"), (SENSE, "lhs"), (HELD, "lhs"), (WATCH, "lhs")],
    ids=name,
)  # fmt: skip
def test_a_request_takes_the_kinds_of_driver_that_it_is_for(console, message, kinds):
    for channel, kind in ((1, "l"), (12, "h"), (13, "s"), (15, "b")):
        asked = replace(message, channel=channel)
        reason = console.refusal(asked)
        assert reason == ((Refusal.NOT_CONFIGURED if kind in kinds else Refusal.WRONG_KIND), channel)


def test_a_stepper_and_a_bridge_take_the_kinds_of_driver_that_they_are_for(console):
    for last, reason in ((12, Refusal.NOT_CONFIGURED), (13, Refusal.WRONG_KIND), (15, Refusal.WRONG_KIND)):
        stepper = replace(STEPPER, channels=(1, 2, 3, last))
        assert console.refusal(stepper) == (reason, 1 if reason is Refusal.NOT_CONFIGURED else last)
    assert console.refusal(replace(BRIDGE, channel_ground=14)) == (Refusal.WRONG_KIND, 14)
    assert console.refusal(replace(BRIDGE, channel_supply=1)) == (Refusal.WRONG_KIND, 1)


@pytest.mark.parametrize(
    "message", [TRAIN, HOLD, PEAK, SENSE, HELD, WATCH, wire.GetChannel(1), wire.GetConfig(1), PLAIN], ids=name
)
def test_a_channel_beyond_the_board_is_refused(guarded, message):
    console = HostConsole(guarded, 4)
    console.greet()
    assert console.refusal(replace(message, channel=5)) == (Refusal.NO_SUCH_CHANNEL, 5)


def test_a_stepper_or_bridge_beyond_the_board_is_refused(guarded):
    console = HostConsole(guarded, 4)
    console.greet()
    assert console.refusal(replace(STEPPER, channels=(1, 2, 3, 5))) == (Refusal.NO_SUCH_CHANNEL, 5)
    assert console.refusal(BRIDGE) == (Refusal.NO_SUCH_CHANNEL, 15)


@pytest.mark.parametrize(
    ("message", "field"), [(TRAIN, 6), (HOLD, 3), (PEAK, 9), (BRIDGE, 6), (SENSE, 2)], ids=name
)
def test_a_trace_longer_than_the_board_holds_is_refused(console, message, field):
    memory = (ctypes.c_uint8 * 1000)()
    board = Board(trace_buffers=2, max_trace_samples=40, trace_memory=memory)
    console.box.core.trace_reset(ctypes.byref(board))
    assert console.refusal(replace(message, trace_samples=41)) == (Refusal.OUT_OF_RANGE, field)
    configure(console, message)
    assert console.refusal(replace(message, trace_samples=40)) is None
    console.cancel()
    assert console.refusal(replace(message, trace_samples=39)) is None
    console.cancel()


def test_what_contradicts_itself_is_out_of_range(console):
    assert console.refusal(replace(PEAK, peak_us=2001)) == (Refusal.OUT_OF_RANGE, 4)
    assert console.refusal(replace(PEAK, peak_us=2000)) == (Refusal.NOT_CONFIGURED, 1)
    assert console.refusal(replace(STEPPER, steps=0)) == (Refusal.OUT_OF_RANGE, 1)
    for channels in ((1, 1, 2, 3), (1, 2, 3, 1), (4, 1, 2, 2), (1, 2, 1, 3), (16, 2, 3, 16)):
        assert console.refusal(replace(STEPPER, channels=channels)) == (Refusal.OUT_OF_RANGE, 0)
    assert console.refusal(replace(BRIDGE, channel_ground=15)) == (Refusal.OUT_OF_RANGE, 1)


# -- limits ------------------------------------------------------------------------------------------------------


def test_pulses_over_the_channels_limits_are_refused(console):
    configure(console, TRAIN, max_on_time_us=2000, max_duty_permille=200, max_count=3)
    for message in (TRAIN, replace(PEAK, period_us=20_000)):
        assert console.refusal(replace(message, on_time_us=2001, period_us=20_000)) == (
            Refusal.OVER_ON_TIME,
            2000,
        )
        assert console.refusal(replace(message, on_time_us=2000, period_us=9999)) == (Refusal.OVER_DUTY, 200)
        assert console.refusal(replace(message, count=4)) == (Refusal.OVER_COUNT, 3)
        assert console.refusal(replace(message, count=3, on_time_us=2000, period_us=10_000)) is None
        console.cancel()


@pytest.mark.parametrize("message", [HOLD, HELD, BRIDGE], ids=name)
def test_a_hold_over_the_channels_limit_is_refused(console, message):
    last = channels_of(message)[-1]
    configure(console, message)
    most_us = 0 if last >= 15 else 100
    assert console.refusal(replace(PLAIN, channel=last, max_hold_ms=30, max_sense_us=most_us)) is None
    assert console.refusal(replace(message, duration_ms=31)) == (Refusal.OVER_ON_TIME, 30_000)
    assert console.refusal(replace(message, duration_ms=30)) is None


def test_an_unheld_watch_may_last(console):
    configure(console, WATCH, max_hold_ms=0)
    assert console.refusal(WATCH) is None


@pytest.mark.parametrize("limited", [15, 16])
def test_a_bridge_keeps_the_duty_of_both_its_channels(console, limited):
    configure(console, BRIDGE)
    assert console.refusal(replace(PLAIN, channel=limited, max_duty_permille=400, max_sense_us=0)) is None
    assert console.refusal(replace(BRIDGE, duty_permille=401)) == (Refusal.OVER_DUTY, 400)
    assert console.refusal(replace(BRIDGE, duty_permille=400)) is None


@pytest.mark.parametrize("limited", [1, 2, 3, 4])
def test_a_step_keeps_the_limits_of_all_its_channels(console, limited):
    configure(console, STEPPER)
    assert console.refusal(replace(PLAIN, channel=limited, max_on_time_us=1500, max_count=4)) is None
    assert console.refusal(replace(STEPPER, step_us=1501)) == (Refusal.OVER_ON_TIME, 1500)
    for steps in (5, -5):
        assert console.refusal(replace(STEPPER, step_us=1500, steps=steps)) == (Refusal.OVER_COUNT, 4)
    assert console.refusal(replace(STEPPER, step_us=1500, steps=-4)) is None


def test_a_sense_pulse_keeps_its_cap(console):
    configure(console, SENSE, load_class=LoadClass.COIL, hazard=Hazard.SPARK)
    mv = console.box.core.guard_supply_mv()
    cap_us = 447_213 // mv
    assert console.refusal(replace(SENSE, on_time_us=cap_us + 1)) == (Refusal.OVER_ON_TIME, cap_us)
    assert console.refusal(replace(SENSE, on_time_us=cap_us)) is None
    console.wait(20)
    (_, on, _), (_, _, off) = [(at, channel, at) for at, channel, _ in console.box.switches()]
    assert (on, off) == (1, off)


# -- arming and the fuel pump ------------------------------------------------------------------------------------


@pytest.mark.parametrize("message", ARMED, ids=name)
def test_every_hazard_of_its_channels_must_be_armed(console, message):
    configure(console, message, load_class=LoadClass.MOTOR, hazard=Hazard.HEAT)
    assert console.refusal(message) == (Refusal.NOT_ARMED, Hazard.MOTION)
    console.refusal(wire.Arm(Hazard.MOTION, 60_000))
    assert console.refusal(message) == (Refusal.NOT_ARMED, Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    assert console.refusal(message) is None
    console.wait(5)
    console.refusal(wire.Disarm(Hazard.HEAT))
    ended = console.said(wire.DriveEnded)
    assert [event.reason for event in ended] == [EndReason.DISARMED]
    assert console.on() == []


@pytest.mark.parametrize("message", [replace(SENSE, on_time_us=30), WATCH], ids=name)
def test_what_moves_nothing_needs_no_arming(console, message):
    configure(console, message, load_class=LoadClass.COIL, hazard=Hazard.HEAT)
    assert console.refusal(message) is None


@pytest.mark.parametrize("message", EVERY, ids=name)
def test_a_fuel_pump_takes_the_arming_of_fuel_away(console, message):
    configure(console, message)
    last = channels_of(message)[-1]
    most_us = 0 if last >= 15 else 100
    assert console.refusal(replace(PLAIN, channel=last, fuel_pump=1, max_sense_us=most_us)) is None
    console.refusal(wire.Arm(Hazard.FUEL, 60_000))
    assert console.refusal(message) is None
    if message in ARMED:
        assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.FUEL, DisarmReason.PUMP_DRIVEN)]
        assert console.refusal(wire.Arm(Hazard.FUEL, 60_000)) == (Refusal.PUMP_CHANNEL, 0)
        assert console.refusal(wire.Arm(Hazard.SPARK, 60_000)) is None
        console.refusal(wire.Cancel())
        assert console.refusal(wire.Arm(Hazard.FUEL, 60_000)) is None
    else:
        assert console.said(wire.Disarmed) == []
        assert console.refusal(wire.Arm(Hazard.FUEL, 60_000)) is None


@pytest.mark.parametrize("message", [STEPPER, BRIDGE], ids=name)
def test_a_drive_that_needs_fuel_and_runs_the_pump_is_refused(console, message):
    first, *_, last = channels_of(message)
    configure(console, message)
    most_us = 0 if last >= 15 else 100
    assert console.refusal(replace(PLAIN, channel=first, hazard=Hazard.FUEL, max_sense_us=most_us)) is None
    assert console.refusal(replace(PLAIN, channel=last, fuel_pump=1, max_sense_us=most_us)) is None
    console.refusal(wire.Arm(Hazard.FUEL, 60_000))
    assert console.refusal(message) == (Refusal.PUMP_CHANNEL, last)


def test_an_arming_that_runs_out_ends_the_drive_on_its_millisecond(console):
    configure(console, HOLD, hazard=Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 150))
    assert console.refusal(replace(HOLD, duration_ms=1000, trace_samples=0)) is None
    console.wait(149)
    assert console.on() == [1]
    console.wait(1)
    assert console.on() == []
    console.wait(1)
    assert console.said(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.DISARMED)]
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.EXPIRED)]
