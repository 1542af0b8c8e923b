"""Each fault changes the circuit, and what the pins show follows."""

import numpy as np
import pytest

from loomproof.facts.fault_kind import FaultKind
from loomproof_sim.plant.faults import Fault, apply_fault
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    CoilSpec,
    Drive,
    IgniterSpec,
    InjectorSpec,
    LampSpec,
    MotorSpec,
    RelaySpec,
    SuppressionSpec,
    WindingSpec,
)

DIODE_RELAY = RelaySpec(suppression=SuppressionSpec("diode"))
HIGH, LOW = InjectorSpec(), InjectorSpec(resistance_ohm=2.4, inductance_h=2.4e-3, pull_in_a=1.3)


def look(loom, channel=1, on_s=20e-3):
    """Plant, resting drain voltage, and the current at the end of one pulse."""
    plant = Plant(loom, seed=3)
    rest = plant.resting_drain_v(channel, 0.5e-3)
    plant.switch(channel, Drive.ON, 1e-3)
    end = plant.sample(channel, 1e-3 + on_s - 1e-7).current_a
    plant.switch(channel, Drive.OFF, 1e-3 + on_s)
    return plant, rest, end


def test_sound(make_loom):
    _, rest, end = look(make_loom(HIGH))
    assert rest == pytest.approx(13.5, abs=0.01)
    assert end == pytest.approx(13.5 / 14.25, rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "rest_v", "end_a"),
    [
        (FaultKind.OPEN, 2.5, 0.0),
        (FaultKind.FEED_OPEN, 2.5, 0.0),
        (FaultKind.SHORT_TO_GROUND, 0.0189, 13.48 / 14.15 * 0.02 / 0.12),
        (FaultKind.SHORT_TO_SUPPLY, 13.5, 13.5 / 0.15),
        (FaultKind.SHORT_ACROSS_LOAD, 13.5, 13.5 / 0.27),
        (FaultKind.ADDED_RESISTANCE, 13.5, 13.5 / 19.25),
        (FaultKind.FEED_WEAK, 13.5, 13.5 / 15.75),
        (FaultKind.WEAK_SUPPLY, 13.5, 13.5 / 14.85),
        (FaultKind.STUCK_ARMATURE, 13.5, 13.5 / 14.25),
        (FaultKind.SHORTED_TURNS, 13.5, 13.5 / (0.9 * 14 + 0.25)),
    ],
)
def test_direct_current(make_loom, kind, rest_v, end_a):
    """Ohm's law by hand for each; the short to ground by the divider of driver and fault path."""
    _, rest, end = look(apply_fault(make_loom(HIGH), Fault(kind, 1)))
    assert rest == pytest.approx(rest_v, abs=0.02)
    assert end == pytest.approx(end_a, rel=0.01, abs=1e-4)


def test_short_to_ground_energises_the_load_with_every_output_off(make_loom):
    plant = Plant(apply_fault(make_loom(HIGH), Fault(FaultKind.SHORT_TO_GROUND, 1)))
    assert plant.sample(1, 0.1).current_a < 1e-6  # the shunt sees nothing of it
    assert plant.load_current(1, [0.1])[0] == pytest.approx(13.5 / 14.17, rel=0.01)
    assert plant.moved(1)


def test_stuck_armature_never_lands_and_has_no_dip(make_loom):
    sound, stuck = (
        look(make_loom(HIGH))[0],
        look(apply_fault(make_loom(HIGH), Fault(FaultKind.STUCK_ARMATURE, 1)))[0],
    )
    assert sound.moved(1)
    assert not stuck.moved(1)
    times = np.linspace(1.5e-3, 4e-3, 200)
    assert (np.diff(stuck.sample_many(1, times)[0], 2) < 1e-12).all()
    assert np.diff(sound.sample_many(1, times)[0], 2).max() > 1e-4


def test_shorted_turns_lower_resistance_and_inductance(make_loom):
    winding = WindingSpec(resistance_ohm=14, inductance_h=14e-3)
    sound, _, end = look(make_loom(winding))
    bad, _, bad_end = look(apply_fault(make_loom(winding), Fault(FaultKind.SHORTED_TURNS, 1, fraction=0.1)))
    assert bad_end > 1.08 * end
    early = 1e-3 + 60e-6
    assert bad.sample(1, early).current_a > 2 * sound.sample(1, early).current_a


