import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.facts.drive import PulseTrain
from loomproof.facts.kinds import Fuel, JobSetting
from loomproof.job.file.loading import load_job
from loomproof.safety.budget import BoxCeilings, pulse_budget
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.statements import StatementKind
from loomproof.safety.trains import check_train, duty_permille, fit_train

CHANNELS = st.sampled_from([1, 2, 3, 4, 5, 6])
SUPPLIES = st.floats(min_value=8.0, max_value=16.0)
ON = st.integers(min_value=50, max_value=100_000)
PERIODS = st.integers(min_value=200, max_value=10_000_000)
COUNTS = st.integers(min_value=1, max_value=2000)
FAST = settings(max_examples=200, deadline=None)


@FAST
@given(channel=CHANNELS, low=SUPPLIES, more=st.floats(min_value=0, max_value=4))
def test_more_supply_never_allows_more(job, channel, low, more):
    before = pulse_budget(job, channel, low, on_time_us=1000, period_us=200_000)
    after = pulse_budget(job, channel, low + more, on_time_us=1000, period_us=200_000)
    assert after.max_on_time_us <= before.max_on_time_us
    assert after.max_count <= before.max_count
    assert after.max_hold_ms <= before.max_hold_ms
    assert after.max_sense_us <= before.max_sense_us


@FAST
@given(channel=CHANNELS, on=ON, more=st.integers(0, 50_000), period=PERIODS)
def test_longer_pulses_never_allow_more_of_them(job, channel, on, more, period):
    budget = pulse_budget(job, channel, 13.5)
    assert budget.count_limit(on + more, period).value <= budget.count_limit(on, period).value


@FAST
@given(channel=CHANNELS, on=ON, period=PERIODS, more=st.integers(0, 10_000_000))
def test_rarer_pulses_never_allow_fewer_of_them(job, channel, on, period, more):
    budget = pulse_budget(job, channel, 13.5)
    assert budget.count_limit(on, period + more).value >= budget.count_limit(on, period).value


@FAST
@given(channel=CHANNELS, supply=SUPPLIES, count=COUNTS, period=PERIODS, on=ON, released=st.floats(0, 60))
def test_what_was_fitted_passes_and_asks_for_no_more(job, channel, supply, count, period, on, released):
    budget = pulse_budget(job, channel, supply, released_ul=released)
    asked = PulseTrain(count=count, period_us=period, on_time_us=on)
    fitted, notes = fit_train(budget, asked)
    if fitted is None:
        assert notes
        assert check_train(budget, asked)
        return
    assert check_train(budget, fitted) == ()
    assert fitted.count <= count
    assert fitted.on_time_us <= on
    assert fitted.period_us >= period
    assert bool(notes) == (fitted != asked)
    assert (check_train(budget, asked) == ()) == (fitted == asked)


@FAST
@given(channel=CHANNELS, supply=SUPPLIES)
def test_the_binding_limit_is_the_lowest_and_has_a_reason(job, channel, supply):
    budget = pulse_budget(job, channel, supply)
    for of, value in (
        ("on_time_us", budget.max_on_time_us),
        ("count", budget.max_count),
        ("duty_permille", budget.max_duty_permille),
        ("hold_ms", budget.max_hold_ms),
        ("sense_us", budget.max_sense_us),
    ):
        mine = [limit.value for limit in budget.limits if limit.of == of]
        assert min(mine) == value == budget.binding(of).value
    assert all(limit.reason.endswith(".") for limit in budget.limits)


def test_an_injector_never_gets_more_than_the_flammable_liquid(job):
    budget = pulse_budget(job, 1, 13.5)
    model = budget.model
    for on_us in (200, 500, budget.max_on_time_us):
        count = budget.count_limit(on_us, 200_000).value
        assert model.liquid_released_ul(count, on_us) <= model.liquid_ul
        assert model.liquid_released_ul(count + 1, on_us) > model.liquid_ul
    assert "flammable" in budget.binding("on_time_us").reason


@pytest.mark.parametrize(("measured_v", "reckoned_v"), [(13.5, 14.0), (9.0, 12.5)])
def test_the_dwell_is_065_of_the_time_to_saturation_at_the_worst(job, measured_v, reckoned_v):
    """By hand: t = -(L/R) ln(1 - I R / V), lowest L and R of the type, the wire in series."""
    load = job.load_type(2)
    ohm = load.resistance_ohm.low + job.wire_quantity(2).low
    whole_s = -load.inductance_mh.low * 1e-3 / ohm * math.log(1 - load.saturation_a.low * ohm / reckoned_v)
    limit = next(x for x in pulse_budget(job, 2, measured_v).limits if "saturation" in x.reason)
    assert limit.value == int(0.65 * whole_s * 1e6)


