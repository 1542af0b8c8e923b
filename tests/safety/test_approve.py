"""The one approving function: what it allows, what it refuses and why, and what it says a drive will leave."""

import math
from dataclasses import replace

import pytest

from loomproof.facts.drive import (
    BridgeRequest,
    Chop,
    HoldRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TrainRequest,
)
from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.safety.approve import (
    ARM_MARGIN_S,
    LONGEST_ARM_S,
    SHORTEST_ARM_S,
    NotPermittedError,
    OverBudgetError,
    approve,
    budget_problems,
    heat_of,
    train_of_each,
)
from loomproof.safety.budget import BoxCeilings
from loomproof.safety.conditions import DriveConditions
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.heat import HeatLedger
from loomproof.safety.interlocks import Interlocks, Voider
from loomproof.safety.statements import StatementKind, form_for

INJECTOR, COIL, VALVE, PUMP, STARTER, FAN = range(1, 7)
NOW_S = 1000.0
EXPIRY_S = 600.0


@pytest.fixture
def conditions(job):
    """Everything stated but that the rail is dry, nothing driven yet, 13.5 V."""
    interlocks = Interlocks(setting=job.setting, expiry_s=EXPIRY_S)
    for kind in set(StatementKind) - {StatementKind.RAIL_DRY}:
        form = form_for(kind, job.setting)
        interlocks = interlocks.with_statement(kind, form.fact_keys, "RB", NOW_S)
    return DriveConditions(
        job=job,
        ceilings={channel: BoxCeilings() for channel in range(1, 17)},
        interlocks=interlocks,
        fuel=FuelLedger(),
        heat=HeatLedger(),
        reaches={},
        supply_v=13.5,
        now_s=NOW_S,
    )


def train(channel, count=1, period_us=1_000_000, on_time_us=1000):
    pulses = PulseTrain(count=count, period_us=period_us, on_time_us=on_time_us)
    return TrainRequest(channel=channel, train=pulses)


def test_an_approved_train_says_what_it_needs_armed_and_until_when_it_may(conditions):
    request = train(INJECTOR, count=3, on_time_us=300)
    approved = approve(request, conditions)
    assert approved.request is request
    assert approved.hazards == (HazardClass.FUEL,)
    assert approved.arm_s == pytest.approx(3.0 + ARM_MARGIN_S)
    assert approved.permitted_until_s == NOW_S + EXPIRY_S


def test_a_harmless_load_needs_nothing_armed_and_no_statement(conditions):
    approved = approve(train(VALVE), replace(conditions, interlocks=Interlocks(setting=JobSetting.BENCH)))
    assert approved.hazards == ()
    assert approved.permitted_until_s == math.inf


def test_it_is_armed_for_no_shorter_than_the_box_takes(conditions):
    assert ARM_MARGIN_S > SHORTEST_ARM_S
    shortest = approve(train(INJECTOR, period_us=20_000, on_time_us=50), conditions)
    assert shortest.arm_s == pytest.approx(0.02 + ARM_MARGIN_S)


@pytest.mark.parametrize(("period_us", "allowed"), [(5_900_000, True), (5_900_001, False)])
def test_no_drive_lasts_longer_than_the_longest_arming(conditions, period_us, allowed):
    assert LONGEST_ARM_S == 60.0
    request = train(VALVE, count=10, period_us=period_us)
    problems = budget_problems(request, conditions)
    assert [p.reason for p in problems] == ([] if allowed else ["a drive may last 59 s at most."])


def test_a_missing_statement_blocks(conditions):
    nothing_stated = replace(conditions, interlocks=Interlocks(setting=conditions.job.setting))
    with pytest.raises(NotPermittedError) as blocked:
        approve(train(COIL, on_time_us=500), nothing_stated)
    assert blocked.value.blocked.needs == (StatementKind.LOOM_HARMLESS, StatementKind.SPARK_CLEAR)
    assert blocked.value.blocked.hazard is HazardClass.SPARK


def test_on_a_vehicle_a_harmless_load_needs_the_statement_that_nothing_can_be_set_off(conditions):
    nothing_stated = replace(conditions, interlocks=Interlocks(setting=JobSetting.VEHICLE))
    with pytest.raises(NotPermittedError, match="set off by a pulse") as blocked:
        approve(train(VALVE), nothing_stated)
    assert blocked.value.blocked.needs == (StatementKind.LOOM_HARMLESS,)
    form = form_for(StatementKind.LOOM_HARMLESS, JobSetting.VEHICLE)
    long_ago = nothing_stated.interlocks.with_statement(form.kind, form.fact_keys, "RB", 0.0)
    assert not long_ago.live(NOW_S)  # what hangs on the loom does not change by itself
    approve(train(VALVE), replace(conditions, interlocks=long_ago))


