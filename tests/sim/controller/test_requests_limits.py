"""Requests at their limits, the order of their refusals, and exactly when a drive is over."""

import zlib
from dataclasses import replace

import pytest

from loomproof_sim.profiles import REFERENCE
from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, DisarmReason, EndReason, Hazard, LoadClass, Refusal, StopReason

MS, US = 1_000_000, 1000


def over_at_us(console):
    """When the activity is over, in us from now; the box is moved there."""
    start_ns = console.box.now_ns
    while console.box.machine.activity is not None:
        console.beat()
        console.box.advance_to(console.box.next_event_ns())
    return (console.box.now_ns - start_ns) / US


def peak_hold_of(**changes):
    usual = wire.DrivePeakHold(1, 1, 20_000, 2000, 1000, 400, 250, 0, 1, 0)
    return replace(usual, **changes)


# -- what cannot be asked at all ----------------------------------------------------------------------


def test_a_message_that_is_no_request_is_unknown(console):
    assert console.refusal(wire.Stopped(StopReason.COMMAND))[0] is Refusal.UNKNOWN_MESSAGE


def test_a_channel_the_box_lacks_is_refused_by_every_request(new_console):
    console = new_console(replace(REFERENCE, channel_count=2))
    console.open()
    for request in (
        wire.GetChannel(3),
        wire.GetConfig(3),
        wire.DriveTrain(3, 1, 20_000, 1000, 0, 1, 0),
        wire.Sense(3, 50, 5),
        wire.Watch(3, 0, 100, 1000, 300),
        console.configuration(3),
    ):
        assert console.refusal(request) == (Refusal.NO_SUCH_CHANNEL, 3)
    assert console.ask(wire.GetChannel(2)).channel == 2


def test_a_peak_is_no_longer_than_its_pulse(console):
    console.configure(1)
    assert console.refusal(peak_hold_of(peak_us=2001)) == (Refusal.OUT_OF_RANGE, 4)
    console.ask(peak_hold_of(peak_us=2000))


def test_peak_and_hold_keeps_to_the_limits_of_a_train(console):
    console.configure(1)
    assert console.refusal(peak_hold_of(on_time_us=20_001, period_us=100_000)) == (
        Refusal.OVER_ON_TIME,
        20_000,
    )
    assert console.refusal(peak_hold_of(on_time_us=10_001)) == (Refusal.OVER_DUTY, 500)
    assert console.refusal(peak_hold_of(count=101)) == (Refusal.OVER_COUNT, 100)
    console.ask(peak_hold_of(on_time_us=10_000, count=100))


def test_logic_outputs_take_no_peak_and_hold(console):
    console.configure(14)
    assert console.refusal(peak_hold_of(channel=14)) == (Refusal.WRONG_KIND, 14)
    console.ask(wire.DriveTrain(14, 1, 20_000, 1000, 0, 1, 0))


@pytest.mark.parametrize(
    ("channels", "steps", "field"), [((1, 2, 3, 3), 4, 0), ((1, 2, 3, 4), 0, 1), ((1, 1, 3, 4), 0, 1)]
)
def test_a_stepper_needs_four_windings_and_a_step(console, channels, steps, field):
    for channel in (1, 2, 3, 4):
        console.configure(channel, LoadClass.STEPPER)
    assert console.refusal(wire.DriveStepper(channels, steps, 1000)) == (Refusal.OUT_OF_RANGE, field)
    console.ask(wire.DriveStepper((1, 2, 3, 4), 1, 1000))


def test_a_stepper_keeps_to_the_limits_of_each_winding(console):
    for channel in (1, 2, 3, 4):
        console.configure(channel, LoadClass.STEPPER)
    console.configure(4, LoadClass.STEPPER, max_count=10, max_on_time_us=3000)
    assert console.refusal(wire.DriveStepper((1, 2, 3, 4), -11, 1000)) == (Refusal.OVER_COUNT, 10)
    assert console.refusal(wire.DriveStepper((1, 2, 3, 4), 10, 3001)) == (Refusal.OVER_ON_TIME, 3000)
    console.ask(wire.DriveStepper((1, 2, 3, 4), -10, 3000))


