"""Arming in the core, function by function and to the tick.

The rules and every number: docs/protocol.md.
"""

import ctypes

import pytest
from hostconsole import (
    MS,
    HostConsole,
)

from loomproof_wire import messages as wire
from loomproof_wire.messages import DisarmReason, Hazard


@pytest.fixture
def core(guarded):
    guarded.restart()
    return guarded.core


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


def test_what_is_left_is_rounded_up(guarded):
    guarded.restart()
    core = guarded.core
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


def test_an_arming_that_is_dropped_has_nothing_left_and_is_reported(guarded):
    console = HostConsole(guarded)
    console.greet()
    core = guarded.core
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


def test_armings_that_have_run_out_are_reported_each_for_itself(guarded):
    console = HostConsole(guarded)
    console.greet()
    for hazard in (1, 2, 5):
        guarded.core.arming_arm(hazard, 20 if hazard != 2 else 500)
    console.wait(19)
    assert console.said(wire.Disarmed) == []
    console.wait(2)
    assert console.said(wire.Disarmed) == [wire.Disarmed(Hazard(n), DisarmReason.EXPIRED) for n in (1, 5)]
    assert guarded.core.arming_mask() == 1 << 2
