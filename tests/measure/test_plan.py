"""The planned pulse: long enough to see what it should, within every limit."""

import math

import pytest

from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.motion.armature import opening_span_s
from loomproof.measure.pulse_plan import PlanLimits, plan_pulse
from loomproof.measure.signature import measure

PERIOD_S = 26e-6


@pytest.mark.parametrize("supply_v", [9.0, 12.0, 13.5, 16.0])
@pytest.mark.parametrize("key", CATALOGUE)
def test_every_load_within_its_limits(key, supply_v):
    load = CATALOGUE[key]
    plan = plan_pulse(load, 0.2, supply_v, PERIOD_S)
    on_s, limits = plan.on_time_us * 1e-6, load.limits
    assert plan.samples <= 600
    assert 1 <= plan.decimation <= 255
    assert plan.samples * plan.decimation * PERIOD_S > on_s  # the trace outlasts the pulse
    assert on_s <= limits.max_on_time_ms * 1e-3 + 1e-9
    assert plan.count <= limits.max_count
    assert plan.on_time_us / plan.period_us <= limits.max_duty + 1e-9
    assert 1e6 / plan.period_us <= limits.max_frequency_hz + 1e-9
    assert plan.on_time_us >= 50
    assert plan.reason
    within = on_s / (plan.decimation * PERIOD_S)
    assert within >= 8  # fewer are refused by the estimator


@pytest.mark.parametrize("key", [k for k, v in CATALOGUE.items() if v.moves])
def test_a_moving_load_gets_past_its_landing_and_three_time_constants(key):
    load = CATALOGUE[key]
    plan = plan_pulse(load, 0.2, 13.5, PERIOD_S)
    assert load.opening_ms is not None
    assert load.resistance_ohm is not None
    assert load.inductance_mh is not None
    tau_ms = load.inductance_mh.high / load.resistance_ohm.low
    wanted_ms = load.opening_ms.high + 3 * tau_ms
    shortened = "shortened" in plan.reason
    assert shortened == (plan.on_time_us * 1e-3 >= load.limits.max_on_time_ms - 1e-3)
    if not shortened:
        assert plan.on_time_us * 1e-3 >= wanted_ms
    assert not plan.short_of_landing


def test_a_weak_battery_is_given_longer():
    load = CATALOGUE["injector_high"]
    assert opening_span_s(load, 9.0)[1] > 1.5 * opening_span_s(load, 13.5)[1]
    assert plan_pulse(load, 0.2, 9.0, PERIOD_S).on_time_us > plan_pulse(load, 0.2, 13.5, PERIOD_S).on_time_us


def test_a_coil_stays_clear_of_saturation():
    """t = -(L/R) ln(1 - I R/V) to its saturation current, lowest L: no more than 0.65 of it."""
    load = CATALOGUE["coil_bare"]
    for supply_v in (9.0, 13.5, 16.0):
        ohm, henry, target = 0.4, 2.8e-3, 8 * 0.85
        full_s = -henry / ohm * math.log(1 - target * ohm / supply_v)
        plan = plan_pulse(load, 0.0, supply_v, PERIOD_S)
        assert plan.on_time_us * 1e-6 <= 0.65 * full_s
        assert plan.count == 1


def test_the_callers_limits_hold_and_are_said():
    load = CATALOGUE["injector_high"]
    tight = PlanLimits(max_on_time_us=1500, max_count=1, max_duty_permille=20)
    plan = plan_pulse(load, 0.2, 13.5, PERIOD_S, limits=tight)
    assert plan.on_time_us == 1500
    assert plan.count == 1
    assert plan.on_time_us / plan.period_us <= 0.020
    assert plan.short_of_landing
    assert "shortened" in plan.reason
    assert "1.50 ms" in plan.reason


@pytest.mark.parametrize("most", [16, 100, 600, 2000])
def test_it_fits_the_memory_of_the_box(most):
    for load in CATALOGUE.values():
        plan = plan_pulse(load, 0.2, 13.5, PERIOD_S, most)
        assert plan.samples <= most
        assert plan.samples * plan.decimation * PERIOD_S > plan.on_time_us * 1e-6


@pytest.mark.parametrize("key", ["injector_low", "relay_resistor", "stepper_idle"])
def test_a_box_that_sees_less_of_a_pulse_gets_more_of_them(key):
    load = CATALOGUE[key]
    quick = plan_pulse(load, 0.2, 13.5, PERIOD_S)
    slow = plan_pulse(load, 0.2, 13.5, 160e-6, 300)
    assert quick.count == 2
    assert quick.count < slow.count <= 5
    assert slow.on_time_us == quick.on_time_us
    assert plan_pulse(load, 0.2, 13.5, 160e-6, 300, PlanLimits(max_count=3)).count == 3


@pytest.mark.parametrize("key", ["coil_bare", "lamp_21w", "motor_fan"])
def test_what_heats_or_sparks_is_not_repeated_however_little_is_seen(key):
    assert plan_pulse(CATALOGUE[key], 0.2, 13.5, 160e-6, 300).count == 1


def test_traces_that_the_box_cannot_hold_can_be_read_before_the_next():
    """10 bits a byte, 8 bytes a sample set, 250 kbaud: docs/protocol.md."""
    load = CATALOGUE["relay_plain"]
    one = plan_pulse(load, 0.2, 13.5, 64e-6, 300, free_traces=1)
    many = plan_pulse(load, 0.2, 13.5, 64e-6, 300, free_traces=8)
    reading_us = one.samples * 8 * 10 / 250_000 * 1e6
    assert one.count > 1
    assert one.period_us > 1.5 * reading_us
    assert many.period_us < one.period_us


@pytest.mark.parametrize("bad", [(0.0, PERIOD_S, 600), (13.5, 0.0, 600), (13.5, PERIOD_S, 8)])
def test_nonsense_is_refused(bad):
    with pytest.raises(ValueError, match="needs a supply"):
        plan_pulse(CATALOGUE["injector_high"], 0.2, *bad)


@pytest.mark.parametrize(
    "key", ["injector_high", "injector_low", "relay_plain", "valve_purge", "stepper_idle", "coil_bare"]
)
def test_what_is_planned_can_be_measured(maker, key):
    """The plan's own pulse and capture, on a sound load of the catalogue's values."""
    load = CATALOGUE[key]
    plan = plan_pulse(load, 0.15, 13.5, PERIOD_S)
    period = PERIOD_S * plan.decimation
    assert load.resistance_ohm is not None
    assert load.inductance_mh is not None
    opening_s = load.opening_ms.value * 1e-3 if load.opening_ms else 1.5e-3
    c = maker.circuit(
        load_ohm=load.resistance_ohm.value,
        rest_h=load.inductance_mh.value * 1e-3,
        stroke_gain=(0.4 if load.kind is LoadKind.RELAY else 0.2) if load.moves else 0.0,
        travel_s=(opening_s * 0.4, opening_s),
        saturation_a=load.saturation_a.value if load.saturation_a else math.inf,
    )
    trace = maker.trace(c, on_s=plan.on_time_us * 1e-6, span_s=plan.samples * period + 1e-9, period_s=period)
    got = measure([trace], load)
    true = load.resistance_ohm.value + 0.15
    assert abs(got.resistance_ohm.value - true) < 3 * got.resistance_ohm.u
    assert got.resistance_ohm.relative < (0.06 if key == "coil_bare" else 0.01)
    assert str(got.moved) == ("yes" if load.moves else "cannot tell")
