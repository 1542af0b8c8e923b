"""Lamps and motors: an inrush, a steady current, and the resistance at rest."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure_one
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, Drive, DriverSpec, FeedSpec, LampSpec, LoomSpec, SupplySpec


def lamp_waves(steady_a, ohm, on_s, span_s, period_s):
    loom = LoomSpec(
        SupplySpec(13.5, 0.03),
        (FeedSpec("f", 0.01),),
        (BranchSpec(1, LampSpec(steady_current_a=steady_a, resistance_ohm=ohm), "f", 0.05),),
        {1: DriverSpec(on_ohm=0.05, clamp_v=48.0)},
    )
    plant = Plant(loom)
    plant.switch(1, Drive.ON, 0.01)
    plant.switch(1, Drive.OFF, 0.01 + on_s)
    t = 0.01 + 4e-6 + period_s * np.arange(int(span_s / period_s))
    current, _, _ = plant.sample_many(1, t)
    _, _, supply = plant.sample_many(1, t + 6e-6)
    _, drain, _ = plant.sample_many(1, t + 12e-6)
    return current, supply, drain


@pytest.mark.parametrize(("key", "steady_a", "ohm"), [("lamp_21w", 1.556, 0.79), ("lamp_5w", 0.41, 3.4)])
def test_a_filament_cold_and_hot(maker, key, steady_a, ohm):
    """21 W at 12 V draws 1.556 A at 13.5 V (UN R37, from memory) and is some ten times colder at rest."""
    clean = lamp_waves(steady_a, ohm, 0.1, 0.105, 182e-6)
    for seed in range(5):
        trace = maker.trace(maker.circuit(), on_s=0.1, span_s=0.105, period_s=182e-6, seed=seed, clean=clean)
        got = measure_one(trace, CATALOGUE[key])
        assert abs(got.resistance_ohm.value - (ohm + 0.06)) < 3 * got.resistance_ohm.u
        assert got.resistance_ohm.relative < 0.06
        assert got.resistance_ohm.value == pytest.approx(ohm + 0.06, rel=0.02)
        # the lamp sees less than 13.5 V by what wire and source take: within a few percent of the rating
        assert got.steady_a.value == pytest.approx(steady_a, rel=0.05)
        assert got.inrush_a.value == pytest.approx(clean[0].max(), rel=0.02)
        assert got.inrush_a.value > 5 * got.steady_a.value
        end = int(0.098 / 182e-6)
        hot = (clean[1][end] - clean[2][end]) / clean[0][end]
        assert abs(got.hot_ratio.value - hot / (ohm + 0.06)) < 3 * got.hot_ratio.u
        assert got.hot_ratio.relative < 0.06


def test_a_lamp_pulse_too_short_to_warm_it_has_no_steady_current(maker):
    clean = lamp_waves(1.556, 0.79, 5e-3, 7e-3, 26e-6)
    got = measure_one(
        maker.trace(maker.circuit(), on_s=5e-3, span_s=7e-3, clean=clean), CATALOGUE["lamp_21w"]
    )
    assert got.steady_a is None
    assert any("still falling" in r for r in got.refusals)
    assert abs(got.resistance_ohm.value - 0.85) < 3 * got.resistance_ohm.u


def motor_waves(ohm, henry, on_s, span_s, period_s, *, stalled=False, k=0.02, inertia=4e-6, friction=2e-5):
    """v = R i + L di/dt + K w, J dw/dt = K i - B w (any machines text), integrated by scipy."""
    through = 0.03 + 0.1 + 0.05  # source, wire, driver

    def rate(_, y):
        w = 0.0 if stalled else y[1]
        return [(13.5 - (ohm + through) * y[0] - k * w) / henry, (k * y[0] - friction * w) / inertia]

    t = 4e-6 + period_s * np.arange(int(span_s / period_s))
    got = solve_ivp(rate, (0, on_s), [0.0, 0.0], dense_output=True, rtol=1e-8, atol=1e-9)

    def current(at):
        return np.where(at < on_s, got.sol(np.minimum(at, on_s))[0], 0.0)

    supply = 13.5 - 0.03 * current(t + 6e-6)
    drain = np.where(t + 12e-6 < on_s, 0.05 * current(t + 12e-6), 14.2)
    return current(t), supply, drain


@pytest.mark.parametrize(("key", "ohm", "henry"), [("motor_throttle", 1.5, 1e-3), ("motor_fan", 1.2, 0.8e-3)])
def test_a_motor_from_rest(maker, key, ohm, henry):
    clean = motor_waves(ohm, henry, 0.1, 0.105, 182e-6)
    for seed in range(5):
        got = measure_one(
            maker.trace(maker.circuit(), on_s=0.1, span_s=0.105, period_s=182e-6, seed=seed, clean=clean),
            CATALOGUE[key],
        )
        assert abs(got.resistance_ohm.value - (ohm + 0.1)) < 3 * got.resistance_ohm.u
        assert got.resistance_ohm.relative < 0.08
        assert got.inrush_a.value == pytest.approx(clean[0].max(), rel=0.03)
        last_a = clean[0][int(0.099 / 182e-6)]
        back_v = 13.5 - last_a * (ohm + 0.18)
        assert abs(got.back_emf_v.value - back_v) < 3 * got.back_emf_v.u
        assert got.back_emf_v.u < 0.1 * back_v
        assert got.steady_a.value == pytest.approx(last_a, abs=3 * got.steady_a.u)


def test_a_stalled_motor_draws_the_supply_over_its_resistance(maker):
    clean = motor_waves(1.5, 1e-3, 0.1, 0.105, 182e-6, stalled=True)
    got = measure_one(
        maker.trace(maker.circuit(), on_s=0.1, span_s=0.105, period_s=182e-6, clean=clean),
        CATALOGUE["motor_throttle"],
    )
    assert got.steady_a.value == pytest.approx(13.5 / (1.5 + 0.18), rel=0.01)
    assert got.inrush_a.value == pytest.approx(got.steady_a.value, rel=0.01)
    assert abs(got.resistance_ohm.value - 1.6) < 3 * got.resistance_ohm.u
    assert abs(got.back_emf_v.value) < 3 * got.back_emf_v.u


def test_samples_too_far_apart_for_a_motors_rise_give_no_inductance(maker):
    clean = motor_waves(1.5, 0.2e-3, 0.1, 0.105, 182e-6)
    got = measure_one(
        maker.trace(maker.circuit(), on_s=0.1, span_s=0.105, period_s=182e-6, clean=clean),
        CATALOGUE["motor_throttle"],
    )
    assert got.inductance_h is None
    assert any("aliased" in r or "too short for this sample rate" in r for r in got.refusals)


@pytest.mark.parametrize("inertia", [1e-6, 2e-6])
def test_a_light_rotor_that_runs_up_within_the_look_spoils_nothing(maker, inertia):
    """Its back-EMF grows while the current still rises: taken for resistance it would be 2 to 6 % off."""
    clean = motor_waves(1.5, 1e-3, 12e-3, 12.6e-3, 26e-6, inertia=inertia)
    for seed in range(5):
        got = measure_one(
            maker.trace(maker.circuit(), on_s=12e-3, span_s=12.6e-3, seed=seed, clean=clean),
            CATALOGUE["motor_throttle"],
        )
        assert got.resistance_ohm.value == pytest.approx(1.6, rel=0.01)
        assert got.inductance_h.value == pytest.approx(1e-3, rel=0.01)
