"""A driver that conducts while it is off, or a current reading that is dead, stops the box for good, channel named."""

from dataclasses import replace

import pytest
from hostconsole import HOLD, PLAIN, TRAIN, configure

from loomproof_wire import messages as wire
from loomproof_wire.messages import BoxState, Hazard, Refusal, StopReason

SOON_MS = 16 + 20 + 2
"""A turn over sixteen channels, twenty looks at one of them, and what rounding adds."""
FAULTS = {
    StopReason.DRIVER_ON: lambda console, channel: console.box.core.host_stick_driver(channel),
    StopReason.CURRENT_PATH: lambda console, channel: console.box.core.host_deaden_current(channel),
}
each_fault = pytest.mark.parametrize("reason", FAULTS, ids=lambda reason: reason.name.lower())


@each_fault
@pytest.mark.parametrize("channel", [1, 3, 16])
def test_it_is_noticed_at_rest_latched_and_named(console, reason, channel):
    configure(console, HOLD, hazard=Hazard.HEAT)
    console.refusal(wire.Arm(Hazard.HEAT, 60_000))
    console.wait(50)
    assert console.said(wire.Stopped) == []
    FAULTS[reason](console, channel)
    console.wait(SOON_MS)
    assert [trip.channel for trip in console.said(wire.Trip)] == [channel]
    assert console.said(wire.Stopped) == [wire.Stopped(reason)]
    status = console.status()
    assert (status.state, status.stop_reason) == (BoxState.STOPPED, reason)
    assert (status.tripped_mask, status.armed_mask) == (1 << (channel - 1), 0)
    assert console.refusal(HOLD) == (Refusal.STOPPED, reason)


@each_fault
def test_nothing_but_power_off_leaves_it(console, reason):
    configure(console, HOLD)
    FAULTS[reason](console, 3)
    console.wait(SOON_MS)
    for message in (wire.ClearStop(), wire.Stop(), replace(PLAIN, channel=3), wire.ClearStop()):
        console.refusal(message)
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, reason)
    console.greet(2)
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, reason)
    status = console.status()
    assert (status.stop_reason, status.tripped_mask) == (reason, 1 << 2)


@each_fault
def test_it_takes_the_place_of_another_reason(console, reason):
    console.refusal(wire.Stop())
    FAULTS[reason](console, 2)
    console.wait(SOON_MS)
    assert console.status().stop_reason is reason
    assert console.refusal(wire.ClearStop()) == (Refusal.STOPPED, reason)


@each_fault
def test_it_is_noticed_without_a_session(guarded, reason):
    guarded.restart(16)
    if reason is StopReason.DRIVER_ON:
        guarded.core.host_stick_driver(5)
    else:
        guarded.core.host_deaden_current(5)
    guarded.advance_to(SOON_MS * 1_000_000)
    assert guarded.core.guard_reason() & 0xFF == reason


def test_a_driver_that_fails_while_another_drives_is_noticed_after_the_drive(console):
    """Found by an attack: the other channel was driven beside it, and ended as if nothing were wrong."""
    configure(console, HOLD)
    assert console.refusal(HOLD) is None
    console.box.core.host_stick_driver(4)
    console.wait(30)
    ended = console.said(wire.DriveEnded)
    console.wait(SOON_MS)
    assert ended == [wire.DriveEnded(1, 1, wire.EndReason.COMPLETE)]
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.DRIVER_ON)]


def test_a_dead_converter_is_noticed_at_rest(console):
    console.box.core.host_converter_sticks()
    console.wait(60)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.CURRENT_PATH)]


def test_a_sound_box_never_finds_one(console):
    configure(console, TRAIN)
    for _ in range(5):
        assert console.refusal(TRAIN) is None
        console.wait(200)
    assert console.said(wire.Stopped) == []
