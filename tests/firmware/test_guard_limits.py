"""The limits of the core, function by function and at their very edge. The sense cap of a coil is 0.1 mJ in 1 mH, from
E = (V t)^2 / (2 L).

The rules and every number: docs/protocol.md.
"""

import ctypes
import math
import zlib

import pytest
from core_types import Configure, configured

from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass, Refusal

NONE = (0, 0)
LOW_SIDE, HIGH_SIDE, LOGIC, BRIDGE = 1, 12, 13, 15
OVER = {
    "max_on_time_us": (100_000, Refusal.OVER_ON_TIME, 100_000),
    "max_hold_ms": (10_000, Refusal.OVER_ON_TIME, 10_000_000),
    "max_duty_permille": (900, Refusal.OVER_DUTY, 900),
    "max_count": (2000, Refusal.OVER_COUNT, 2000),
    "max_current_ma": (20_000, Refusal.OVER_CURRENT_LIMIT, 20_000),
    "max_sense_us": (200, Refusal.OVER_ON_TIME, 200),
}
"""Field -> the highest that any channel may have, and how more is refused."""


@pytest.fixture
def core(guarded):
    guarded.restart()
    return guarded.core


# -- limits ------------------------------------------------------------------------------------------------------


def test_the_kinds_of_the_board(core):
    kinds = [core.limits_kind_of(channel) for channel in range(1, 17)]
    assert kinds == [0] * 11 + [1, 2, 2, 3, 3]


@pytest.mark.parametrize(
    ("channel_count", "inside", "outside"), [(16, (1, 16), (0, 17, 255)), (4, (1, 4), (0, 5))]
)
def test_a_channel_that_the_board_lacks_is_refused(guarded, channel_count, inside, outside):
    guarded.restart(channel_count)
    assert [guarded.core.limits_check_channel(channel).pair for channel in inside] == [NONE] * 2
    for channel in outside:
        assert guarded.core.limits_check_channel(channel).pair == (Refusal.NO_SUCH_CHANNEL, channel)


@pytest.mark.parametrize("channel", [LOW_SIDE, HIGH_SIDE, LOGIC, BRIDGE])
def test_the_ceilings_are_those_of_the_driver(core, channel):
    ceilings = core.limits_ceilings(channel)
    expected = {name: ceiling for name, (ceiling, *_) in OVER.items()}
    expected |= {LOGIC: {"max_current_ma": 200}, BRIDGE: {"max_sense_us": 0}}.get(channel, {})
    assert {name: getattr(ceilings, name) for name in OVER} == expected


@pytest.mark.parametrize("field", OVER)
def test_a_configuration_over_a_ceiling_is_refused(core, field):
    ceiling, reason, detail = OVER[field]
    assert configured(core) == NONE
    assert configured(core, **{field: ceiling + 1}) == (reason, detail)
    assert configured(core, **{field: ceiling - 1}) == NONE


def test_the_ceilings_of_logic_outputs_and_half_bridges_are_lower(core):
    assert configured(core, LOGIC, max_current_ma=200) == NONE
    assert configured(core, LOGIC, max_current_ma=201) == (Refusal.OVER_CURRENT_LIMIT, 200)
    assert configured(core, BRIDGE, max_sense_us=0) == NONE
    assert configured(core, BRIDGE, max_sense_us=1) == (Refusal.OVER_ON_TIME, 0)


def test_a_configuration_is_held_as_it_was_given_and_a_refused_one_is_not(core):
    held = {
        "load_class": LoadClass.RELAY, "hazard": Hazard.HEAT, "fuel_pump": 1, "max_on_time_us": 51, "max_hold_ms": 1,
        "max_duty_permille": 2, "max_count": 3, "max_current_ma": 14, "max_sense_us": 5,
    }  # fmt: skip
    limits = {name: held[name] for name in OVER}
    assert configured(core, 3, LoadClass.RELAY, Hazard.HEAT, 1, **limits) == NONE
    assert configured(core, 3, max_count=2001) == (Refusal.OVER_COUNT, 2000)
    config = core.limits_config(3).contents
    assert {name: getattr(config, name) for name in held} == held
    for channel in (2, 4):
        config = core.limits_config(channel).contents
        assert [getattr(config, name) for name, _ in Configure._fields_] == [channel] + [0] * 9


BOUND = {
    LoadClass.INJECTOR: Hazard.FUEL,
    LoadClass.COIL: Hazard.SPARK,
    LoadClass.IGNITER_COIL: Hazard.SPARK,
    LoadClass.MOTOR: Hazard.MOTION,
}


@pytest.mark.parametrize("said", Hazard)
@pytest.mark.parametrize("load", LoadClass)
def test_a_load_carries_its_own_hazard_and_the_one_that_is_said(core, load, said):
    assert configured(core, 2, load, said) == NONE
    bound = BOUND.get(load, Hazard.NONE)
    if load is LoadClass.MOTOR and said is Hazard.CRANK:
        bound = Hazard.CRANK
    assert core.limits_hazards(2) == sum(1 << hazard for hazard in {bound, said} - {Hazard.NONE})