def test_a_bridge_needs_two_channels_and_keeps_to_duty_and_hold_of_both(console):
    for channel in (15, 16):
        console.configure(channel, LoadClass.RELAY)
    console.configure(16, LoadClass.RELAY, max_duty_permille=300, max_hold_ms=100)
    good = wire.DriveBridge(15, 16, 100, 300, 300, 1, 0)
    assert console.refusal(replace(good, channel_ground=15)) == (Refusal.OUT_OF_RANGE, 1)
    assert console.refusal(replace(good, duty_permille=301)) == (Refusal.OVER_DUTY, 300)
    assert console.refusal(replace(good, duration_ms=101)) == (Refusal.OVER_ON_TIME, 100_000)
    console.ask(good)


def test_a_sense_pulse_at_its_cap_and_one_over(console):
    console.configure(1, max_sense_us=60)
    assert console.refusal(wire.Sense(1, 61, 5)) == (Refusal.OVER_ON_TIME, 60)
    console.ask(wire.Sense(1, 60, 5))
    assert console.box.machine.activity.state is BoxState.SENSING


# -- the order of the refusals: channel and kind, configuration, stop, stop input, heartbeat, supply, trip, arming, busy


def test_refusals_come_in_the_order_of_the_protocol(console, train):
    assert console.refusal(train(15)) == (Refusal.WRONG_KIND, 15)
    console.box.set_stop_input(True)
    assert console.refusal(train(1)) == (Refusal.NOT_CONFIGURED, 1)
    console.configure(1, LoadClass.INJECTOR)
    assert console.refusal(train(1)) == (Refusal.STOPPED, StopReason.STOP_INPUT)
    console.box.latch.clear()
    assert console.refusal(train(1)) == (Refusal.STOP_INPUT_OPEN, 0)
    console.box.set_stop_input(False)
    console.box.latch.clear()
    console.box.machine.heartbeat.forget()
    console.plant.supply_v = 5.0
    assert console.refusal(train(1)) == (Refusal.NO_HEARTBEAT, 0)
    console.beat()
    assert console.refusal(train(1)) == (Refusal.SUPPLY_OUT_OF_RANGE, 5000)
    console.plant.supply_v = 13.5
    console.box.supply_changed()
    console.ask(wire.ClearStop())
    console.beat()
    console.box.machine.parts.tripped.add(1)
    assert console.refusal(train(1)) == (Refusal.TRIPPED, 1)
    console.box.machine.parts.tripped.clear()
    assert console.refusal(train(1)) == (Refusal.NOT_ARMED, Hazard.FUEL)
    console.configure(2)
    console.ask(wire.Arm(Hazard.FUEL, 1000))
    console.ask(wire.DriveHold(2, 100, 1, 0))
    assert console.refusal(train(1)) == (Refusal.BUSY, 2)
    assert console.refusal(train(1, count=2000)) == (Refusal.BUSY, 2)  # limits come last


def test_an_input_just_released_is_no_longer_open(console):
    console.box.set_stop_input(True)
    assert console.refusal(wire.ClearStop()) == (Refusal.STOP_INPUT_OPEN, 0)
    console.box.set_stop_input(False)
    console.ask(wire.ClearStop())
    assert console.ask(wire.GetStatus()).stop_reason is StopReason.NONE


def test_a_drive_of_several_channels_cannot_need_fuel_and_run_the_pump(console):
    console.configure(1, LoadClass.INJECTOR)
    console.configure(2, LoadClass.RELAY, fuel_pump=1)
    console.configure(3, LoadClass.RELAY)
    console.configure(4, LoadClass.RELAY)
    console.ask(wire.Arm(Hazard.FUEL, 60_000))
    assert console.refusal(wire.DriveStepper((1, 2, 3, 4), 4, 1000)) == (Refusal.PUMP_CHANNEL, 2)
    console.configure(2, LoadClass.RELAY)
    console.ask(wire.Arm(Hazard.FUEL, 60_000))
    console.ask(wire.DriveStepper((1, 2, 3, 4), 4, 1000))


# -- arming, disarming, configuring -------------------------------------------------------------------


def test_an_arming_lasts_as_many_milliseconds_as_asked(console, train):
    console.configure(1, LoadClass.INJECTOR)
    console.run(3)
    console.ask(wire.Arm(Hazard.FUEL, 100))
    assert console.ask(wire.GetStatus()).armed_left_ms == (100, 0, 0, 0, 0)
    console.box.advance_to(103 * MS - 1)
    assert console.ask(wire.GetStatus()).armed_mask == 1 << Hazard.FUEL
    console.box.advance_to(103 * MS)
    assert console.refusal(train(1)) == (Refusal.NOT_ARMED, Hazard.FUEL)


