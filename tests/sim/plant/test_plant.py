"""Drivers, hands, and the order of time."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from loomproof_sim.plant.integrate import STIFF_AFTER, Integrator
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    Drive,
    DriverSpec,
    FeedSpec,
    InjectorSpec,
    LogicInputSpec,
    LoomSpec,
    MotorSpec,
    WindingSpec,
)


def test_sense_pulse_moves_nothing(make_loom):
    plant = Plant(make_loom(InjectorSpec()))
    plant.switch(1, Drive.ON, 0.0)
    plant.switch(1, Drive.OFF, 80e-6)
    plant.sample(1, 20e-3)
    assert not plant.moved(1)
    assert plant.armature_travel(1, 5e-3) == 0.0


def test_armature_comes_back_after_the_pulse(make_loom):
    plant = Plant(make_loom(InjectorSpec()))
    plant.switch(1, Drive.ON, 0.0)
    plant.switch(1, Drive.OFF, 4e-3)
    assert plant.armature_travel(1, 4e-3) == 1.0
    assert plant.armature_travel(1, 20e-3) == 0.0
    assert plant.moved(1)
    plant.switch(1, Drive.ON, 30e-3)
    assert not plant.moved(1)


def test_pulled_connector_reads_as_open_and_sparks_over_under_current(make_loom):
    plant = Plant(make_loom(InjectorSpec()))
    assert plant.resting_drain_v(1, 0.0) == pytest.approx(13.5, abs=0.01)
    plant.pull(1)
    assert plant.resting_drain_v(1, 1e-3) == pytest.approx(2.5, abs=0.01)
    plant.seat(1)
    plant.switch(1, Drive.ON, 2e-3)
    before = plant.load_current(1, [12e-3])[0]
    plant.pull(1, 12e-3)
    assert plant.load_current(1, [12e-3 + 1e-9])[0] == pytest.approx(before, rel=1e-4)
    assert plant.sample(1, 12.2e-3).current_a < 1e-4  # the bias alone: 2.5 V through 47 kohm


def test_supply_off_ends_the_current(make_loom):
    plant = Plant(make_loom(InjectorSpec()))
    plant.switch(1, Drive.ON, 0.0)
    assert plant.sample(1, 20e-3).supply_v == pytest.approx(13.47, abs=0.01)
    plant.set_supply(False)
    assert abs(plant.sample(1, 60e-3).current_a) < 1e-3
    assert plant.sample(1, 60e-3).supply_v < 1.0
    plant.set_supply(True)
    plant.set_supply(9.0)
    assert plant.sample(1, 0.1).supply_v == pytest.approx(9.0, abs=0.05)


def test_time_never_runs_backwards(make_loom):
    plant = Plant(make_loom(InjectorSpec()))
    plant.switch(1, Drive.ON, 1e-3)
    with pytest.raises(ValueError, match="backwards"):
        plant.switch(1, Drive.OFF, 0.5e-3)
    with pytest.raises(KeyError, match="no channel 7"):
        plant.sample(7, 1e-3)
    with pytest.raises(ValueError, match="finite"):
        plant.sample_many(1, [float("nan")])


def test_half_bridge_turns_both_ways():
    drivers = {c: DriverSpec(kind="half_bridge") for c in (1, 2)}
    branches = (BranchSpec(1, MotorSpec(), None, 0.1, partner=2), BranchSpec(2, None, None, 0.1))
    for sign, first, second in ((1, Drive.HIGH, Drive.LOW), (-1, Drive.LOW, Drive.HIGH)):
        plant = Plant(LoomSpec(branches=branches, drivers=drivers))
        plant.switch(1, first, 0.0)
        plant.switch(2, second, 0.0)
        amp = plant.load_current(1, [1e-3])[0]
        assert amp * sign > 3.0
        assert plant.sample(1, 1e-3).current_a == pytest.approx(abs(amp), rel=1e-3)
        assert plant.sample(2, 1e-3).current_a == pytest.approx(abs(amp), rel=1e-3)
        assert plant.armature_travel(1, 50e-3) * sign > 0.2


def test_high_side_and_logic(make_loom):
    plant = Plant(
        make_loom(WindingSpec(resistance_ohm=10.0), LogicInputSpec(), kinds={1: "high_side", 2: "logic"})
    )
    assert plant.resting_drain_v(1, 0.0) < 0.01
    plant.switch(1, Drive.ON, 0.0)
    plant.switch(2, Drive.ON, 0.0)
    assert plant.sample(1, 0.1).current_a == pytest.approx(13.5 / 10.23, rel=0.01)
    assert plant.sample(2, 0.1).drain_v == pytest.approx(5.0 * 10_000 / 10_022, rel=1e-3)
    plant.switch(1, Drive.OFF, 0.1)
    assert plant.sample(1, 0.1 + 20e-6).drain_v == pytest.approx(13.5 - 48.0, abs=0.1)


def test_open_feed_ties_its_loads_together():
    """With the feed gone, a driven channel pulls the others' drains down through their loads."""
    branches = tuple(BranchSpec(c, InjectorSpec(), "f", 0.1) for c in (1, 2))
    plant = Plant(LoomSpec(feeds=(FeedSpec("f", open=True),), branches=branches))
    assert plant.resting_drain_v(2, 0.0) == pytest.approx(2.5, abs=0.01)
    plant.switch(1, Drive.ON, 1e-3)
    assert plant.resting_drain_v(2, 10e-3) == pytest.approx(0.0, abs=0.01)


def test_integrator_against_scipy():
    """The same tableau as scipy's RK45; Lotka-Volterra as a smooth nonlinear system."""

    def rhs(y):
        return [1.5 * y[0] - y[0] * y[1], -3.0 * y[1] + y[0] * y[1]]

    run = Integrator(rhs, [1.0, 1.0], (1.0, 1.0), rtol=1e-8)
    while run.t < 10.0:
        run.advance()
    times = np.linspace(0, 10, 101)
    theirs = solve_ivp(
        lambda t, y: rhs(y), (0, 10), [1, 1], method="DOP853", rtol=1e-11, atol=1e-12, t_eval=times
    )
    assert run.at_many(times) == pytest.approx(theirs.y.T, abs=2e-5)
    assert run.step_at(3.3).at(3.3) == pytest.approx(run.at_many(np.array([3.3]))[0], rel=1e-12)


def test_a_stiff_quiet_minute_is_crossed_in_few_steps_and_ends_where_the_exact_solution_does():
    """Two windings over a bad joint: a fast current dies within microseconds, a slow one within seconds."""
    fast, slow = 2.0e6, 0.25
    run = Integrator(lambda y: (-fast * (y[0] - y[1]), -slow * y[1]), (0.0, 1.0), (1.0, 1.0))
    while run.t < 60.0:
        run.advance()
    assert len(run.steps) < STIFF_AFTER + 400  # the explicit method alone would need some 40 million
    for t in (1e-3, 0.5, 10.0, 60.0):
        y = run.step_at(t).at(t)
        exact = np.exp(
            -slow * t
        )  # textbook: a sum of exponentials; the fast one is over, its lag is slow/fast
        np.testing.assert_allclose(y, [exact / (1 - slow / fast), exact], rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(
        run.at_many(np.array([10.0, 60.0])), [run.step_at(t).at(t) for t in (10.0, 60.0)], rtol=1e-9
    )
