"""The budget's limits at their very edge, with loads of round numbers worked out by hand."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from loomproof.facts.approved_drive import Thermal
from loomproof.facts.kinds import Fuel, HazardClass, LoadKind
from loomproof.job.load_type import DriveLimits, LoadType, Train
from loomproof.job.quantity import Quantity
from loomproof.safety.budget import BoxCeilings, Limit, pulse_budget, releases_fuel
from loomproof.safety.load_model import LoadModel, worst_case
from loomproof_wire.messages import CEILINGS

WIDE = {
    "max_on_time_ms": 100.0,
    "max_hold_ms": 10_000,
    "max_duty": 0.9,
    "max_frequency_hz": 5000.0,
    "max_count": 2000,
    "max_current_a": 20.0,
    "max_sense_us": 200,
}
LIQUID_500_CM3_UL = 7.64373
"""By hand: 0.012 * 101325 Pa * 500e-6 m3 / (8.314462618 * 293.15) = 2.494273e-4 mol; 95 g/mol, 0.775 g/cm3; a quarter."""


def exactly(value):
    return Quantity(value=value, tolerance_percent=0, source="a round number")


def load_of(kind=LoadKind.VALVE, *, limits=None, train=None, **values):
    return LoadType(
        key="round",
        name="round numbers",
        kind=kind,
        hazard=HazardClass.NONE,
        limits=DriveLimits(**(WIDE | (limits or {}))),
        train=Train(**(train or {"count": 10, "frequency_hz": 10.0, "on_time_ms": 10.0})),
        notice="nothing",
        **{name: exactly(value) for name, value in values.items()},
    )


def budget_of(load, supply_v, *, engine=None, wire_ohm=None, **asked):
    wire = SimpleNamespace(low=wire_ohm or 0.0)
    job = SimpleNamespace(
        load_type=lambda _: load, wire_quantity=lambda _: wire, engine=engine, fuel=Fuel.PETROL
    )
    return pulse_budget(job, 1, supply_v, **asked)


def values_of(budget, of, word=""):
    return [limit.value for limit in budget.limits if limit.of == of and word in limit.reason]


VALVE = load_of(resistance_ohm=10.0)
"""At 19.5 V measured, so 20 V at worst: 40 W. Its kind: 40 J/K, 8 K/W (tau 320 s), 80 K allowed."""


# -- the supply reckoned with -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured_v", "reckoned_v"), [(8.0, 12.5), (11.99, 12.5), (12.0, 12.5), (12.5, 13.0), (15.5, 16.0)]
)
def test_the_supply_is_never_reckoned_below_12_v_and_half_a_volt_is_added(measured_v, reckoned_v):
    assert worst_case(VALVE, supply_v=measured_v).supply_v == reckoned_v


def test_the_lowest_resistance_and_inductance_and_the_highest_flow_are_the_worst_case():
    load = VALVE.model_copy(
        update={
            "kind": LoadKind.INJECTOR,
            "resistance_ohm": Quantity(value=14.0, tolerance_percent=15, source="round"),
            "inductance_mh": Quantity(value=14.0, tolerance_percent=25, source="round"),
            "pull_in_a": Quantity(value=0.4, tolerance_percent=25, source="round"),
            "flow_cc_min": Quantity(value=250.0, tolerance_percent=40, source="round"),
        }
    )
    model = worst_case(load, supply_v=13.5, wire_ohm=0.1)
    assert model.resistance_ohm == pytest.approx(0.85 * 14.0 + 0.1)
    assert model.inductance_h == pytest.approx(0.75 * 14e-3)
    assert model.pull_in_a == pytest.approx(0.3)
    assert model.flow_ul_per_ms == pytest.approx(1.4 * 250.0 / 60.0)
    assert worst_case(load, supply_v=13.5).resistance_ohm == pytest.approx(11.9)


def test_what_a_load_does_not_say_is_not_made_up():
    model = worst_case(load_of(LoadKind.LAMP), supply_v=13.5)
    assert (model.resistance_ohm, model.inductance_h, model.pull_in_a) == (None, 0.0, None)
    assert (model.target_a, model.thermal, model.warm_k) == (None, None, 0.0)
    assert (model.flow_ul_per_ms, model.liquid_ul, model.cylinder_cm3) == (None, None, None)
    silent = worst_case(load_of(LoadKind.INJECTOR), supply_v=13.5)
    assert (silent.flow_ul_per_ms, silent.liquid_ul) == (None, None)


def test_only_an_injector_releases_fuel():
    assert [kind for kind in LoadKind if releases_fuel(kind)] == [LoadKind.INJECTOR]
    valve = worst_case(load_of(flow_cc_min=600.0), supply_v=13.5, cylinder_cm3=500.0)
    assert (valve.flow_ul_per_ms, valve.liquid_ul, valve.cylinder_cm3) == (None, None, None)


@pytest.mark.parametrize(
    ("saturation_a", "limit_a", "target_a"), [(7.5, 20.0, 7.5), (7.5, 6.0, 6.0), (None, 9.0, 9.0)]
)
def test_a_coil_aims_at_saturation_or_at_its_limit_if_that_is_lower(saturation_a, limit_a, target_a):
    values = {} if saturation_a is None else {"saturation_a": saturation_a}
    load = load_of(LoadKind.COIL, limits={"max_current_a": limit_a}, resistance_ohm=0.5, **values)
    assert worst_case(load, supply_v=13.5).target_a == target_a


def test_only_a_bare_coil_has_a_target():
    assert worst_case(load_of(resistance_ohm=0.5, saturation_a=7.5), supply_v=13.5).target_a is None


def test_the_thermal_table_is_the_documented_one():
    """Heat capacity J/K, resistance K/W and allowed rise K of each kind of winding; assumptions, no source."""
    expected = {
        LoadKind.INJECTOR: (10.0, 15.0, 60.0),
        LoadKind.COIL: (60.0, 5.0, 40.0),
        LoadKind.RELAY: (15.0, 30.0, 80.0),
        LoadKind.VALVE: (40.0, 8.0, 80.0),
        LoadKind.MOTOR: (50.0, 4.0, 60.0),
        LoadKind.STEPPER: (10.0, 12.0, 60.0),
    }
    for kind in LoadKind:
        thermal = worst_case(load_of(kind), supply_v=13.5).thermal
        got = None if thermal is None else (thermal.c_j_per_k, thermal.r_th_k_per_w, thermal.rise_k)
        assert got == expected.get(kind)


# -- ceilings and the load's own limits ---------------------------------------------------------------


def test_the_boxes_ceilings_are_those_of_the_protocol():
    box = BoxCeilings()
    for name in ("max_on_time_us", "max_hold_ms", "max_duty_permille", "max_count", "max_current_ma"):
        assert getattr(box, name) == getattr(CEILINGS, name), name
    assert box.max_sense_us == CEILINGS.max_sense_us
    assert (box.min_on_time_us, box.min_period_us) == (50, 200)


def test_a_wide_load_gets_the_boxes_ceilings_and_a_narrow_one_its_own():
    wide = budget_of(load_of(), 13.5)
    assert (wide.max_on_time_us, wide.max_hold_ms, wide.max_duty_permille) == (100_000, 10_000, 900)
    assert (wide.max_count, wide.max_current_ma, wide.max_sense_us) == (2000, 20_000, 200)
    assert wide.min_period_us == 200
    own = {
        "max_on_time_ms": 7.5,
        "max_hold_ms": 300,
        "max_duty": 0.25,
        "max_frequency_hz": 50.0,
        "max_count": 40,
        "max_current_a": 2.5,
        "max_sense_us": 80,
    }
    narrow = budget_of(load_of(limits=own), 13.5)
    assert (narrow.max_on_time_us, narrow.max_hold_ms, narrow.max_duty_permille) == (7500, 300, 250)
    assert (narrow.max_count, narrow.max_current_ma, narrow.max_sense_us) == (40, 2500, 80)
    assert narrow.min_period_us == 20_000
    assert (narrow.channel, narrow.load_count) == (1, 40)


def test_the_box_lowers_a_current_limit():
    load = load_of(limits={"max_current_a": 12.0})
    assert budget_of(load, 13.5, ceilings=BoxCeilings(max_current_ma=5000)).max_current_ma == 5000
    assert budget_of(load, 13.5, ceilings=BoxCeilings(max_current_ma=12_001)).max_current_ma == 12_000


@pytest.mark.parametrize(
    ("frequency_hz", "period_us"), [(5000.0, 200), (50.0, 20_000), (3.0, 333_334), (0.7, 1_428_572)]
)
def test_the_fastest_period_is_rounded_up(frequency_hz, period_us):
    assert budget_of(load_of(limits={"max_frequency_hz": frequency_hz}), 13.5).min_period_us == period_us


@pytest.mark.parametrize(("duty", "permille"), [(0.25, 250), (0.0004, 1), (0.0014, 1), (0.9, 900)])
def test_a_duty_is_at_least_one_permille(duty, permille):
    assert budget_of(load_of(limits={"max_duty": duty}), 13.5).max_duty_permille == permille


def test_limits_are_listed_by_quantity_with_the_binding_one_first():
    load = load_of(limits={"max_on_time_ms": 7.5, "max_frequency_hz": 50.0, "max_count": 40})
    budget = budget_of(load, 13.5)
    assert [limit.of for limit in budget.limits] == [
        of
        for of in ("on_time_us", "count", "duty_permille", "hold_ms", "period_us", "sense_us")
        for _ in range(2)
    ]
    assert values_of(budget, "on_time_us") == [7500, 100_000]
    assert values_of(budget, "count") == [40, 2000]
    assert values_of(budget, "period_us") == [20_000, 200]
    assert budget.binding("period_us").value == 20_000


def test_a_limit_says_which_side_it_is_on():
    assert str(Limit("period_us", 200, "so.")) == "at least 200 us: so."
    assert str(Limit("on_time_us", 200, "so.")) == "at most 200 us: so."
    assert str(Limit("count", 3, "so.")) == "at most 3 pulses: so."
    assert str(Limit("duty_permille", 3, "so.")) == "at most 3 permille: so."
    assert str(Limit("hold_ms", 3, "so.")) == "at most 3 ms: so."


# -- heat ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("warm_k", "longest_us"), [(79.9375, 62_500), (79.96875, 31_250)])
def test_one_pulse_may_bring_a_warm_load_just_to_its_rise(warm_k, longest_us):
    """40 J/K * (80 - 79.9375) K = 2.5 J at 40 W: 62.5 ms."""
    budget = budget_of(VALVE, 19.5, warm_k=warm_k)
    assert values_of(budget, "on_time_us", "heat") == [longest_us]
    assert budget.max_on_time_us == longest_us


def test_a_pulse_at_the_ceiling_that_heats_just_enough_is_no_limit():
    """100 ms at 40 W are 4 J, and 4 J / 40 J/K = 0.1 K: from 79.9 K a limit, from 79.875 K none."""
    assert values_of(budget_of(VALVE, 19.5, warm_k=79.875), "on_time_us", "heat") == []
    assert values_of(budget_of(VALVE, 19.5, warm_k=79.90625), "on_time_us", "heat") == [93_750]


@pytest.mark.parametrize(("warm_k", "hold_ms"), [(0.0, 92_058), (40.0, 49_328)])
def test_a_hold_ends_before_the_rise(warm_k, hold_ms):
    """320 s * ln((320 - warm) / (320 - 80)): ln(4/3) = 0.2876821, ln(7/6) = 0.1541507."""
    budget = budget_of(VALVE, 19.5, warm_k=warm_k)
    assert values_of(budget, "hold_ms", "heat") == [hold_ms]
    assert budget.max_hold_ms == 10_000


def test_a_hold_below_the_power_that_ever_gets_there_is_not_limited_by_heat():
    """At 13.5 V over 18.225 ohm 10 W: 80 K in the end, so never above it."""
    load = load_of(resistance_ohm=18.225)
    assert values_of(budget_of(load, 13.0), "hold_ms", "heat") == []
    assert values_of(budget_of(load, 13.1), "hold_ms", "heat") != []


@pytest.mark.parametrize(("warm_k", "pulses"), [(0.0, 11_090), (79.0, 198)])
def test_pulses_until_the_rise(warm_k, pulses):
    """10 of 20 ms at 40 W are 20 W: 320 s * ln((160 - warm) / 80) / 20 ms; ln 2 = 0.6931472, ln(81/80) = 0.0124225."""
    budget = budget_of(VALVE, 19.5, warm_k=warm_k)
    budget = replace(budget, ceilings=BoxCeilings(max_count=100_000), load_count=100_000)
    assert budget.count_limit(10_000, 20_000).value == pulses


def test_a_train_whose_mean_power_never_gets_there_is_not_limited_by_heat():
    """5 of 20 ms at 40 W are 10 W: 80 K in the end. The box's and the load's own counts hold."""
    budget = replace(budget_of(VALVE, 19.5), ceilings=BoxCeilings(max_count=100_000), load_count=90_000)
    assert budget.count_limit(5000, 20_000) == Limit("count", 90_000, "the load type's own limit.")


def test_heat_of_earlier_drives_is_named_from_one_kelvin_on():
    for warm_k, named in ((0.99, False), (1.0, True)):
        limit = next(x for x in budget_of(VALVE, 19.5, warm_k=warm_k).limits if "heat" in x.reason)
        assert ("1 K are left of earlier drives" in limit.reason) is named


def test_a_winding_without_a_resistance_or_a_thermal_model_gives_no_heat():
    assert LoadModel(LoadKind.VALVE, 14.0, thermal=Thermal(40.0, 8.0, 80.0)).heat_j(0.1) == 0.0
    assert LoadModel(LoadKind.LAMP, 14.0, resistance_ohm=1.0).heat_j(0.1) == 0.0
    assert LoadModel(LoadKind.LAMP, 14.0, resistance_ohm=1.0).pulses_to_rise(0.1, 0.1) == float("inf")
    assert LoadModel(LoadKind.LAMP, 14.0, resistance_ohm=1.0).heat_left_j == float("inf")
    assert values_of(budget_of(load_of(), 19.5), "hold_ms", "heat") == []
    assert values_of(budget_of(load_of(LoadKind.LAMP, resistance_ohm=1.0), 19.5), "hold_ms", "heat") == []


# -- fuel ---------------------------------------------------------------------------------------------

INJECTOR = load_of(LoadKind.INJECTOR, resistance_ohm=14.0, flow_cc_min=600.0)
"""10 uL a millisecond."""


@pytest.mark.parametrize(
    ("engine", "longest_us"),
    [
        (None, 764),
        (SimpleNamespace(displacement_cm3=None, cylinders=4), 764),
        (SimpleNamespace(displacement_cm3=2000, cylinders=4), 764),
        (SimpleNamespace(displacement_cm3=1600, cylinders=4), 611),
        (SimpleNamespace(displacement_cm3=3000, cylinders=6), 764),
    ],
)
def test_a_pulse_never_makes_one_cylinder_flammable(engine, longest_us):
    """7.6437 uL in 500 cm3 at 10 uL/ms; 400 cm3 take 6.1150 uL."""
    budget = budget_of(INJECTOR, 13.5, engine=engine)
    assert values_of(budget, "on_time_us", "flammable") == [longest_us]
    assert budget.max_on_time_us == longest_us


def test_liquid_already_released_is_taken_off_and_never_below_nothing():
    model = worst_case(INJECTOR, supply_v=13.5, fuel=Fuel.PETROL, released_ul=2.64373)
    assert model.liquid_ul == pytest.approx(5.0, abs=1e-4)
    assert model.allowed_ul == pytest.approx(LIQUID_500_CM3_UL, rel=1e-5)
    for released_ul in (7.6438, 100.0):
        budget = budget_of(INJECTOR, 13.5, released_ul=released_ul)
        assert budget.model.liquid_ul == 0.0
        assert (budget.max_on_time_us, budget.max_count) == (0, 0)


@pytest.mark.parametrize(
    ("liquid_ul", "on_time_us", "pulses"),
    [
        (30.0, 1000, 3),
        (29.999, 1000, 2),
        (30.001, 1000, 3),
        (30.0, 3000, 1),
        (30.0, 3001, 0),
        (0.3, 100, 0),
        (1.0, 100, 1),
    ],
)
def test_so_many_pulses_stay_below_the_flammable_liquid(liquid_ul, on_time_us, pulses):
    budget = budget_of(INJECTOR, 13.5)
    budget = replace(budget, model=replace(budget.model, liquid_ul=liquid_ul))
    limit = budget.count_limit(on_time_us, 1_000_000)
    assert limit.value == pulses
    assert "flammable" in limit.reason


def test_the_liquid_left_is_told_from_a_twentieth_of_a_microlitre_on():
    budget = budget_of(INJECTOR, 13.5)
    for liquid_ul, told in (
        (0.0499, "could already have brought"),
        (0.05, "0.1 µL more of fuel would bring"),
    ):
        limit = replace(budget, model=replace(budget.model, liquid_ul=liquid_ul)).count_limit(1000, 10_000)
        assert told in limit.reason
        assert "500 cm³" in limit.reason


def test_a_train_releases_its_open_time_times_the_flow():
    model = worst_case(INJECTOR, supply_v=13.5)
    assert model.liquid_released_ul(3, 1500) == pytest.approx(3 * 1.5 * 10.0)
    assert worst_case(VALVE, supply_v=13.5).liquid_released_ul(3, 1500) == 0.0


# -- coils: dwell and sense ---------------------------------------------------------------------------


def test_the_dwell_is_065_of_the_time_to_the_target():
    """0.5 ohm, 3.5 mH to 7.5 A at 14 V: 2.1824 ms (tests/reference), of which 0.65 are 1.4186 ms."""
    coil = {"resistance_ohm": 0.5, "inductance_mh": 3.5, "saturation_a": 7.5}
    budget = budget_of(load_of(LoadKind.COIL, **coil), 13.5)
    assert budget.max_on_time_us == pytest.approx(1418, abs=1)
    with_wire = budget_of(load_of(LoadKind.COIL, **coil), 13.5, wire_ohm=0.2)
    assert with_wire.max_on_time_us > budget.max_on_time_us


def test_no_dwell_without_inductance_resistance_or_target():
    coil = LoadModel(LoadKind.COIL, 14.0, resistance_ohm=0.5, inductance_h=3.5e-3, target_a=7.5)
    assert coil.dwell_s() == pytest.approx(0.65 * 2.1824e-3, rel=1e-3)
    for change in ({"target_a": None}, {"resistance_ohm": None}, {"inductance_h": 0.0}):
        assert replace(coil, **change).dwell_s() == float("inf")


@pytest.mark.parametrize(
    ("pull_in_a", "sense_us"), [(None, 74), (0.3, 57), (0.3849, 74), (0.4, 74), (0.1, 19)]
)
def test_a_sense_pulse_stores_little_and_stays_under_half_the_pull_in(pull_in_a, sense_us):
    """5.4 mH at 14 V: sqrt(2 * 0.1 mJ * 5.4 mH) / 14 V = 74.23 us; 0.5 I L / V = 57.9 us for 0.3 A, 19.3 for 0.1 A."""
    values = {} if pull_in_a is None else {"pull_in_a": pull_in_a}
    budget = budget_of(load_of(inductance_mh=5.4, **values), 13.5)
    assert values_of(budget, "sense_us", "stored") == [sense_us]
    assert budget.max_sense_us == sense_us


def test_a_load_without_inductance_has_no_sense_limit_of_its_own():
    assert LoadModel(LoadKind.LAMP, 14.0).sense_s() == float("inf")
    assert values_of(budget_of(load_of(LoadKind.LAMP), 13.5), "sense_us") == [200, 200]


# -- what the count is for ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "pulses"),
    [
        ({}, 3),  # the load's own train: 0.2 ms
        ({"on_time_us": 400}, 1),
        ({"on_time_us": 100}, 7),
    ],
)
def test_the_count_is_that_of_the_asked_pulse(asked, pulses):
    """7.6437 uL at 10 uL/ms."""
    load = INJECTOR.model_copy(update={"train": Train(count=10, frequency_hz=10.0, on_time_ms=0.2)})
    assert budget_of(load, 13.5, **asked).max_count == pulses


def test_the_count_is_for_the_own_train_shortened_to_fit():
    load = INJECTOR.model_copy(update={"train": Train(count=10, frequency_hz=10.0, on_time_ms=50.0)})
    assert budget_of(load, 13.5).max_count == 1


@pytest.mark.parametrize(("period_us", "pulses"), [(20_000, 198), (None, 2000)])
def test_the_count_is_for_the_asked_period_or_for_that_of_the_train(period_us, pulses):
    """10 ms at 40 W: every 20 ms 198 pulses from 79 K (above); the train's own 100 ms are 4 W, which never gets there."""
    assert budget_of(VALVE, 19.5, warm_k=79.0, on_time_us=10_000, period_us=period_us).max_count == pulses


def test_a_flow_without_a_known_liquid_limits_nothing():
    budget = budget_of(INJECTOR, 13.5)
    budget = replace(budget, model=replace(budget.model, liquid_ul=None))
    assert budget.count_limit(1000, 10_000).value == 2000


def test_a_load_as_hot_as_it_may_be_takes_no_pulse():
    budget = budget_of(VALVE, 19.5, warm_k=80.0)
    assert (budget.max_on_time_us, budget.max_count, budget.max_hold_ms) == (0, 0, 0)
