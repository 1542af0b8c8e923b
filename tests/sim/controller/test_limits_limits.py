"""Ceilings, the channel's own limits and sense caps, on both sides of each boundary."""

import math
from dataclasses import replace

import pytest

from loomproof_sim.controller.limits import (
    ChannelTable,
    RefuseError,
    ceilings_of,
    check_hold,
    check_pulses,
    check_step,
    hazards_of,
    sense_cap_us,
)
from loomproof_wire.messages import ChannelConfig, ChannelKind, Configure, Hazard, LoadClass, Refusal
from testbed.class_limits import within_class

AT_THE_CEILING = {
    "max_on_time_us": 100_000,
    "max_hold_ms": 10_000,
    "max_duty_permille": 900,
    "max_count": 2000,
    "max_current_ma": 20_000,
    "max_sense_us": 200,
}
"""As printed in docs/protocol.md."""
REASON = {
    "max_on_time_us": Refusal.OVER_ON_TIME,
    "max_hold_ms": Refusal.OVER_ON_TIME,
    "max_duty_permille": Refusal.OVER_DUTY,
    "max_count": Refusal.OVER_COUNT,
    "max_current_ma": Refusal.OVER_CURRENT_LIMIT,
    "max_sense_us": Refusal.OVER_ON_TIME,
}


def request_of(channel=1, load=LoadClass.VALVE, hazard=Hazard.NONE, fuel_pump=0, **limits):
    plain = within_class(Configure(channel, load, hazard, fuel_pump, **AT_THE_CEILING))
    return replace(plain, **limits)


def config_of(load=LoadClass.VALVE, **limits):
    return ChannelConfig(1, load, Hazard.NONE, 0, **(AT_THE_CEILING | limits))


def refused(check, *words, **named):
    with pytest.raises(RefuseError) as caught:
        check(*words, **named)
    return caught.value.reason, caught.value.detail


@pytest.fixture
def table():
    return ChannelTable({1: ChannelKind.LOW_SIDE, 2: ChannelKind.LOGIC, 3: ChannelKind.HALF_BRIDGE})


def test_a_refusal_says_its_reason_and_detail():
    assert str(RefuseError(Refusal.BUSY, 3)) == "busy (3)"
    assert RefuseError(Refusal.BUSY).detail == 0


# -- hazards ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "hazard"),
    [
        (LoadClass.NONE, None),
        (LoadClass.INJECTOR, Hazard.FUEL),
        (LoadClass.COIL, Hazard.SPARK),
        (LoadClass.IGNITER_COIL, Hazard.SPARK),
        (LoadClass.RELAY, None),
        (LoadClass.VALVE, None),
        (LoadClass.LAMP, None),
        (LoadClass.MOTOR, Hazard.MOTION),
        (LoadClass.STEPPER, None),
        (LoadClass.LOGIC_INPUT, None),
    ],
)
def test_a_load_carries_its_hazard_and_what_it_is_said_to_be(load, hazard):
    bound = set() if hazard is None else {hazard}
    assert hazards_of(load, Hazard.NONE) == bound
    assert hazards_of(load, Hazard.HEAT) == bound | {Hazard.HEAT}


def test_a_motor_that_cranks_needs_crank_only_and_an_injector_that_cranks_fuel_too():
    assert hazards_of(LoadClass.MOTOR, Hazard.CRANK) == {Hazard.CRANK}
    assert hazards_of(LoadClass.INJECTOR, Hazard.CRANK) == {Hazard.CRANK, Hazard.FUEL}


# -- ceilings and configurations ----------------------------------------------------------------------


