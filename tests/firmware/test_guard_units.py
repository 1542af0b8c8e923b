"""The guards of the core, function by function and at their very limits.

Limits and rules: docs/protocol.md. The sense cap of a coil is 0.3 mJ in 2 mH, from E = (V t)^2 / (2 L).
"""

import ctypes
import math
import zlib

import pytest
from core_types import Board, Channel, Configure, typed
from hostbox import HostBox
from hostconsole import MS, HostConsole

from loomproof_wire import messages as wire
from loomproof_wire.messages import DisarmReason, Hazard, LoadClass, Refusal

NONE = (0, 0)
LOW_SIDE, HIGH_SIDE, LOGIC, BRIDGE = 1, 12, 13, 15
CEILINGS = {
    "max_on_time_us": (100_000, Refusal.OVER_ON_TIME, 100_000),
    "max_hold_ms": (10_000, Refusal.OVER_ON_TIME, 10_000_000),
    "max_duty_permille": (900, Refusal.OVER_DUTY, 900),
    "max_count": (2000, Refusal.OVER_COUNT, 2000),
    "max_current_ma": (20_000, Refusal.OVER_CURRENT_LIMIT, 20_000),
    "max_sense_us": (200, Refusal.OVER_ON_TIME, 200),
}
"""Field -> the highest that any channel may have, and how more is refused."""


@pytest.fixture(scope="module")
def box():
    made = HostBox()
    typed(made.core)
    return made


@pytest.fixture
def core(box):
    box.restart()
    return box.core


def configured(core, channel=LOW_SIDE, load=LoadClass.VALVE, hazard=Hazard.NONE, pump=0, **fields):
    """Take a configuration at the ceilings but for `fields`; returns how it was refused."""
    limits = {name: ceiling for name, (ceiling, *_) in CEILINGS.items()} | fields
    return core.limits_configure(ctypes.byref(Configure(channel, load, hazard, pump, *limits.values()))).pair


# -- limits ------------------------------------------------------------------------------------------------------


def test_the_kinds_of_the_board(core):
    kinds = [core.limits_kind_of(channel) for channel in range(1, 17)]
    assert kinds == [0] * 11 + [1, 2, 2, 3, 3]


@pytest.mark.parametrize(
    ("channel_count", "inside", "outside"), [(16, (1, 16), (0, 17, 255)), (4, (1, 4), (0, 5))]
)
def test_a_channel_that_the_board_lacks_is_refused(box, channel_count, inside, outside):
    box.restart(channel_count)
    assert [box.core.limits_check_channel(channel).pair for channel in inside] == [NONE] * 2
    for channel in outside:
        assert box.core.limits_check_channel(channel).pair == (Refusal.NO_SUCH_CHANNEL, channel)


@pytest.mark.parametrize("channel", [LOW_SIDE, HIGH_SIDE, LOGIC, BRIDGE])
def test_the_ceilings_are_those_of_the_driver(core, channel):
    ceilings = core.limits_ceilings(channel)
    expected = {name: ceiling for name, (ceiling, *_) in CEILINGS.items()}
    expected |= {LOGIC: {"max_current_ma": 200}, BRIDGE: {"max_sense_us": 0}}.get(channel, {})
    assert {name: getattr(ceilings, name) for name in CEILINGS} == expected


@pytest.mark.parametrize("field", CEILINGS)
def test_a_configuration_over_a_ceiling_is_refused(core, field):
    ceiling, reason, detail = CEILINGS[field]
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
    limits = {name: held[name] for name in CEILINGS}
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
def test_the_digest_is_over_the_configurations_of_every_channel(box, channel_count):
    box.restart(channel_count)
    assert configured(box.core, 2, LoadClass.COIL, Hazard.SPARK, max_count=7) == NONE
    bodies = []
    for channel in range(1, channel_count + 1):
        config = box.core.limits_config(channel).contents
        values = [getattr(config, name) for name, _ in Configure._fields_]
        bodies.append(wire.ChannelConfig.LAYOUT.pack(*values))
    assert box.core.limits_digest() == zlib.crc32(b"".join(bodies))


@pytest.mark.parametrize(
    ("load", "most_us", "supply_mv", "cap_us"),
    [
        (LoadClass.NONE, 200, 12_000, 0),
        (LoadClass.VALVE, 200, 15_000, 200),
        (LoadClass.VALVE, 200, 15_001, 80),
        (LoadClass.VALVE, 79, 15_001, 79),
        (LoadClass.VALVE, 81, 15_001, 80),
        (LoadClass.VALVE, 200, 0, 200),
        (LoadClass.COIL, 200, 13_500, 81),
        (LoadClass.IGNITER_COIL, 200, 13_500, 81),
        (LoadClass.COIL, 80, 13_500, 80),
        (LoadClass.COIL, 200, 15_001, 73),
        (LoadClass.COIL, 200, 5_400, 200),
        (LoadClass.COIL, 200, 5_500, 199),
        (LoadClass.COIL, 200, 11_531, 95),
        (LoadClass.COIL, 200, 49_793, 21),
        (LoadClass.COIL, 200, 0, 200),
        (LoadClass.COIL, 200, 999, 200),
    ],
)
def test_the_longest_sense_pulse(core, load, most_us, supply_mv, cap_us):
    configured(core, 5, load, max_sense_us=most_us)
    assert core.limits_sense_cap_us(5, supply_mv) == cap_us
    if load in (LoadClass.COIL, LoadClass.IGNITER_COIL) and supply_mv > 1000:
        energy_us = math.sqrt(2 * 0.3e-3 * 2e-3) / (supply_mv / 1000) * 1e6
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