@pytest.mark.parametrize(
    ("load", "hazard", "refused"),
    [
        (LoadClass.INJECTOR, Hazard.NONE, True),
        (LoadClass.RELAY, Hazard.FUEL, True),
        (LoadClass.RELAY, Hazard.NONE, False),
        (LoadClass.MOTOR, Hazard.HEAT, False),
    ],
)
def test_a_fuel_pump_needs_no_arming_of_fuel(core, load, hazard, refused):
    assert configured(core, 7, load, hazard, 1) == ((Refusal.PUMP_CHANNEL, 7) if refused else NONE)
    assert configured(core, 7, load, hazard, 0) == NONE


@pytest.mark.parametrize("channel_count", [16, 4])
def test_the_digest_is_over_the_configurations_of_every_channel(guarded, channel_count):
    guarded.restart(channel_count)
    assert configured(guarded.core, 2, LoadClass.COIL, Hazard.SPARK, max_count=7) == NONE
    bodies = []
    for channel in range(1, channel_count + 1):
        config = guarded.core.limits_config(channel).contents
        values = [getattr(config, name) for name, _ in Configure._fields_]
        bodies.append(wire.ChannelConfig.LAYOUT.pack(*values))
    assert guarded.core.limits_digest() == zlib.crc32(b"".join(bodies))


@pytest.mark.parametrize(
    ("load", "most_us", "supply_mv", "cap_us"),
    [
        (LoadClass.NONE, 200, 12_000, 0),
        (LoadClass.VALVE, 200, 15_000, 200),
        (LoadClass.VALVE, 200, 15_001, 80),
        (LoadClass.VALVE, 79, 15_001, 79),
        (LoadClass.VALVE, 81, 15_001, 80),
        (LoadClass.VALVE, 200, 0, 200),
        (LoadClass.COIL, 200, 13_500, 33),
        (LoadClass.IGNITER_COIL, 200, 13_500, 33),
        (LoadClass.COIL, 32, 13_500, 32),
        (LoadClass.COIL, 200, 15_001, 29),
        (LoadClass.COIL, 200, 2_236, 200),
        (LoadClass.COIL, 200, 2_240, 199),
        (LoadClass.COIL, 200, 11_531, 38),
        (LoadClass.COIL, 200, 49_793, 8),
        (LoadClass.COIL, 200, 0, 200),
        (LoadClass.COIL, 200, 999, 200),
    ],
)
def test_the_longest_sense_pulse(core, load, most_us, supply_mv, cap_us):
    configured(core, 5, load, max_sense_us=most_us)
    assert core.limits_sense_cap_us(5, supply_mv) == cap_us
    if load in (LoadClass.COIL, LoadClass.IGNITER_COIL) and supply_mv > 1000:
        energy_us = math.sqrt(2 * 0.1e-3 * 1e-3) / (supply_mv / 1000) * 1e6
        assert cap_us <= energy_us


@pytest.mark.parametrize(
    ("count", "period_us", "on_us", "refused"),
    [
        (10, 2000, 1000, NONE),
        (10, 10_000_000, 20_000, NONE),
        (10, 2000, 20_001, (Refusal.OVER_ON_TIME, 20_000)),
        (10, 1999, 1000, (Refusal.OVER_DUTY, 500)),
        (10, 2000, 1001, (Refusal.OVER_DUTY, 500)),
        (11, 2000, 1000, (Refusal.OVER_COUNT, 10)),
        (9, 2000, 999, NONE),
        (11, 1000, 20_001, (Refusal.OVER_ON_TIME, 20_000)),
        (11, 1000, 1000, (Refusal.OVER_DUTY, 500)),
    ],
)
def test_pulses_are_held_against_the_configuration(core, count, period_us, on_us, refused):
    configured(core, 6, max_on_time_us=20_000, max_duty_permille=500, max_count=10)
    assert core.limits_check_pulses(6, count, period_us, on_us).pair == refused


def test_a_duty_over_long_periods_does_not_overflow(core):
    """900 thousandths of 10 s are more than 32 bits of microseconds times a thousand."""
    configured(core, 6)
    assert core.limits_check_pulses(6, 1, 10_000_000, 100_000).pair == NONE
    assert core.limits_check_pulses(6, 1, 4_772_186, 100_000).pair == NONE


def test_a_hold_and_a_step_are_held_against_the_configuration(core):
    configured(core, 6, max_on_time_us=20_000, max_hold_ms=40, max_count=10)
    assert core.limits_check_hold(6, 40).pair == NONE
    assert core.limits_check_hold(6, 41).pair == (Refusal.OVER_ON_TIME, 40_000)
    for steps in (10, -10, 0):
        assert core.limits_check_step(6, ctypes.c_int16(steps), 20_000).pair == NONE
    for steps in (11, -11, -32_768):
        assert core.limits_check_step(6, ctypes.c_int16(steps), 20_000).pair == (Refusal.OVER_COUNT, 10)
    assert core.limits_check_step(6, ctypes.c_int16(11), 20_001).pair == (Refusal.OVER_ON_TIME, 20_000)


@pytest.mark.parametrize(
    ("field", "refused"),
    [
        (0xFF, NONE), (0xFE, (Refusal.UNKNOWN_MESSAGE, 0)), (0, (Refusal.OUT_OF_RANGE, 0)),
        (7, (Refusal.OUT_OF_RANGE, 7)),
    ],
)  # fmt: skip
def test_what_a_decoder_returns_becomes_a_refusal(core, field, refused):
    assert core.refusal_of_field(field).pair == refused
