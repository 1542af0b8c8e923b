"""The second law of armatures and coils: energy, motion, and that it really is another one."""

import numpy as np
import pytest

from loomproof_sim.plant.faults import Fault, FaultKind, apply_fault
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, CoilSpec, Drive, InjectorSpec, LoomSpec, RelaySpec, ValveSpec


def driven(spec, on_s, law="second"):
    plant = Plant(LoomSpec(branches=(BranchSpec(1, spec, wire_ohm=0.1),), law=law))
    plant.switch(1, Drive.ON, 0.01)
    plant.switch(1, Drive.OFF, 0.01 + on_s)
    return plant


@pytest.mark.parametrize(
    ("spec", "on_s"), [(InjectorSpec(), 8e-3), (RelaySpec(), 60e-3), (ValveSpec(), 30e-3)]
)
def test_it_opens_settles_at_the_same_current_and_falls_back(spec, on_s):
    plant = driven(spec, on_s)
    end = plant.sample(1, 0.01 + on_s - 1e-6)
    due = driven(spec, on_s, law="first").sample(1, 0.01 + on_s - 1e-6)
    assert end.current_a == pytest.approx(due.current_a, rel=0.02)
    assert plant.moved(1)
    assert plant.armature_travel(1, 0.01 + on_s - 1e-6) == pytest.approx(1.0)
    assert plant.armature_travel(1, 0.3) == 0.0


def test_a_stuck_one_does_not_open():
    assert not driven(InjectorSpec(stuck=True), 8e-3).moved(1)


@pytest.mark.parametrize("spec", [InjectorSpec(damping_ratio=0.3), CoilSpec()])
def test_what_the_supply_gave_is_in_copper_field_and_motion(spec):
    on_s = 1e-3 if isinstance(spec, CoilSpec) else 1.2e-3  # before it lands: the stop swallows energy
    plant = driven(spec, on_s)
    times = np.linspace(0.01, 0.01 + on_s - 1e-9, 4001)
    amps, pin, volts = plant.sample_many(1, times)
    given = np.trapezoid((volts - pin) * amps, times)
    copper = np.trapezoid((spec.resistance_ohm + 0.1) * amps**2, times)
    end = float(times[-1])
    rubbed = np.trapezoid([plant.friction_w(1, t) for t in times[::40]], times[::40])
    kept = plant.stored_energy_j(1, end) + plant.mechanical_energy_j(1, end)
    assert given == pytest.approx(copper + kept + rubbed, rel=2e-3)


def test_the_laws_differ_where_the_armature_flies_and_the_iron_saturates():
    times = np.linspace(0.01, 0.016, 300)
    one, two = (driven(InjectorSpec(), 6e-3, law).sample_many(1, times)[0] for law in ("first", "second"))
    assert np.abs(one - two).max() > 0.02
    one, two = (driven(CoilSpec(), 1e-3, law).sample(1, 0.0109).current_a for law in ("first", "second"))
    assert two > 1.1 * one


def test_a_current_the_other_way_round_holds_an_armature_too():
    """Two bridged valves: when the driven one is let go, the other's current turns round while it is held."""
    valves = (
        ValveSpec(resistance_ohm=25.45, inductance_h=27.4e-3, pull_in_a=0.173, stroke_gain=0.0885),
        ValveSpec(
            resistance_ohm=7.6, inductance_h=16.7e-3, pull_in_a=0.309, stroke_gain=0.128, opening_s=9.7e-3
        ),
    )
    loom = LoomSpec(
        branches=tuple(BranchSpec(c, v, wire_ohm=0.1) for c, v in zip((1, 2), valves, strict=True))
    )
    plant = Plant(apply_fault(loom, Fault(FaultKind.BRIDGED, 1, 2, ohm=0.05)))
    plant.switch(2, Drive.ON, 0.01)
    plant.switch(2, Drive.OFF, 0.06)
    plant.sample(2, 0.2)
    assert len(plant._segments) < 100