# -- over-current ------------------------------------------------------------------------------------------------

FINE_NA, WIDE_NA = 1_986_097, 19_665_683
"""Of the host board, per count; its offsets are 16 and 6 counts."""


@pytest.mark.parametrize(
    ("limit_ma", "wide", "counts"),
    [
        (10, False, 21),
        (200, False, 116),
        (1000, False, 519),
        (1937, False, 991),
        (1939, True, 104),
        (2029, True, 109),
        (2031, True, 109),
        (5000, True, 260),
        (19_980, True, 1022),
        (20_000, True, 1022),
    ],
)
def test_a_limit_in_counts_of_the_range_that_sees_it(core, limit_ma, wide, counts):
    configured(core, 4, max_current_ma=limit_ma)
    limit = core.trip_limit_of(4)
    assert (limit.wide, limit.counts) == (wide, counts)


def board_with(core, **channel):
    """Let over-current know another scale of channel 1; keep what is returned."""
    scale = {
        "wide_na_per_count": WIDE_NA,
        "wide_offset_x100": 600,
        "fine_na_per_count": FINE_NA,
        "fine_offset_x100": 1600,
    }
    channels = (Channel * 16)(Channel(kind=0, **(scale | channel)))
    board = Board(channel_count=16, adc_bits=10, channels=channels)
    core.trip_reset(ctypes.byref(board))
    return board


def test_a_limit_below_an_offset_is_the_first_count(core):
    configured(core, 1, max_current_ma=10)
    kept = board_with(core, fine_offset_x100=-600)
    limit = core.trip_limit_of(1)
    assert (limit.wide, limit.counts) == (False, 0)
    kept.channels[0].fine_offset_x100 = -500
    assert core.trip_limit_of(1).counts == 0
    kept.channels[0].fine_offset_x100 = -400
    assert core.trip_limit_of(1).counts == 1
    kept.channels[0].fine_offset_x100 = -499  # whole counts of it
    assert core.trip_limit_of(1).counts == 1


def test_a_limit_at_the_end_of_a_fine_scale_is_judged_in_the_wide_one(core):
    """1 mA a count, no offset: 1023 mA are the full scale, 992 counts (97 %) are believed."""
    kept = board_with(
        core,
        fine_na_per_count=1_000_000,
        fine_offset_x100=0,
        wide_na_per_count=10_000_000,
        wide_offset_x100=0,
    )
    for limit_ma, wide, counts in ((991, False, 991), (992, True, 99), (1022, True, 102), (1023, True, 102)):
        configured(core, 1, max_current_ma=limit_ma)
        limit = core.trip_limit_of(1)
        assert (limit.wide, limit.counts) == (wide, counts)
    kept.channels[0].fine_offset_x100 = -10_000  # believed further, but not beyond the full scale
    for limit_ma, wide, counts in ((1022, False, 922), (1023, True, 102), (1024, True, 102)):
        configured(core, 1, max_current_ma=limit_ma)
        limit = core.trip_limit_of(1)
        assert (limit.wide, limit.counts) == (wide, counts)
    for limit_ma, counts in ((10_210, 1021), (10_220, 1022), (10_230, 1022)):
        configured(core, 1, max_current_ma=limit_ma)
        assert core.trip_limit_of(1).counts == counts