def test_the_ceilings_by_driver():
    low = ceilings_of(ChannelKind.LOW_SIDE)
    assert {name: getattr(low, name) for name in AT_THE_CEILING} == AT_THE_CEILING
    assert ceilings_of(ChannelKind.HIGH_SIDE) == low
    logic = ceilings_of(ChannelKind.LOGIC)
    assert {name: getattr(logic, name) for name in AT_THE_CEILING} == AT_THE_CEILING | {"max_current_ma": 200}
    bridge = ceilings_of(ChannelKind.HALF_BRIDGE)
    assert {name: getattr(bridge, name) for name in AT_THE_CEILING} == AT_THE_CEILING | {"max_sense_us": 0}


@pytest.mark.parametrize("name", AT_THE_CEILING)
def test_a_configuration_at_the_ceiling_is_held_and_one_over_it_is_not(table, name):
    table.configure(request_of())
    ceiling = AT_THE_CEILING[name]
    detail = ceiling * 1000 if name == "max_hold_ms" else ceiling  # every on-time is told in us
    over = request_of(**{name: ceiling + 1})
    assert refused(table.configure, over) == (REASON[name], detail)
    assert table.config(1) == config_of()


@pytest.mark.parametrize(
    ("channel", "limits", "refusal"),
    [
        (2, {"max_current_ma": 201}, (Refusal.OVER_CURRENT_LIMIT, 200)),
        (3, {"max_sense_us": 1}, (Refusal.OVER_ON_TIME, 0)),
        (4, {}, (Refusal.NO_SUCH_CHANNEL, 4)),
        (0, {}, (Refusal.NO_SUCH_CHANNEL, 0)),
    ],
)
def test_what_the_driver_cannot_do_is_refused(table, channel, limits, refusal):
    assert refused(table.configure, request_of(channel, **limits)) == refusal
    if channel in (2, 3):
        table.configure(request_of(channel, **{name: value - 1 for name, value in limits.items()}))


@pytest.mark.parametrize(
    ("load", "hazard", "taken"),
    [
        (LoadClass.RELAY, Hazard.NONE, True),
        (LoadClass.MOTOR, Hazard.MOTION, True),
        (LoadClass.RELAY, Hazard.FUEL, False),
        (LoadClass.INJECTOR, Hazard.NONE, False),
    ],
)
def test_a_fuel_pump_never_needs_fuel(table, load, hazard, taken):
    request = request_of(1, load, hazard, fuel_pump=1)
    if taken:
        table.configure(request)
        assert table.config(1).fuel_pump == 1
    else:
        assert refused(table.configure, request) == (Refusal.PUMP_CHANNEL, 1)
        assert table.config(1).load_class is LoadClass.NONE
    table.configure(request_of(1, load, hazard))


def test_a_channel_never_configured_is_all_zeros_and_not_usable(table):
    for channel in (1, 2, 3):
        config = table.config(channel)
        assert (config.channel, config.load_class, config.hazard) == (channel, LoadClass.NONE, Hazard.NONE)
        assert {getattr(config, name) for name in AT_THE_CEILING} == {0}
        assert config.fuel_pump == 0
        assert refused(table.usable, channel) == (Refusal.NOT_CONFIGURED, channel)
    assert refused(table.config, 4) == (Refusal.NO_SUCH_CHANNEL, 4)
    table.configure(request_of(1))
    assert table.usable(1) == config_of()


def test_all_configurations_come_in_channel_order_and_hazards_add_up():
    table = ChannelTable({2: ChannelKind.LOW_SIDE, 1: ChannelKind.LOW_SIDE})
    table.configure(request_of(2, LoadClass.INJECTOR))
    table.configure(request_of(1, LoadClass.COIL, Hazard.HEAT))
    assert [config.channel for config in table.all()] == [1, 2]
    assert table.hazards((1, 2)) == {Hazard.FUEL, Hazard.SPARK, Hazard.HEAT}
    assert table.hazards((2,)) == {Hazard.FUEL}
    assert table.hazards(()) == set()