def test_swapped_loads(make_loom):
    loom = apply_fault(make_loom(HIGH, LOW), Fault(FaultKind.SWAPPED, 1, 2))
    assert look(loom, 1)[2] == pytest.approx(13.5 / 2.65, rel=0.01)
    assert look(loom, 2)[2] == pytest.approx(13.5 / 14.25, rel=0.01)


def test_injector_swapped_with_an_igniter_stays_shut(make_loom):
    """A logic output blocks what it did not put there; a low-side output cannot fire an igniter."""
    loom = make_loom(HIGH, IgniterSpec(), kinds={2: "logic"})
    plant = Plant(apply_fault(loom, Fault(FaultKind.SWAPPED, 1, 2)))
    for channel in (2, 1):
        plant.switch(channel, Drive.ON, plant.now_s)
        plant.sample(channel, plant.now_s + 10e-3)
        plant.switch(channel, Drive.OFF, plant.now_s)
    assert plant.stored_energy_j(1) < 1e-9
    assert not plant.moved(2)


def test_bridged_channels_drive_each_other(make_loom):
    plant, _, _ = look(apply_fault(make_loom(HIGH, HIGH), Fault(FaultKind.BRIDGED, 1, 2)))
    times = [20e-3]
    assert plant.load_current(2, times)[0] == pytest.approx(plant.load_current(1, times)[0], rel=0.02)
    assert plant.sample(2, 20e-3).current_a < 1e-6
    assert plant.sample(1, 20e-3).current_a == pytest.approx(2 * 0.94, rel=0.03)


def test_missing_and_reversed_suppression(make_loom):
    sound, _, _ = look(make_loom(DIODE_RELAY))
    missing, _, _ = look(apply_fault(make_loom(DIODE_RELAY), Fault(FaultKind.SUPPRESSION_MISSING, 1)))
    backwards = apply_fault(make_loom(DIODE_RELAY), Fault(FaultKind.SUPPRESSION_REVERSED, 1))
    after = 21e-3 + 50e-6
    assert sound.sample(1, after).drain_v == pytest.approx(14.2, abs=0.05)
    assert missing.sample(1, after).drain_v == pytest.approx(48.0, abs=0.1)
    assert look(backwards)[2] == pytest.approx((13.5 - 0.7) / 0.26, rel=0.02)


def test_intermittent_contact_breaks_only_while_flexed(make_loom):
    loom = apply_fault(make_loom(HIGH), Fault(FaultKind.INTERMITTENT, 1))
    first, again = Plant(loom, seed=7), Plant(loom, seed=7)
    times = np.linspace(0.0, 3.0, 30_001)
    for plant in (first, again):
        plant.switch(1, Drive.ON, 0.0)
        plant.wiggle(1, 1.0, 1.0)
    current = first.sample_many(1, times)[0]
    assert (current == again.sample_many(1, times)[0]).all()
    broken = (current < 0.5) & (times > 0.1)
    assert broken.any()
    assert ((times[broken] > 1.0) & (times[broken] < 2.01)).all()
    sound = Plant(make_loom(HIGH), seed=7)
    sound.switch(1, Drive.ON, 0.0)
    sound.wiggle(1, 1.0, 1.0)
    assert (sound.sample_many(1, times[times > 0.1])[0] > 0.9).all()


def test_wrong_load(make_loom):
    loom = apply_fault(make_loom(HIGH), Fault(FaultKind.WRONG_LOAD, 1, load=LampSpec(steady_current_a=0.1)))
    assert isinstance(loom.branch(1).load, LampSpec)
    assert look(apply_fault(make_loom(HIGH), Fault(FaultKind.WRONG_LOAD, 1)))[2] > 4.0


@pytest.mark.parametrize(
    ("fault", "word"),
    [
        (Fault(FaultKind.OPEN, 9), "no channel 9"),
        (Fault(FaultKind.OPEN), "which channel"),
        (Fault(FaultKind.FEED_OPEN, feed="x"), "no feed"),
        (Fault(FaultKind.SWAPPED, 1, 1), "itself"),
        (Fault(FaultKind.BRIDGED, 1, 1), "itself"),
        (Fault(FaultKind.STUCK_ARMATURE, 2), "nothing moves"),
        (Fault(FaultKind.SHORTED_TURNS, 2), "no winding"),
        (Fault(FaultKind.SHORTED_TURNS, 1, fraction=1.0), "between 0 and 1"),
        (Fault(FaultKind.SUPPRESSION_MISSING, 1), "no suppression"),
        (Fault(FaultKind.ADDED_RESISTANCE, 1, ohm=-1.0), "ohm"),
    ],
)
def test_a_fault_that_does_not_fit_is_refused(make_loom, fault, word):
    with pytest.raises(ValueError, match=word):
        apply_fault(make_loom(HIGH, LampSpec()), fault)


