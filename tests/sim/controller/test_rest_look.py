"""A driver that conducts while it is off, or a current reading that is dead, stops the simulated box for good."""

import pytest

from loomproof_sim.controller.rest_look import BAND_A
from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, EndReason, Hazard, LoadClass, Refusal, StopReason

FAULTS = {
    StopReason.DRIVER_ON: lambda box, channel: box.stick_driver(channel),
    StopReason.CURRENT_PATH: lambda box, channel: box.deaden_current(channel),
}
each_fault = pytest.mark.parametrize("reason", FAULTS, ids=lambda reason: reason.name.lower())


@each_fault
@pytest.mark.parametrize("channel", [1, 3, 16])
def test_it_is_noticed_at_rest_latched_and_named(console, reason, channel):
    console.configure(1)
    console.ask(wire.Arm(Hazard.HEAT, 5000))
    console.run(50)
    FAULTS[reason](console.box, channel)
    console.run(120)
    assert [trip.channel for trip in console.events(wire.Trip)] == [channel]
    assert console.events(wire.Stopped) == [wire.Stopped(reason)]
    status = console.ask(wire.GetStatus())
    assert (status.state, status.stop_reason) == (BoxState.STOPPED, reason)
    assert (status.tripped_mask, status.armed_mask) == (1 << (channel - 1), 0)
    assert console.refusal(wire.DriveHold(1, 10, 1, 0)) == (Refusal.STOPPED, reason)


@each_fault
def test_it_is_looked_for_before_every_drive(console, reason):
    console.configure(1)
    console.run(30)
    FAULTS[reason](console.box, 2)
    console.run(5)
    assert console.refusal(wire.DriveHold(1, 10, 1, 0)) == (Refusal.STOPPED, reason)
    assert console.plant.on_times(1) == []


@each_fault
def test_nothing_but_power_off_leaves_it(console, reason):
    FAULTS[reason](console.box, 3)
    console.run(120)
    console.ask(wire.Stop())
    console.ask(console.configuration(3, LoadClass.VALVE))
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, reason)
    console.open(78)
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, reason)
    assert console.ask(wire.GetStatus()).tripped_mask == 1 << 2


@each_fault
def test_it_takes_the_place_of_another_reason(console, reason):
    console.ask(wire.Stop())
    FAULTS[reason](console.box, 2)
    console.run(120)
    assert console.ask(wire.GetStatus()).stop_reason is reason


def test_a_driver_that_fails_beside_a_drive_is_noticed_after_it(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 10, 1, 0))
    console.box.stick_driver(4)
    console.run(150)
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 1, EndReason.COMPLETE)]
    assert console.events(wire.Stopped) == [wire.Stopped(StopReason.DRIVER_ON)]


def test_a_sound_box_never_finds_one(console):
    assert BAND_A < 0.05
    console.configure(1)
    for _ in range(5):
        console.ask(wire.DriveHold(1, 10, 1, 0))
        console.run(200)
    assert console.events(wire.Stopped) == []