@pytest.mark.parametrize(
    ("hazard", "left"), [(Hazard.FUEL, 1 << Hazard.SPARK), (Hazard.SPARK, 1 << Hazard.FUEL), (Hazard.NONE, 0)]
)
def test_disarming_takes_one_class_or_all(console, hazard, left):
    for armed in (Hazard.FUEL, Hazard.SPARK):
        console.ask(wire.Arm(armed, 1000))
    console.ask(wire.Disarm(hazard))
    assert console.ask(wire.GetStatus()).armed_mask == left


@pytest.mark.parametrize("hazard", [Hazard.FUEL, Hazard.SPARK])
def test_only_fuel_cannot_be_armed_while_the_pump_runs(console, hazard):
    console.configure(1, LoadClass.RELAY, fuel_pump=1)
    console.configure(2, LoadClass.RELAY)
    console.ask(wire.DriveHold(2, 10, 1, 0))
    console.ask(wire.Arm(hazard, 1000))
    console.run(20)
    console.ask(wire.DriveHold(1, 10, 1, 0))
    if hazard is Hazard.FUEL:
        assert console.refusal(wire.Arm(hazard, 1000)) == (Refusal.PUMP_CHANNEL, 0)
    else:
        console.ask(wire.Arm(hazard, 1000))


def test_a_pump_drops_the_arming_of_fuel_alone(console):
    console.configure(1, LoadClass.RELAY, fuel_pump=1, max_hold_ms=2000)
    for start in (wire.DriveHold(1, 10, 1, 0), wire.Watch(1, 1, 100, 1000, 300)):
        for hazard in (Hazard.FUEL, Hazard.HEAT):
            console.ask(wire.Arm(hazard, 60_000))
        console.ask(start)
        assert console.box.machine.pump_running
        assert console.ask(wire.GetStatus()).armed_mask == 1 << Hazard.HEAT
        console.run(200)
        assert not console.box.machine.pump_running
    assert console.events(wire.Disarmed) == [wire.Disarmed(Hazard.FUEL, DisarmReason.PUMP_DRIVEN)] * 2


@pytest.mark.parametrize("look", [wire.Sense(1, 50, 5), wire.Watch(1, 0, 100, 1000, 300), wire.Scan(1, 50)])
def test_looking_at_a_pump_is_no_driving_it(console, look):
    console.configure(1, LoadClass.RELAY, fuel_pump=1)
    console.ask(wire.Arm(Hazard.FUEL, 60_000))
    console.send(look)
    assert not console.box.machine.pump_running
    console.run(200)
    assert console.ask(wire.GetStatus()).armed_mask == 1 << Hazard.FUEL


def test_a_configuration_ends_a_trip_of_that_channel_alone_and_disarms(console):
    console.box.machine.parts.tripped.update((1, 2))
    console.ask(wire.Arm(Hazard.HEAT, 60_000))
    console.configure(1)
    status = console.ask(wire.GetStatus())
    assert (status.tripped_mask, status.armed_mask) == (0b10, 0)
    console.ask(wire.DriveHold(1, 100, 1, 0))
    assert console.refusal(console.configuration(2)) == (Refusal.BUSY, 1)


def test_the_digest_is_the_crc_of_every_configuration_in_channel_order(console):
    """CRC-32 of the bodies of GetConfig's replies one after the other (docs/protocol.md)."""
    console.configure(3, LoadClass.INJECTOR)
    console.configure(1)
    bodies = [console.ask(wire.GetConfig(channel)).encode_body() for channel in range(1, 17)]
    assert console.ask(wire.GetDigest()).digest == zlib.crc32(b"".join(bodies))


def test_cancelling_ends_the_drive_and_nothing_else(console):
    console.ask(wire.Cancel())
    console.configure(1)
    console.ask(wire.Arm(Hazard.HEAT, 60_000))
    console.ask(wire.DriveHold(1, 100, 1, 0))
    console.run(10)
    console.ask(wire.Cancel())
    assert console.plant.on_times(1) == [(0, 10 * MS)]
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.CANCELLED)]
    status = console.ask(wire.GetStatus())
    assert (status.state, status.armed_mask) == (BoxState.IDLE, 1 << Hazard.HEAT)


