"""What decides a drive at one moment, and what is said of one that is not approved: exact, field by field."""

import math
from dataclasses import replace

import pytest

from loomproof.facts.drive import (
    BridgeRequest,
    HoldRequest,
    PulseTrain,
    TrainRequest,
)
from loomproof.facts.kinds import HazardClass
from loomproof.safety.approve import (
    LONGEST_ARM_S,
    SHORTEST_ARM_S,
    NotPermittedError,
    OverBudgetError,
    approve,
    budget_problems,
)
from loomproof.safety.budget import BoxCeilings, pulse_budget
from loomproof.safety.conditions import DriveConditions
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.heat import HeatLedger
from loomproof.safety.interlocks import Blocked, Interlocks, Permit
from loomproof.safety.statements import StatementKind, form_for
from loomproof.safety.trains import TrainProblem
from loomproof_wire.messages import Arm, Hazard, RangeError

INJECTOR, COIL, VALVE, PUMP, STARTER, FAN = range(1, 7)
NOW_S = 1000.0


def stated(setting, *kinds, made_s=NOW_S):
    """Interlocks with these statements, all made at once or each at its own moment."""
    locks = Interlocks(setting=setting, expiry_s=600.0)
    harmless = form_for(StatementKind.LOOM_HARMLESS, setting)
    locks = locks.with_statement(harmless.kind, harmless.fact_keys, "RB", 0.0)
    moments = made_s if isinstance(made_s, tuple) else (made_s,) * len(kinds)
    for kind, moment_s in zip(kinds, moments, strict=True):
        locks = locks.with_statement(kind, form_for(kind, setting).fact_keys, "RB", moment_s)
    return locks


@pytest.fixture
def conditions(job):
    return DriveConditions(
        job=job,
        ceilings={channel: BoxCeilings() for channel in range(1, 17)},
        interlocks=stated(job.setting, *(set(StatementKind) - {StatementKind.RAIL_DRY})),
        fuel=FuelLedger(),
        heat=HeatLedger(),
        reaches={},
        supply_v=13.5,
        now_s=NOW_S,
    )


def train(channel, count=1, period_us=1_000_000, on_time_us=1000):
    return TrainRequest(
        channel=channel, train=PulseTrain(count=count, period_us=period_us, on_time_us=on_time_us)
    )


class Relabelled:
    """A job in which one load is said to be of another hazard class."""

    def __init__(self, job, channel, hazard):
        self._job = job
        self._channel = channel
        self._load = job.load_type(channel).model_copy(update={"hazard": hazard})

    def load_type(self, channel):
        return self._load if channel == self._channel else self._job.load_type(channel)

    def __getattr__(self, name):
        return getattr(self._job, name)


def warmed(conditions, channel, rise_k):
    """The same conditions with one load that much warmer, just now."""
    model = conditions.budget(channel).model
    heat_j = rise_k * model.thermal.c_j_per_k
    return replace(conditions, heat=conditions.heat.with_drive(channel, model, heat_j, NOW_S, 0.0))


# -- permits ------------------------------------------------------------------------------------------


def test_only_the_pump_needs_the_statement_of_a_pump(conditions):
    setting = conditions.job.setting
    fuel_only = replace(conditions, interlocks=stated(setting, StatementKind.FUEL_ISOLATED))
    assert isinstance(fuel_only.permit((INJECTOR,)), Permit)
    moving = replace(conditions, interlocks=stated(setting, StatementKind.MOTION_CLEAR))
    assert isinstance(moving.permit((FAN,)), Permit)
    blocked = moving.permit((PUMP,))
    assert isinstance(blocked, Blocked)
    assert blocked.needs == (StatementKind.PUMP_UNPLUGGED,)


def test_the_permit_of_several_loads_is_that_which_ends_first(conditions):
    kinds = (StatementKind.FUEL_ISOLATED, StatementKind.MOTION_CLEAR)
    for made_s, hazard in (((900.0, 950.0), HazardClass.FUEL), ((950.0, 900.0), HazardClass.MOTION)):
        locks = stated(conditions.job.setting, *kinds, made_s=made_s)
        for channels in ((INJECTOR, FAN), (FAN, INJECTOR), (VALVE, INJECTOR, FAN)):
            permit = replace(conditions, interlocks=locks).permit(channels)
            assert isinstance(permit, Permit)
            assert (permit.hazard, permit.until_s) == (hazard, 1500.0)


def test_the_statement_that_ends_first_is_the_one_to_make_again(conditions):
    kinds = (StatementKind.MOTION_CLEAR, StatementKind.PUMP_UNPLUGGED)
    for made_s, soonest in (((401.0, 900.0), kinds[0]), ((900.0, 401.0), kinds[1])):
        late = replace(conditions, interlocks=stated(conditions.job.setting, *kinds, made_s=made_s))
        with pytest.raises(NotPermittedError) as error:
            approve(train(PUMP, on_time_us=50_000), late)
        blocked = error.value.blocked
        assert (blocked.hazard, blocked.needs) == (HazardClass.MOTION, (soonest,))
        assert str(error.value) == (
            "A statement would expire during the drive. Check it again, then state it."
        )


def test_what_is_missing_is_said_in_words(conditions):
    nothing = replace(conditions, interlocks=stated(conditions.job.setting))
    with pytest.raises(NotPermittedError) as error:
        approve(train(FAN), nothing)
    assert str(error.value) == 'Nobody has stated "Moving parts are clear". Check it, then state it.'


