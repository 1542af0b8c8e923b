"""Arm tokens at the very nanosecond of their expiry."""

import pytest

from loomproof_sim.controller.arming import HAZARDS, Arming
from loomproof_sim.controller.ports import NEVER_NS
from loomproof_wire.messages import DisarmReason, Hazard


@pytest.fixture
def lost():
    return []


@pytest.fixture
def arming(lost):
    return Arming(lambda hazard, reason: lost.append((hazard, reason)))


def test_every_hazard_but_none_can_be_armed():
    assert HAZARDS == (Hazard.FUEL, Hazard.SPARK, Hazard.CRANK, Hazard.MOTION, Hazard.HEAT)


def test_armed_until_the_expiry_and_not_at_it(arming):
    arming.arm(Hazard.FUEL, 1000)
    assert arming.armed(Hazard.FUEL, 999)
    assert not arming.armed(Hazard.FUEL, 1000)
    assert not arming.armed(Hazard.SPARK, 0)


def test_nothing_is_armed_at_the_first_instant(arming):
    assert not arming.armed(Hazard.FUEL, 0)
    assert arming.missing(frozenset({Hazard.FUEL}), 0) is Hazard.FUEL
    assert arming.mask() == 0


def test_a_new_arming_replaces_the_old_one_shorter_too(arming):
    arming.arm(Hazard.FUEL, 1000)
    arming.arm(Hazard.FUEL, 500)
    assert not arming.armed(Hazard.FUEL, 500)
    arming.arm(Hazard.FUEL, 2000)
    assert arming.armed(Hazard.FUEL, 1999)


def test_the_first_missing_class_is_named(arming):
    arming.arm(Hazard.SPARK, 1000)
    wanted = frozenset({Hazard.HEAT, Hazard.SPARK, Hazard.CRANK})
    assert arming.missing(wanted, 0) is Hazard.CRANK
    assert arming.missing(frozenset({Hazard.SPARK}), 0) is None
    assert arming.missing(frozenset({Hazard.SPARK}), 1000) is Hazard.SPARK
    assert arming.missing(frozenset(), 0) is None


def test_what_is_dropped_is_told_once(arming, lost):
    arming.arm(Hazard.SPARK, 1000)
    arming.drop(Hazard.SPARK, DisarmReason.ASKED)
    arming.drop(Hazard.SPARK, DisarmReason.ASKED)
    assert lost == [(Hazard.SPARK, DisarmReason.ASKED)]
    assert not arming.armed(Hazard.SPARK, 0)


def test_dropping_all_drops_each_armed_class_in_order(arming, lost):
    for hazard in (Hazard.HEAT, Hazard.FUEL):
        arming.arm(hazard, 1000)
    arming.drop_all(DisarmReason.STOPPED)
    assert lost == [(Hazard.FUEL, DisarmReason.STOPPED), (Hazard.HEAT, DisarmReason.STOPPED)]
    assert arming.mask() == 0


def test_what_has_run_out_expires_and_the_rest_stays(arming, lost):
    arming.arm(Hazard.FUEL, 1000)
    arming.arm(Hazard.HEAT, 1001)
    arming.expire(999)
    assert lost == []
    arming.expire(1000)
    assert lost == [(Hazard.FUEL, DisarmReason.EXPIRED)]
    assert arming.armed(Hazard.HEAT, 1000)


def test_the_next_expiry_is_the_earliest(arming):
    assert arming.next_ns() == NEVER_NS
    arming.arm(Hazard.FUEL, 2000)
    arming.arm(Hazard.MOTION, 1000)
    assert arming.next_ns() == 1000


def test_what_is_left_is_rounded_up_to_a_millisecond(arming):
    arming.arm(Hazard.FUEL, 5_000_001)
    arming.arm(Hazard.HEAT, 5_000_000)
    assert arming.left_ms(0) == (6, 0, 0, 0, 5)
    assert arming.left_ms(5_000_000) == (1, 0, 0, 0, 0)
    assert arming.left_ms(5_000_001) == (0, 0, 0, 0, 0)
    assert arming.left_ms(9_000_000) == (0, 0, 0, 0, 0)


def test_the_mask_has_a_bit_for_each_armed_hazard(arming):
    arming.arm(Hazard.FUEL, 1)
    arming.arm(Hazard.HEAT, 1)
    assert arming.mask() == 0b100010