@pytest.mark.parametrize(("left_s", "allowed"), [(2.0, True), (1.999, False), (0.0, False)])
def test_a_statement_holds_for_the_whole_drive_and_its_margin(conditions, left_s, allowed):
    late = replace(conditions, now_s=NOW_S + EXPIRY_S - left_s)
    request = train(INJECTOR, period_us=1_000_000)
    if allowed:
        assert approve(request, late).arm_s == 2.0
        return
    with pytest.raises(NotPermittedError, match=r"expire|ran out"):
        approve(request, late)


def test_what_is_over_budget_is_reported_before_what_is_not_stated(conditions):
    nothing_stated = replace(conditions, interlocks=Interlocks())
    with pytest.raises(OverBudgetError) as over:
        approve(train(INJECTOR, count=2000, on_time_us=20_000), nothing_stated)
    assert {problem.field for problem in over.value.problems} >= {"count"}


# --- the five kinds of request -----------------------------------------------------------------------------


@pytest.mark.parametrize(("over_ms", "fields"), [(0, []), (1, ["hold_ms"])])
def test_a_hold_and_a_bridge_keep_the_longest_hold(conditions, over_ms, fields):
    for channel in (VALVE, FAN):
        longest_ms = conditions.budget(channel).max_hold_ms
        hold = HoldRequest(channel=channel, duration_ms=longest_ms + over_ms)
        assert [p.field for p in budget_problems(hold, conditions)] == fields
    bridge = BridgeRequest(
        channel_supply=FAN,
        channel_ground=VALVE,
        duration_ms=min(conditions.budget(c).max_hold_ms for c in (FAN, VALVE)) + over_ms,
        level_permille=1,
    )
    assert [p.field for p in budget_problems(bridge, conditions)][: len(fields)] == fields


@pytest.mark.parametrize(("over", "fields"), [(0, []), (1, ["duty_permille"])])
def test_a_bridge_keeps_the_duty_of_both_its_channels(conditions, over, fields):
    highest = min(conditions.budget(channel).max_duty_permille for channel in (FAN, VALVE))
    for supply, ground in ((FAN, VALVE), (VALVE, FAN)):
        request = BridgeRequest(
            channel_supply=supply, channel_ground=ground, duration_ms=1, level_permille=highest + over
        )
        assert [p.field for p in budget_problems(request, conditions)][:1] == fields


def test_a_stepper_gives_each_winding_every_fourth_step():
    request = StepperRequest(windings=(1, 2, 3, 4), steps=-9, step_us=20_000)
    assert train_of_each(request) == PulseTrain(count=3, period_us=80_000, on_time_us=20_000)
    assert request.duration_s == pytest.approx(0.18)
    assert request.reversed().steps == 9


def test_a_stepper_keeps_the_budget_of_every_winding(conditions):
    fastest_us = math.ceil(conditions.budget(VALVE).min_period_us / 4)
    just = StepperRequest(windings=(VALVE, VALVE, VALVE, VALVE), steps=-4, step_us=fastest_us)
    assert not budget_problems(just, conditions)
    assert {p.field for p in budget_problems(replace(just, step_us=fastest_us - 1), conditions)} == {
        "period_us"
    }
    assert {p.field for p in budget_problems(replace(just, steps=0), conditions)} == {"count"}
    fan_too = replace(just, windings=(VALVE, VALVE, VALVE, FAN))
    assert budget_problems(fan_too, conditions)


def test_a_peak_and_hold_train_is_judged_as_if_fully_on(conditions):
    pulses = PulseTrain(count=2000, period_us=100_000, on_time_us=20_000)
    chop = Chop(peak_us=1000, period_us=200, duty_permille=100)
    held = PeakHoldRequest(channel=INJECTOR, train=pulses, chop=chop)
    plain = TrainRequest(channel=INJECTOR, train=pulses)
    assert budget_problems(held, conditions) == budget_problems(plain, conditions) != ()


# --- what it leaves behind ---------------------------------------------------------------------------------


def test_the_effect_on_an_injector_counts_its_heat_and_its_fuel(conditions):
    request = train(INJECTOR, count=3, on_time_us=300)
    (effect,) = approve(request, conditions).effects
    model = conditions.budget(INJECTOR).model
    assert (effect.channel, effect.place) == (INJECTOR, "cyl1")
    assert (effect.is_fuel, effect.is_pump) == (True, False)
    assert effect.fuel_ul == pytest.approx(3 * 0.3 * model.flow_ul_per_ms)
    assert effect.heat_j == pytest.approx(3 * model.heat_j(0.3e-3))
    assert effect.thermal == model.thermal