@pytest.mark.parametrize(
    ("fine", "wide"),
    [(0, 0), (16, 6), (17, 6), (116, 16), (991, 200), (992, 200), (1023, 6), (1023, 5), (1023, 1023)],
)
def test_a_current_from_its_counts(core, fine, wide):
    """The fine range below 97 % of its scale, else the wide one; an error of 0.1 % is that of whole nA a count."""
    count, na = (fine - 16, FINE_NA) if fine < 992 else (wide - 6, WIDE_NA)
    current_na = max(0, count) * na
    assert core.trip_current_ua(1, fine, wide) == max(0, count) * (na // 1000)
    assert core.trip_current_10na(1, fine, wide) == max(0, count) * 100 * (na >> 10)
    assert core.trip_current_ua(1, fine, wide) * 1000 == pytest.approx(current_na, rel=1e-3)


def test_a_trip_switches_off_latches_and_is_reported_once(box):
    console = HostConsole(box)
    console.greet()
    core = typed(box.core)
    core.trip_now(3, 1023, 106)
    core.trip_now(16, 1023, 206)
    assert core.trip_mask() == 1 << 2 | 1 << 15
    console.wait(1)
    ma = 200 * (WIDE_NA // 1000) // 1000
    assert console.said(wire.Trip) == [wire.Trip(3, ma), wire.Trip(16, ma)]  # one value is kept
    console.wait(2)
    assert console.said(wire.Trip) == []
    core.trip_clear(3)
    assert core.trip_mask() == 1 << 15
    core.trip_clear(1)
    assert core.trip_mask() == 1 << 15
    box.restart()
    assert core.trip_mask() == 0


def test_a_trip_of_one_channel_is_reported_alone(box):
    console = HostConsole(box, 4)
    console.greet()
    box.core.trip_now(4, 116, 16)
    console.wait(1)
    assert console.said(wire.Trip) == [wire.Trip(4, 100 * (FINE_NA // 1000) // 1000)]


# -- arming ------------------------------------------------------------------------------------------------------

TICKS_PER_MS = 2000


def test_an_arming_holds_to_its_last_tick_and_no_longer(core):
    core.arming_arm(Hazard.SPARK, 100)
    for ticks, valid in ((0, 1), (199_999, 1), (200_000, 0), (200_001, 0)):
        assert core.arming_valid_mask(ticks) == valid << Hazard.SPARK
    for hazard in Hazard:
        if hazard not in (Hazard.NONE, Hazard.SPARK):
            core.arming_arm(hazard, 50)
    assert core.arming_valid_mask(0) == 0b111110
    assert core.arming_valid_mask(100_000) == 1 << Hazard.SPARK
    assert core.arming_mask() == 0b111110
    core.arming_reset()
    assert core.arming_mask() == core.arming_valid_mask(0) == 0


def test_a_new_arming_replaces_the_old_one(core):
    core.arming_arm(Hazard.FUEL, 100)
    core.arming_arm(Hazard.FUEL, 60)
    assert core.arming_left_ms(Hazard.FUEL) == 60
    core.arming_arm(Hazard.FUEL, 60_000)
    assert core.arming_left_ms(Hazard.FUEL) == 60_000


def test_the_first_class_that_is_not_armed_is_named(core):
    core.arming_arm(1, 1000)
    core.arming_arm(5, 1000)
    assert core.arming_missing(0b100010) == 0
    assert core.arming_missing(0) == 0
    assert core.arming_missing(0b111110) == 2
    assert core.arming_missing(0b110000) == 4
    assert core.arming_missing(0b000001) == 0  # `none` is never asked for
    core.arming_reset()
    assert core.arming_missing(0b100000) == 5
    assert core.arming_missing(0b000010) == 1


def test_what_is_left_is_rounded_up(box):
    box.restart()
    core = box.core
    core.arming_arm(Hazard.HEAT, 100)
    for ns, left_ms in (
        (0, 100),
        (500, 100),
        (MS - 500, 100),
        (MS, 99),
        (99 * MS, 1),
        (100 * MS - 500, 1),
        (100 * MS, 0),
    ):
        core.host_advance(ctypes.c_uint64(ns // 500))
        assert core.arming_left_ms(Hazard.HEAT) == left_ms
    assert core.arming_left_ms(Hazard.FUEL) == 0


def test_an_arming_that_is_dropped_has_nothing_left_and_is_reported(box):
    console = HostConsole(box)
    console.greet()
    core = box.core
    core.arming_arm(Hazard.CRANK, 1000)
    core.arming_arm(Hazard.HEAT, 1000)
    core.arming_drop(Hazard.CRANK, DisarmReason.ASKED)
    core.arming_drop(Hazard.CRANK, DisarmReason.ASKED)
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard.CRANK, DisarmReason.ASKED)]
    assert core.arming_mask() == 1 << Hazard.HEAT
    assert core.arming_left_ms(Hazard.CRANK) == 0
    for hazard in (1, 2, 3, 4, 5):
        core.arming_arm(hazard, 1000)
    core.arming_drop_all(DisarmReason.NEW_SESSION)
    assert console.said(wire.Disarmed) == [
        wire.Disarmed(Hazard(n), DisarmReason.NEW_SESSION) for n in range(1, 6)
    ]
    assert core.arming_mask() == 0


def test_armings_that_have_run_out_are_reported_each_for_itself(box):
    console = HostConsole(box)
    console.greet()
    for hazard in (1, 2, 5):
        box.core.arming_arm(hazard, 20 if hazard != 2 else 500)
    console.wait(19)
    assert console.said(wire.Disarmed) == []
    console.wait(2)
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard(n), DisarmReason.EXPIRED) for n in (1, 5)]
    assert box.core.arming_mask() == 1 << 2