@pytest.mark.parametrize("kind", list(FaultKind))
@pytest.mark.parametrize(
    "load", [HIGH, DIODE_RELAY, CoilSpec(), MotorSpec(), LampSpec()], ids=lambda s: type(s).__name__
)
def test_every_fault_can_be_driven(make_loom, kind, load):
    """No fault breaks the solver; the pins stay finite and the faulty loom is another loom."""
    loom = make_loom(load, load)
    try:
        bad = apply_fault(loom, Fault(kind, 1, 2))
    except ValueError:
        return
    plant, _, _ = look(bad)
    values = np.array([plant.sample_many(c, np.linspace(0, 0.03, 300)) for c in (1, 2)])
    assert np.isfinite(values).all()
    assert np.abs(values).max() < 500.0


def test_a_leak_to_ground_divides_the_supply_with_its_load(make_loom):
    """13.5 V over the load's 14.25 ohm and a leak of as many: half of it at the pin, half the current (voltage divider)."""
    plant = Plant(apply_fault(make_loom(HIGH), Fault(FaultKind.LEAK_TO_GROUND, 1, ohm=14.17)))
    assert plant.sample(1, 0.1).drain_v == pytest.approx(13.5 / 2, rel=0.02)
    assert plant.load_current(1, [0.1])[0] == pytest.approx(13.5 / 28.3, rel=0.02)


def test_two_loads_on_one_wire_are_one_of_half_the_resistance_and_leave_a_cavity_empty(make_loom):
    """Two of 14 ohm side by side: 7 ohm (Ohm's law)."""
    loom = apply_fault(make_loom(HIGH, HIGH), Fault(FaultKind.TWO_ON_ONE_WIRE, 1, 2))
    assert look(loom, 1)[2] == pytest.approx(2 * 13.5 / 14.25, rel=0.02)
    _, rest, end = look(loom, 2)
    assert rest == pytest.approx(2.5, abs=0.01)
    assert end == pytest.approx(0.0, abs=1e-4)


def test_igniters_without_their_ground_take_no_current_and_do_not_fire(make_loom):
    loom = make_loom(IgniterSpec(), IgniterSpec(), kinds={1: "logic", 2: "logic"})
    for lost in (False, True):
        fault = Fault(FaultKind.GROUND_OPEN, 1, inputs=(1, 2))
        plant, rest, end = look(apply_fault(loom, fault) if lost else loom, on_s=3e-3)
        assert rest == pytest.approx(2.5 if lost else 0.03, abs=0.05)
        assert end == pytest.approx(0.0 if lost else 5.0 / 522.0, abs=4e-4)
        assert (plant.primary_current(1, np.linspace(1e-3, 4e-3, 50)).max() > 1.0) is not lost


def test_only_inputs_have_a_ground_to_lose(make_loom):
    with pytest.raises(ValueError, match="only inputs have a ground"):
        apply_fault(make_loom(HIGH), Fault(FaultKind.GROUND_OPEN, 1))


def test_every_wire_of_a_connector_moves_and_the_last_hangs_free(make_loom):
    loom = make_loom(HIGH, LOW)
    on = apply_fault(loom, Fault(FaultKind.SHIFTED, wires=((1, None), (2, 1))))
    assert look(on, 1)[1] == pytest.approx(2.5, abs=0.01)
    assert look(on, 2)[2] == pytest.approx(13.5 / 14.25, rel=0.01)
    fed = apply_fault(loom, Fault(FaultKind.SHIFTED, wires=((1, None), (2, 1)), fed=((1,), ())))
    assert look(fed, 1)[1] == pytest.approx(13.5, abs=0.01)


def test_a_set_of_other_loads(make_loom):
    other = apply_fault(make_loom(HIGH, HIGH), Fault(FaultKind.WRONG_SET, 1, loads=((1, LOW), (2, LOW))))
    for channel in (1, 2):
        assert look(other, channel)[2] == pytest.approx(13.5 / 2.65, rel=0.01)


@pytest.mark.parametrize("kind", [FaultKind.WRONG_SET, FaultKind.SHIFTED])
def test_what_is_not_said_cannot_be_made(make_loom, kind):
    with pytest.raises(ValueError, match="say which"):
        apply_fault(make_loom(HIGH), Fault(kind, 1))