def test_the_effect_on_a_pump_relay_is_that_of_a_pump(conditions):
    (effect,) = approve(train(PUMP, on_time_us=50_000), conditions).effects
    assert (effect.is_fuel, effect.is_pump, effect.fuel_ul) == (False, True, 0.0)
    assert effect.place == f"channel {PUMP}"


def test_a_hold_heats_as_one_long_pulse_and_a_stepper_each_winding_for_itself(conditions):
    model = conditions.budget(VALVE).model
    assert heat_of(model, HoldRequest(channel=VALVE, duration_ms=300)) == pytest.approx(model.heat_j(0.3))
    steps = StepperRequest(windings=(1, 2, 3, 4), steps=9, step_us=20_000)
    assert heat_of(model, steps) == pytest.approx(3 * model.heat_j(0.02))


# --- loads that a channel has been seen to reach -----------------------------------------------------------


def test_a_load_that_is_reached_counts_as_if_it_were_driven_itself(conditions):
    crossed = replace(conditions, reaches={VALVE: frozenset({INJECTOR})})
    assert crossed.loads_reached((VALVE,)) == (VALVE, INJECTOR)
    request = train(VALVE)
    effects = approve(request, crossed).effects
    assert [effect.channel for effect in effects] == [VALVE, INJECTOR]
    assert effects[1].fuel_ul > 0.0
    with pytest.raises(NotPermittedError):
        approve(request, replace(crossed, interlocks=Interlocks(setting=crossed.job.setting)))
    with pytest.raises(OverBudgetError, match="Hold it shorter"):
        approve(HoldRequest(channel=VALVE, duration_ms=100), crossed)


def test_only_what_the_channel_itself_needs_is_armed(conditions):
    """The box knows a channel by its own configuration, and asks for no other class."""
    crossed = replace(conditions, reaches={VALVE: frozenset({INJECTOR})})
    assert approve(train(VALVE), crossed).hazards == ()


def test_fuel_that_a_place_has_had_is_seen_from_every_channel_that_reaches_it(conditions):
    driven = conditions.after_fuel(INJECTOR, 1.0)
    assert driven.fuel_at((INJECTOR,))
    assert not driven.fuel_at((VALVE,))
    assert replace(driven, reaches={VALVE: frozenset({INJECTOR})}).fuel_at((VALVE,))
    assert not conditions.fuel_at((INJECTOR,))


def test_a_train_is_fitted_to_the_tightest_load_it_reaches(conditions):
    wanted = PulseTrain(count=10, period_us=200_000, on_time_us=50_000)
    alone, _ = conditions.fit(VALVE, wanted)
    assert alone == wanted
    crossed = replace(conditions, reaches={VALVE: frozenset({INJECTOR})})
    fitted, notes = crossed.fit(VALVE, wanted)
    assert fitted.on_time_us == conditions.budget(INJECTOR).max_on_time_us
    assert notes
    assert not budget_problems(TrainRequest(channel=VALVE, train=fitted), crossed)
    full = crossed.after_fuel(INJECTOR, 1000.0)
    assert full.fit(VALVE, wanted)[0] is None


# --- a dry rail --------------------------------------------------------------------------------------------


def test_a_dry_rail_frees_injectors_of_the_fuel_budget_for_as_long_as_it_is_stated(conditions):
    request = train(INJECTOR, count=10, on_time_us=6000)
    with pytest.raises(OverBudgetError, match="flammable"):
        approve(request, conditions)
    form = form_for(StatementKind.RAIL_DRY, conditions.job.setting)
    dry = replace(
        conditions, interlocks=conditions.interlocks.with_statement(form.kind, form.fact_keys, "RB", NOW_S)
    )
    (effect,) = approve(request, dry).effects
    assert (effect.fuel_ul, effect.is_fuel) == (0.0, True)
    soon_over = replace(dry, now_s=NOW_S + EXPIRY_S - LONGEST_ARM_S)
    with pytest.raises(OverBudgetError, match="flammable"):
        approve(request, soon_over)
    pumped = replace(dry, interlocks=dry.interlocks.voided(Voider.PUMP_DRIVEN))
    with pytest.raises(OverBudgetError, match="flammable"):
        approve(request, pumped)


def test_off_a_vehicle_the_isolation_says_that_the_rail_is_dry(conditions, make_job):
    bench = make_job(JobSetting.BENCH)
    form = form_for(StatementKind.FUEL_ISOLATED, JobSetting.BENCH)
    isolated = Interlocks(setting=JobSetting.BENCH).with_statement(form.kind, form.fact_keys, "RB", NOW_S)
    here = replace(conditions, job=bench, interlocks=isolated)
    assert approve(train(INJECTOR, count=10, on_time_us=6000), here).effects[0].fuel_ul == 0.0
    assert not replace(conditions, job=bench, interlocks=Interlocks(setting=JobSetting.BENCH)).rail_dry
