import math

import pytest

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.safety.interlocks import VOIDS, Blocked, Interlocks, Permit, StatementRefusedError, Voider
from loomproof.safety.statements import StatementKind, form_for

HAZARDS = [h for h in HazardClass if h is not HazardClass.NONE]
KIND_OF = {
    HazardClass.FUEL: StatementKind.FUEL_ISOLATED,
    HazardClass.SPARK: StatementKind.SPARK_CLEAR,
    HazardClass.CRANK: StatementKind.CRANK_CLEAR,
    HazardClass.MOTION: StatementKind.MOTION_CLEAR,
    HazardClass.HEAT: StatementKind.HEAT_WATCHED,
}


def stated(locks, kind, now_s=0.0):
    return locks.with_statement(kind, form_for(kind, locks.setting).fact_keys, "RB", now_s)


@pytest.mark.parametrize("hazard", HAZARDS)
def test_blocked_until_stated_and_again_at_expiry(hazard):
    locks = Interlocks()
    kind = KIND_OF[hazard]
    blocked = locks.permit(hazard, 0.0)
    assert isinstance(blocked, Blocked)
    assert blocked.needs == (kind,)
    assert blocked.reasons[0].remedy
    locks = stated(locks, kind, 100.0)
    assert locks.permit(hazard, 100.0) == Permit(hazard, 700.0, (locks.statements[kind],))
    assert isinstance(locks.permit(hazard, math.nextafter(700.0, 0.0)), Permit)
    assert isinstance(locks.permit(hazard, 700.0), Blocked)
    assert "ran out" in locks.permit(hazard, 700.0).sentence
    assert isinstance(locks.permit(hazard, 99.9), Blocked)


def test_nothing_is_needed_for_class_none():
    permit = Interlocks().permit(HazardClass.NONE, 5.0)
    assert isinstance(permit, Permit)
    assert permit.until_s == math.inf


@pytest.mark.parametrize(
    "by",
    [Voider.STOP, Voider.LINK_LOST, Voider.SUPPLY_LOST, Voider.OTHER_JOB, Voider.OTHER_BOX],
)
def test_these_void_every_statement(by):
    locks = Interlocks()
    for kind in StatementKind:
        locks = stated(locks, kind)
    locks = locks.voided(by)
    assert locks.live(1.0) == ()
    for hazard in HAZARDS:
        assert isinstance(locks.permit(hazard, 1.0), Blocked)


def test_every_voider_is_in_the_table():
    assert set(VOIDS) == set(Voider)


def test_spark_after_fuel_asks_that_the_cylinders_are_aired():
    locks = stated(Interlocks(), StatementKind.SPARK_CLEAR)
    assert isinstance(locks.permit(HazardClass.SPARK, 1.0), Permit)
    locks = locks.voided(Voider.FUEL_DRIVEN)
    blocked = locks.permit(HazardClass.SPARK, 2.0)
    assert isinstance(blocked, Blocked)
    assert set(blocked.needs) == {StatementKind.CYLINDERS_AIRED, StatementKind.SPARK_CLEAR}
    locks = stated(locks, StatementKind.SPARK_CLEAR, 3.0)
    assert locks.permit(HazardClass.SPARK, 4.0).needs == (StatementKind.CYLINDERS_AIRED,)
    locks = stated(locks, StatementKind.CYLINDERS_AIRED, 5.0)
    assert isinstance(locks.permit(HazardClass.SPARK, 6.0), Permit)


def test_fuel_after_an_airing_asks_for_another():
    locks = Interlocks().voided(Voider.FUEL_DRIVEN)
    for kind in (StatementKind.CYLINDERS_AIRED, StatementKind.SPARK_CLEAR):
        locks = stated(locks, kind)
    locks = locks.voided(Voider.FUEL_DRIVEN)
    locks = stated(locks, StatementKind.SPARK_CLEAR)
    assert locks.permit(HazardClass.SPARK, 1.0).needs == (StatementKind.CYLINDERS_AIRED,)


def test_the_pump_voids_isolation_but_not_what_it_needs_itself():
    locks = Interlocks()
    for kind in StatementKind:
        locks = stated(locks, kind)
    locks = locks.voided(Voider.PUMP_DRIVEN)
    assert "pump" in locks.permit(HazardClass.FUEL, 1.0).sentence
    assert isinstance(locks.permit(HazardClass.SPARK, 1.0), Blocked)
    assert isinstance(locks.permit(HazardClass.MOTION, 1.0, pump=StatementKind.PUMP_UNPLUGGED), Permit)


def test_a_pump_needs_its_own_statement():
    locks = stated(Interlocks(), StatementKind.MOTION_CLEAR)
    blocked = locks.permit(HazardClass.MOTION, 1.0, pump=StatementKind.PUMP_UNPLUGGED)
    assert blocked.needs == (StatementKind.PUMP_UNPLUGGED,)
    assert locks.permit(HazardClass.NONE, 1.0, pump=StatementKind.PUMP_MAY_RUN).needs == (
        StatementKind.PUMP_MAY_RUN,
    )


@pytest.mark.parametrize("kind", StatementKind)
def test_one_missing_fact_or_no_name_is_refused(kind):
    form = form_for(kind, JobSetting.VEHICLE)
    for left_out in form.fact_keys:
        facts = [key for key in form.fact_keys if key != left_out]
        with pytest.raises(StatementRefusedError, match="not confirmed"):
            Interlocks().with_statement(kind, facts, "RB", 0.0)
    with pytest.raises(StatementRefusedError, match="who"):
        Interlocks().with_statement(kind, form.fact_keys, "  ", 0.0)


def test_the_typed_word_is_compared():
    keys = form_for(StatementKind.FUEL_ISOLATED, JobSetting.VEHICLE).fact_keys
    with pytest.raises(StatementRefusedError, match="isolated"):
        Interlocks().with_statement(StatementKind.FUEL_ISOLATED, keys, "RB", 0.0, typed="yes")
    locks = Interlocks().with_statement(StatementKind.FUEL_ISOLATED, keys, "RB", 0.0, typed=" Isolated ")
    assert isinstance(locks.permit(HazardClass.FUEL, 0.0), Permit)


@pytest.mark.parametrize("expiry_s", [0.0, -1.0, math.inf, math.nan, 1800.1])
def test_an_expiry_is_bounded(expiry_s):
    with pytest.raises(ValueError, match="holds for"):
        Interlocks(expiry_s=expiry_s)


def test_a_clock_that_gives_no_time_is_refused():
    keys = form_for(StatementKind.HEAT_WATCHED, JobSetting.VEHICLE).fact_keys
    for now_s in (math.nan, math.inf):
        with pytest.raises(StatementRefusedError):
            Interlocks().with_statement(StatementKind.HEAT_WATCHED, keys, "RB", now_s)


def test_withdrawing_takes_one_back():
    locks = stated(stated(Interlocks(), StatementKind.FUEL_ISOLATED), StatementKind.HEAT_WATCHED)
    locks = locks.voided(Voider.WITHDRAWN, StatementKind.FUEL_ISOLATED)
    assert isinstance(locks.permit(HazardClass.FUEL, 1.0), Blocked)
    assert isinstance(locks.permit(HazardClass.HEAT, 1.0), Permit)
