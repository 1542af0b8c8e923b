"""What must hold for every load and every order of asking: energy, continuity, repeatability."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    Drive,
    FeedSpec,
    InjectorSpec,
    LampSpec,
    LoomSpec,
    MotorSpec,
    RelaySpec,
    SuppressionSpec,
    ValveSpec,
    WindingSpec,
)

INDUCTIVE = {
    "injector": InjectorSpec(),
    "low injector": InjectorSpec(resistance_ohm=2.4, inductance_h=2.4e-3, pull_in_a=1.3, opening_s=1.4e-3),
    "relay": RelaySpec(),
    "relay with diode": RelaySpec(suppression=SuppressionSpec("diode")),
    "relay with resistor": RelaySpec(suppression=SuppressionSpec("resistor", ohm=330.0)),
    "spool valve": ValveSpec(
        resistance_ohm=7.4, inductance_h=20e-3, stroke_gain=0.06, spring_ratio=3.0, damping_ratio=0.5
    ),
    "coil": CoilSpec(),
    "motor": MotorSpec(),
    "winding": WindingSpec(),
    "shorted turns": InjectorSpec(shorted_fraction=0.15),
}
LOADS = INDUCTIVE | {"lamp": LampSpec()}


def plant_of(*loads, **more):
    branches = tuple(BranchSpec(k, load, "f", 0.1) for k, load in enumerate(loads, 1))
    return Plant(LoomSpec(feeds=(FeedSpec("f", 0.02),), branches=branches, **more))


def pulsed(load, on_s, off_s=0.0):
    plant = plant_of(load)
    plant.switch(1, Drive.ON, off_s)
    plant.switch(1, Drive.OFF, off_s + on_s)
    return plant


def simpson_grid(start, end, edges, count=4001):
    """Fine times between edges; integrals are taken piece by piece."""
    cuts = sorted({start, end, *(e for e in edges if start < e < end)})
    return [np.linspace(a, b - 1e-12, count) for a, b in pairwise(cuts)]


@pytest.mark.parametrize("name", INDUCTIVE)
def test_energy_is_never_created(name):
    """Supplied = heat in resistances and clamp + friction + impact + stored; impact is never negative."""
    load, on_s = INDUCTIVE[name], 6e-3
    if "relay" in name or "valve" in name:
        on_s = 25e-3
    plant = plant_of(load)
    plant.switch(1, Drive.ON, 0.0)
    inner = plant._circuit.loads[1]
    path_ohm = 0.03 + 0.02 + 0.1 + 0.1
    resistor = load.suppression.ohm if load.suppression.kind == "resistor" else None
    plant.sample(1, on_s)
    edges = list(plant._starts)
    supplied = heat = friction = 0.0
    for times in simpson_grid(0.0, on_s, edges, 1501):
        current, drain, supply = plant.sample_many(1, times)
        through = plant.load_current(1, times)
        across = supply - 0.02 * current - 0.1 * current - drain
        supplied += np.trapezoid(13.5 * current, times)
        heat += np.trapezoid(path_ohm * current**2 + inner.static_ohm * through**2, times)
        if resistor:
            heat += np.trapezoid(across**2 / resistor, times)
        lost = np.array([plant.friction_w(1, float(t)) for t in times[::5]])
        friction += np.trapezoid(lost, times[::5])
    stored = plant.stored_energy_j(1, on_s) + plant.mechanical_energy_j(1, on_s)
    rest = supplied - heat - friction - stored
    assert supplied > 0.0
    assert stored > 0.0
    assert rest > -2e-4 * supplied
    moving = 0.03 if hasattr(load, "pull_in_a") else 2e-4  # what the stop swallowed
    assert rest < moving * supplied


@pytest.mark.parametrize("name", INDUCTIVE)
@pytest.mark.parametrize("on_s", [0.3e-3, 3e-3, 20e-3])
def test_after_turn_off_nothing_more_comes_out_than_went_in(name, on_s):
    plant = pulsed(INDUCTIVE[name], on_s)
    stored = plant.stored_energy_j(1, on_s)
    later = [plant.stored_energy_j(1, on_s + dt) for dt in np.geomspace(1e-6, 0.3, 40)]
    assert stored > 0.0
    assert max(later) <= stored * (1 + 1e-6)
    assert later[-1] < 1e-8 + 1e-4 * stored  # 0.3 H keep 5 nJ in the bias's 0.2 mA


@pytest.mark.parametrize("name", INDUCTIVE)
def test_current_through_an_inductance_is_continuous(name):
    plant = pulsed(INDUCTIVE[name], 5e-3, 1e-3)
    plant.sample(1, 30e-3)
    biggest = np.abs(plant.load_current(1, np.linspace(0, 30e-3, 3001))).max()
    for edge in plant._starts[1:]:
        before, after = plant.load_current(1, [edge - 1e-11, edge + 1e-11])
        assert abs(after - before) < 1e-5 + 1e-5 * biggest


@pytest.mark.parametrize("name", LOADS)
def test_asking_changes_nothing(name):
    """Twice the same; any order; one at a time or all at once; asked beforehand or afterwards."""
    times = np.linspace(0, 12e-3, 301)
    shuffled = np.random.default_rng(1).permutation(len(times))
    plant = pulsed(LOADS[name], 4e-3, 1e-3)
    first = np.array(plant.sample_many(1, times))
    assert (np.array(plant.sample_many(1, times)) == first).all()
    other = pulsed(LOADS[name], 4e-3, 1e-3)
    again = np.array(other.sample_many(1, times[shuffled]))
    assert again == pytest.approx(first[:, shuffled], rel=1e-12, abs=1e-12)
    eager = plant_of(LOADS[name])
    eager.switch(1, Drive.ON, 1e-3)
    for t in times[times < 5e-3]:
        eager.sample(1, float(t))
    eager.sample(1, 5e-3)
    eager.switch(1, Drive.OFF, 5e-3)
    one_by_one = np.array([eager.sample(1, float(t)) for t in times]).T
    assert one_by_one == pytest.approx(first, rel=1e-12, abs=1e-12)
    assert np.abs(first[0]).max() > 1e-3


EDGE = st.tuples(
    st.integers(1, 4), st.sampled_from([Drive.ON, Drive.OFF]), st.floats(0, 8e-3, allow_subnormal=False)
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    names=st.lists(st.sampled_from(sorted(LOADS)), min_size=4, max_size=4),
    edges=st.lists(EDGE, min_size=1, max_size=8),
)
def test_any_train_stays_within_bounds(names, edges):
    """Whatever is switched when: finite, within supply, clamp and short-circuit bounds, and off means off."""
    plant = plant_of(*(LOADS[n] for n in names))
    t = 0.0
    for channel, drive, gap in edges:
        t += gap
        plant.switch(channel, drive, t)
    times = np.linspace(0.0, t + 5e-3, 200)
    for channel in plant.channels:
        current, drain, supply = plant.sample_many(channel, times)
        assert np.isfinite([current, drain, supply]).all()
        assert (supply <= 13.5 + 1e-9).all()
        assert (supply > 0.0).all()
        assert (drain < 48.2).all()
        assert (drain > -1.5).all()
        assert (np.abs(current) < 13.5 / 0.25).all()
        if plant.drive(channel) is Drive.OFF:
            assert abs(plant.sample(channel, t + 0.4).current_a) < 1e-6


def test_many_loads_share_the_supply():
    """Kirchhoff: what the battery gives is what the shunts and suppression carry, to a bias's milliampere."""
    plant = plant_of(InjectorSpec(), LampSpec(), MotorSpec(), RelaySpec())
    for k, channel in enumerate(plant.channels):
        plant.switch(channel, Drive.ON, 1e-3 * k)
    times = np.linspace(0, 20e-3, 500)
    total = sum(plant.sample_many(c, times)[0] for c in plant.channels)
    assert plant.supply_current(times) == pytest.approx(total, abs=1.5e-3)
    assert total.max() > 10.0