# -- budgets ------------------------------------------------------------------------------------------


def test_a_budget_is_that_of_the_conditions(conditions):
    """Supply, ceilings, fuel at the place and warmth of the load, each in its own field."""
    low = replace(
        conditions,
        supply_v=14.5,
        ceilings=dict(conditions.ceilings) | {INJECTOR: BoxCeilings(max_on_time_us=3000)},
    ).after_fuel(INJECTOR, 5.0)
    warm = warmed(low, INJECTOR, 20.0)
    warm_k = warm.heat.rise_k(INJECTOR, low.budget(INJECTOR).model, NOW_S)
    assert warm_k == pytest.approx(20.0)
    box = BoxCeilings(max_on_time_us=3000)
    for asked in ({}, {"on_time_us": 1500}, {"period_us": 90_000}, {"on_time_us": 700, "period_us": 80_000}):
        for here, rise_k in ((low, 0.0), (warm, warm_k)):
            assert here.budget(INJECTOR, **asked) == pulse_budget(
                conditions.job, INJECTOR, 14.5, ceilings=box, released_ul=5.0, warm_k=rise_k, **asked
            )


def test_a_load_that_was_never_driven_is_cold_and_a_warm_one_is_not(conditions):
    assert conditions.budget(VALVE).model.warm_k == 0.0
    warm = warmed(conditions, VALVE, 20.0)
    assert warm.budget(VALVE).model.warm_k == pytest.approx(20.0)
    assert warm.budget(INJECTOR).model.warm_k == 0.0


@pytest.mark.parametrize("liquid_ul", [1e-6, 0.5, 3.0])
def test_the_smallest_drop_of_fuel_is_fuel(conditions, liquid_ul):
    driven = conditions.after_fuel(INJECTOR, liquid_ul)
    assert driven.fuel_at((INJECTOR,))
    assert driven.fuel_at((VALVE, INJECTOR))
    assert not driven.fuel_at((VALVE, COIL))
    assert driven.fuel.at("cyl1") == liquid_ul


def test_fuel_without_a_location_is_at_the_channel(conditions):
    assert conditions.place(INJECTOR) == "cyl1"
    assert conditions.place(STARTER) == "channel 5"


# -- what an approved drive says ----------------------------------------------------------------------


def test_a_load_said_to_hold_fuel_does_whatever_its_kind(conditions):
    """A valve said to be of class fuel lets fuel out, though no flow is known; an injector always does."""
    for channel, hazard, is_fuel in (
        (VALVE, HazardClass.FUEL, True),
        (VALVE, HazardClass.NONE, False),
        (VALVE, HazardClass.HEAT, False),
        (VALVE, HazardClass.SPARK, False),
        (INJECTOR, HazardClass.NONE, True),
    ):
        (effect,) = approve(
            train(channel), replace(conditions, job=Relabelled(conditions.job, channel, hazard))
        ).effects
        assert effect.is_fuel is is_fuel
        assert (effect.fuel_ul > 0.0) is (channel == INJECTOR)


def test_the_shortest_and_the_longest_arming_are_those_of_the_wire():
    for arm_s, just_outside in ((SHORTEST_ARM_S, -1), (LONGEST_ARM_S, 1)):
        arm_ms = round(arm_s * 1000)
        assert Arm(Hazard.FUEL, arm_ms).encode_body()
        with pytest.raises(RangeError):
            Arm(Hazard.FUEL, arm_ms + just_outside).encode_body()


def test_what_is_over_is_said_with_value_limit_and_remedy(conditions):
    longest_ms = conditions.budget(VALVE).max_hold_ms
    hold = HoldRequest(channel=VALVE, duration_ms=longest_ms + 1)
    (problem,) = budget_problems(hold, conditions)
    assert (problem.field, problem.value, problem.limit, problem.remedy) == (
        "hold_ms",
        longest_ms + 1,
        longest_ms,
        "Hold it shorter.",
    )
    assert problem.reason == conditions.budget(VALVE).binding("hold_ms").reason
    with pytest.raises(OverBudgetError) as error:
        approve(hold, conditions)
    assert str(error.value) == str(problem)
    assert error.value.problems == (problem,)


def test_a_level_that_is_over_is_said_with_its_limit(conditions):
    highest = min(conditions.budget(channel).max_duty_permille for channel in (FAN, VALVE))
    bridge = BridgeRequest(
        channel_supply=FAN, channel_ground=VALVE, duration_ms=1, level_permille=highest + 1
    )
    problem = budget_problems(bridge, conditions)[0]
    assert (problem.field, problem.value, problem.limit, problem.remedy) == (
        "duty_permille",
        highest + 1,
        highest,
        "Lower the level.",
    )


def test_a_drive_that_is_too_long_is_said_with_its_period(conditions):
    assert budget_problems(train(VALVE, count=10, period_us=6_000_000), conditions) == (
        TrainProblem(
            "period_us", 6_000_000, 0, "a drive may last 59 s at most.", "Use fewer or faster pulses."
        ),
    )


def test_a_drive_just_short_enough_is_armed_for_the_longest_the_box_takes(conditions):
    approved = approve(train(FAN, count=10, period_us=5_900_000), conditions)
    assert approved.arm_s == LONGEST_ARM_S
    assert approved.permitted_until_s == NOW_S + 600.0
    assert approve(train(VALVE), conditions).permitted_until_s == math.inf