def test_a_smaller_cylinder_takes_less(make_job):
    assert pulse_budget(make_job(displacement=1000), 1, 13.5).max_on_time_us < (
        pulse_budget(make_job(displacement=2000), 1, 13.5).max_on_time_us
    )


def test_a_bench_keeps_the_liquid_limit(make_job):
    bench = pulse_budget(make_job(JobSetting.BENCH), 1, 13.5)
    assert bench.max_on_time_us == pulse_budget(make_job(), 1, 13.5).max_on_time_us


def test_the_job_says_the_fuel_and_else_the_most_flammable_counts(job):
    by_fuel = {
        fuel: pulse_budget(job.model_copy(update={"fuel": fuel}), 1, 13.5).model.allowed_ul
        for fuel in (None, *Fuel)
    }
    assert by_fuel[None] == min(by_fuel.values())
    assert by_fuel[Fuel.ETHANOL] > by_fuel[Fuel.PETROL] > by_fuel[Fuel.DIESEL]


def test_a_dry_rail_releases_nothing(job):
    dry = pulse_budget(job, 1, 13.5, rail_dry=True)
    assert dry.model.liquid_ul is None
    assert dry.model.liquid_released_ul(10, 6000) == 0.0
    assert dry.max_on_time_us == 10_000
    assert not any(limit.of_fuel for limit in dry.limits)
    assert "flammable" in pulse_budget(job, 1, 13.5).binding("on_time_us").reason


def test_liquid_already_counted_is_taken_off(job):
    whole = pulse_budget(job, 1, 13.5).model.liquid_ul
    half = pulse_budget(job, 1, 13.5, released_ul=whole / 2)
    assert half.model.liquid_ul == pytest.approx(whole / 2)
    nothing = pulse_budget(job, 1, 13.5, released_ul=whole)
    assert fit_train(nothing, PulseTrain(count=1, period_us=200_000, on_time_us=1000))[0] is None


def test_the_box_can_only_lower(job):
    tight = BoxCeilings(
        max_on_time_us=300, max_hold_ms=20, max_duty_permille=10, max_count=2, max_sense_us=15
    )
    budget = pulse_budget(job, 3, 13.5, ceilings=tight)
    assert (budget.max_on_time_us, budget.max_hold_ms, budget.max_duty_permille) == (300, 20, 10)
    assert (budget.max_count, budget.max_sense_us) == (2, 15)


def test_every_problem_of_a_train_is_told(job):
    budget = pulse_budget(job, 2, 13.5)
    problems = check_train(budget, PulseTrain(count=5000, period_us=300, on_time_us=50_000))
    assert {problem.field for problem in problems} == {"on_time_us", "period_us", "duty_permille", "count"}
    assert all(str(problem.limit) in str(problem) and problem.remedy in str(problem) for problem in problems)


def test_a_train_without_a_pulse_and_one_too_short_are_refused(job):
    budget = pulse_budget(job, 3, 13.5)
    assert [
        p.field for p in check_train(budget, PulseTrain(count=0, period_us=100_000, on_time_us=1000))
    ] == ["count"]
    assert [p.field for p in check_train(budget, PulseTrain(count=1, period_us=100_000, on_time_us=10))] == [
        "on_time_us"
    ]


def test_duty_is_rounded_up():
    assert duty_permille(PulseTrain(count=1, period_us=3000, on_time_us=1000)) == 334


def test_heat_limits_a_starter_relay_that_is_held(job):
    budget = pulse_budget(job, 5, 13.5)
    model = budget.model
    count = budget.count_limit(100_000, 500_000).value
    assert count == 5  # the load type's own
    hot = model.pulses_to_rise(0.1, 0.1)
    assert math.isfinite(hot)


def test_default_trains_of_the_examples_fit_somehow(examples):
    for path in examples:
        job = load_job(path)
        for channel in job.channels:
            budget = pulse_budget(job, channel.channel, 13.5)
            fitted, _ = fit_train(budget, job.load_type(channel.channel).train)
            assert fitted is not None, (path.name, channel.name)
            assert fitted.count >= 1


def test_the_ledger_adds_up_by_place_and_is_cleared_by_a_check():
    ledger = FuelLedger().with_drive("cyl1", 5.0).with_drive("cyl1", 2.0).with_drive("cyl2", 1.0)
    assert (ledger.at("cyl1"), ledger.at("cyl2"), ledger.at("cyl3")) == (7.0, 1.0, 0.0)
    assert ledger.with_statement(StatementKind.SPARK_CLEAR) == ledger
    for kind in (StatementKind.FUEL_ISOLATED, StatementKind.CYLINDERS_AIRED):
        assert ledger.with_statement(kind).at("cyl1") == 0.0
    with pytest.raises(ValueError, match="not taken back"):
        ledger.with_drive("cyl1", -1.0)
