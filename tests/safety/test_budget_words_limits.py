"""Which limit of a budget binds, which of them fuel alone makes, and how each is said."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.load_type import DriveLimits, LoadType, Train
from loomproof.job.quantity import Quantity
from loomproof.safety.budget import UNITS, BoxCeilings, Limit, pulse_budget

WIDE = {
    "max_on_time_ms": 100.0,
    "max_hold_ms": 10_000,
    "max_duty": 0.9,
    "max_frequency_hz": 5000.0,
    "max_count": 2000,
    "max_current_a": 20.0,
    "max_sense_us": 200,
}


def budget_of(kind=LoadKind.VALVE, supply_v=19.5, *, limits=None, asked=None, **values):
    """The budget of a load of round numbers without wire, at half a volt more than `supply_v`."""
    load = LoadType(
        key="round",
        name="round numbers",
        kind=kind,
        hazard=HazardClass.NONE,
        limits=DriveLimits(**(WIDE | (limits or {}))),
        train=Train(count=10, frequency_hz=10.0, on_time_ms=10.0),
        notice="nothing",
        **{
            name: Quantity(value=v, tolerance_percent=0, source="a round number")
            for name, v in values.items()
        },
    )
    wire = SimpleNamespace(low=0.0)
    job = SimpleNamespace(load_type=lambda _: load, wire_quantity=lambda _: wire, engine=None, fuel=None)
    return pulse_budget(job, 1, supply_v, **(asked or {}))


def of(budget, quantity):
    return [limit.value for limit in budget.limits if limit.of == quantity]


def test_fuel_alone_makes_a_limit_that_a_new_isolation_lifts():
    """36.8 uL in 500 cm3, 10 uL/ms: of on-time and count; every other limit stays whatever is stated."""
    budget = budget_of(LoadKind.INJECTOR, resistance_ohm=10.0, flow_cc_min=600.0)
    marked = {(limit.of, "flammable" in limit.reason) for limit in budget.limits if limit.of_fuel}
    assert marked == {("on_time_us", True), ("count", True)}
    assert all(limit.of_fuel for limit in budget.limits if "flammable" in limit.reason)
    assert budget.count_limit(1000, 100_000).of_fuel
    assert not any(limit.of_fuel for limit in budget_of(resistance_ohm=10.0).limits)
    assert not Limit("count", 1, "so.").of_fuel


def test_the_first_limit_of_each_quantity_binds_and_the_others_follow():
    """The highest period and the lowest of all else."""
    budget = budget_of(
        LoadKind.INJECTOR,
        resistance_ohm=10.0,
        flow_cc_min=600.0,
        inductance_mh=5.0,
        pull_in_a=0.5,
        limits={"max_frequency_hz": 50.0, "max_duty": 0.5, "max_hold_ms": 40},
    )
    assert list(dict.fromkeys(limit.of for limit in budget.limits)) == [
        name for name in UNITS if of(budget, name)
    ]
    assert set(UNITS) == {limit.of for limit in budget.limits}
    for name in UNITS:
        values = of(budget, name)
        assert values == sorted(values, reverse=name == "period_us")
        assert len(values) > 1
        assert budget.binding(name).value == values[0]
    assert of(budget, "period_us") == [20_000, 200]
    assert budget.min_period_us == 20_000
    assert of(budget, "duty_permille") == [500, 500]  # the ceiling of an injector, too
    assert (budget.max_duty_permille, budget.max_hold_ms) == (500, 0)  # an injector is never held


@pytest.mark.parametrize(
    ("max_duty", "permille"), [(0.0001, 1), (0.001, 1), (0.0014, 1), (0.0016, 2), (0.5, 500)]
)
def test_the_least_duty_is_one_permille(max_duty, permille):
    assert budget_of(limits={"max_duty": max_duty}).max_duty_permille == permille


def test_a_pulse_at_the_ceiling_that_heats_exactly_enough_is_no_limit():
    """20 V on 10 ohm for 62.5 ms are 2.5 J, and 40 J/K * (80 - 79.9375) K are 2.5 J."""
    at_limit = BoxCeilings(max_on_time_us=62_500)
    budget = budget_of(resistance_ohm=10.0, asked={"warm_k": 79.9375, "ceilings": at_limit})
    assert of(budget, "on_time_us") == [62_500, 100_000]
    warmer = budget_of(resistance_ohm=10.0, asked={"warm_k": 79.9395, "ceilings": at_limit})
    assert of(warmer, "on_time_us")[0] < 62_500


@pytest.mark.parametrize(("warm_k", "limited"), [(79.895, False), (79.905, True)])
def test_the_heat_is_that_of_the_longest_pulse_of_the_box(warm_k, limited):
    """100 ms at 40 W are 4 J: 4.2 J are left at 79.895 K, 3.8 J at 79.905 K."""
    budget = budget_of(resistance_ohm=10.0, asked={"warm_k": warm_k})
    assert (len(of(budget, "on_time_us")) == 3) is limited
    if limited:
        assert budget.max_on_time_us == pytest.approx(95_000, abs=1)


@pytest.mark.parametrize(
    ("pull_in_a", "words"),
    [
        (None, "at most 0.1 mJ stored at 20.0 V."),
        (0.5, "at most 0.1 mJ stored and half the pull-in current at 20.0 V."),
    ],
)
def test_what_a_sense_pulse_keeps_to_is_said(pull_in_a, words):
    values = {"inductance_mh": 5.0} | ({} if pull_in_a is None else {"pull_in_a": pull_in_a})
    assert budget_of(**values).binding("sense_us").reason == words


def test_a_hot_load_is_said_to_be_so():
    budget = budget_of(resistance_ohm=10.0, asked={"warm_k": 79.95})
    again = "; 80 K are left of earlier drives"
    assert budget.binding("on_time_us").reason == f"one longer pulse would heat the load by over 80 K{again}."
    assert budget.binding("hold_ms").reason == f"longer would heat the load by over 80 K{again}."
    budget = replace(budget, load_count=100_000, ceilings=BoxCeilings(max_count=100_000))
    assert budget.count_limit(10_000, 20_000).reason == f"more would heat the load by over 80 K{again}."


def test_the_longest_dwell_is_said_with_its_target_and_voltage():
    budget = budget_of(LoadKind.COIL, 13.5, resistance_ohm=0.5, inductance_mh=3.5, saturation_a=7.5)
    assert budget.binding("on_time_us").reason == (
        "65% of the time to 7.5 A at 14.0 V with the lowest inductance; saturation gets there sooner."
    )