# -- when it is over ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("permille", "over_us"), [(500, 10_000), (333, 15_016), (900, 5556)])
def test_a_train_is_over_when_another_could_keep_the_duty(console, train, permille, over_us):
    """5000 us at 333 permille are one in 15015.02 us, rounded up."""
    console.configure(1, max_duty_permille=permille)
    console.ask(train(1, count=1, period_us=50_000, on_time_us=5000))
    assert over_at_us(console) == over_us
    console.configure(1, max_duty_permille=permille)
    console.ask(peak_hold_of(on_time_us=5000, period_us=50_000))
    assert over_at_us(console) == over_us


def test_a_rest_counts_from_the_last_switching_on(console, train):
    console.configure(1, max_duty_permille=250)
    console.ask(train(1, count=3, period_us=50_000, on_time_us=5000))
    assert over_at_us(console) == 100_000 + 20_000


def test_a_hold_and_a_sense_pulse_are_over_at_once(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 100, 1, 0))
    assert over_at_us(console) == 100_000
    console.ask(wire.Sense(1, 50, 1))
    assert over_at_us(console) == 50


def test_a_sense_pulse_is_over_when_its_trace_is_full(console):
    """Five sets of 26 us, the first current 2 us and its drain 19.5 us after that: the last at 125.5 us."""
    console.configure(1)
    console.ask(wire.Sense(1, 50, 5))
    assert over_at_us(console) == 125.501


@pytest.mark.parametrize(
    ("request_", "state", "channel"),
    [
        (wire.DriveHold(1, 100, 1, 0), BoxState.DRIVING, 1),
        (wire.DriveStepper((2, 1, 3, 4), 4, 1000), BoxState.DRIVING, 2),
        (wire.Sense(1, 50, 100), BoxState.SENSING, 1),
        (wire.Watch(1, 0, 100, 1000, 300), BoxState.SENSING, 1),
    ],
)
def test_the_status_says_what_is_being_done(console, request_, state, channel):
    for number in (1, 2, 3, 4):
        console.configure(number)
    console.ask(request_)
    status = console.ask(wire.GetStatus())
    assert (status.state, status.driving_channel) == (state, channel)
    console.run(300)
    status = console.ask(wire.GetStatus())
    assert (status.state, status.driving_channel) == (BoxState.IDLE, 0)


# -- scans --------------------------------------------------------------------------------------------


def test_a_scan_pulses_each_chosen_channel_for_the_lesser_of_asked_and_cap(console):
    console.configure(1, max_sense_us=80)
    console.configure(2, max_sense_us=30)
    console.configure(3)
    assert console.send(wire.Scan(0b1011, 60)) is None
    console.run(20)
    (result,) = console.events(wire.ScanResult)
    assert (result.mask, result.sensed_mask, result.on_time_us) == (0b1011, 0b0011, 60)
    assert console.plant.on_times(1) == [(0, 60 * US)]
    ((on, off),) = console.plant.on_times(2)
    assert (on, off - on) == (MS, 30 * US)
    assert console.plant.on_times(3) == []


def test_a_scan_leaves_a_tripped_channel_alone_and_trips_one_that_is_over(new_console):
    console = new_console(ohm=1.0, henry=1e-6)
    console.open()
    for channel in (1, 2, 3):
        console.configure(channel)
    console.box.machine.parts.tripped.add(2)
    console.send(wire.Scan(0b111, 60))
    console.run(20)
    (result,) = console.events(wire.ScanResult)
    assert result.sensed_mask == 0b101
    ((on, off),) = console.plant.on_times(1)
    assert (
        off - on == 7 * US
    )  # the first sample; two more, 26 us apart, and 1 us after the last the pulse would end
    assert [trip.channel for trip in console.events(wire.Trip)] == [1, 3]
    assert console.box.machine.parts.tripped == {1, 2, 3}


def test_no_sense_pulse_without_a_heartbeat_but_a_look_is_taken(console):
    console.configure(1)
    console.box.machine.heartbeat.forget()
    assert console.refusal(wire.Scan(1, 50)) == (Refusal.NO_HEARTBEAT, 0)
    console.send(wire.Scan(1, 0))
    console.run(5)
    (result,) = console.events(wire.ScanResult)
    assert (result.sensed_mask, console.plant.log) == (0, [])
    assert result.drain_counts[0] > 0


def test_no_scan_while_something_else_is_done(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 100, 1, 0))
    for on_time_us in (0, 50):
        assert console.refusal(wire.Scan(1, on_time_us)) == (Refusal.BUSY, 1)