# -- trains, holds, steps -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pulses", "refusal"),
    [
        ({}, None),
        ({"on_time_us": 4001, "period_us": 80_000}, (Refusal.OVER_ON_TIME, 4000)),
        ({"on_time_us": 4000, "period_us": 16_000}, None),
        ({"on_time_us": 4000, "period_us": 15_999}, (Refusal.OVER_DUTY, 250)),
        ({"on_time_us": 3999, "period_us": 15_996}, None),
        ({"count": 10}, None),
        ({"count": 11}, (Refusal.OVER_COUNT, 10)),
    ],
)
def test_a_train_at_its_limit_and_one_over(pulses, refusal):
    config = config_of(max_on_time_us=4000, max_duty_permille=250, max_count=10)
    asked = {"count": 1, "period_us": 80_000, "on_time_us": 1000} | pulses
    if refusal is None:
        check_pulses(config, **asked)
    else:
        assert refused(check_pulses, config, **asked) == refusal


def test_a_hold_at_its_limit_and_one_over():
    check_hold(config_of(max_hold_ms=300), 300)
    assert refused(check_hold, config_of(max_hold_ms=300), 301) == (Refusal.OVER_ON_TIME, 300_000)
    assert refused(check_hold, config_of(max_hold_ms=0), 1) == (Refusal.OVER_ON_TIME, 0)


@pytest.mark.parametrize(
    ("steps", "step_us", "refusal"),
    [
        (10, 4000, None),
        (-10, 4000, None),
        (11, 4000, (Refusal.OVER_COUNT, 10)),
        (-11, 4000, (Refusal.OVER_COUNT, 10)),
        (10, 4001, (Refusal.OVER_ON_TIME, 4000)),
    ],
)
def test_steps_at_their_limit_and_one_over_both_ways(steps, step_us, refusal):
    config = config_of(max_on_time_us=4000, max_count=10)
    if refusal is None:
        check_step(config, steps=steps, step_us=step_us)
    else:
        assert refused(check_step, config, steps=steps, step_us=step_us) == refusal


# -- sense pulses -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "kind", "configured_us", "supply_v", "cap_us"),
    [
        (LoadClass.NONE, ChannelKind.LOW_SIDE, 100, 13.5, 0),
        (LoadClass.VALVE, ChannelKind.LOW_SIDE, 100, 13.5, 100),
        (LoadClass.VALVE, ChannelKind.LOW_SIDE, 300, 13.5, 200),
        (LoadClass.VALVE, ChannelKind.HALF_BRIDGE, 100, 13.5, 0),
        (LoadClass.VALVE, ChannelKind.LOW_SIDE, 100, 15.0, 100),
        (LoadClass.VALVE, ChannelKind.LOW_SIDE, 100, math.nextafter(15.0, 16.0), 80),
        (LoadClass.VALVE, ChannelKind.LOW_SIDE, 70, 16.0, 70),
        (LoadClass.COIL, ChannelKind.LOW_SIDE, 200, 12.0, 37),
        (LoadClass.IGNITER_COIL, ChannelKind.LOW_SIDE, 200, 12.0, 37),
        (LoadClass.COIL, ChannelKind.LOW_SIDE, 30, 12.0, 30),
        (LoadClass.COIL, ChannelKind.LOW_SIDE, 200, 16.0, 27),
        (LoadClass.COIL, ChannelKind.LOW_SIDE, 200, 0.5, 200),
    ],
)
def test_the_longest_sense_pulse(load, kind, configured_us, supply_v, cap_us):
    """sqrt(2 * 0.1 mJ * 1 mH) = 0.4472 mVs (E = (V t)^2 / 2 L, any circuits textbook): 37.3 us at 12 V, 27.9 at 16 V."""
    config = config_of(load, max_sense_us=configured_us)
    assert sense_cap_us(config, kind, supply_v) == cap_us


def test_a_sense_pulse_on_no_supply_is_bounded_all_the_same():
    """447 us at 1 V and below; no division by zero."""
    config = config_of(LoadClass.COIL, max_sense_us=200)
    assert sense_cap_us(config, ChannelKind.LOW_SIDE, 0.0) == 200
