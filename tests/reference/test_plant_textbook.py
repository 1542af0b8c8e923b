"""The simulated loom against closed-form textbook values and published figures.

Sources, named beside each test:
- first-order circuits: any circuits text, e.g. Nilsson and Riedel, Electric Circuits, ch. 7 (natural and step
  response of RL);
- Ribbens, Understanding Automotive Electronics, eq. 5.133 (solenoid with moving core);
- Chapman, Electric Machinery Fundamentals (DC motor: stall V/Ra, two-time-constant start);
- relay coil with resistor: published relay application notes (about 68 V computed, about 65 V measured).
Numbers without another mark were recomputed by hand from the formula shown.
"""

from dataclasses import replace
from math import exp, log, sqrt

import numpy as np
import pytest

from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    Drive,
    DriverSpec,
    InjectorSpec,
    LampSpec,
    LoomSpec,
    MotorSpec,
    RelaySpec,
    SupplySpec,
    SuppressionSpec,
    ValveSpec,
    WindingSpec,
)

NO_BIAS_OHM = 1e12


def bare(load, emf_v, *, clamp_v=1e6, temperature_c=20.0):
    """The load straight across an ideal supply and an ideal switch."""
    driver = DriverSpec(on_ohm=0.0, clamp_v=clamp_v, bias_ohm=NO_BIAS_OHM)
    return LoomSpec(SupplySpec(emf_v, 0.0), (), (BranchSpec(1, load),), {1: driver}, (), temperature_c)


def on_at_zero(load, emf_v, off_s=None, **more):
    plant = Plant(bare(load, emf_v, **more))
    plant.switch(1, Drive.ON, 0.0)
    if off_s is not None:
        plant.switch(1, Drive.OFF, off_s)
    return plant


def time_to(plant, amp, low, high):
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if plant.load_current(1, [middle])[0] < amp else (low, middle)
    return high


def test_ignition_solenoid():
    """12 V, 4 ohm, 6 mH (textbook exercise): 3 A, 27 mJ, and the rise at 1.5/3/7.5 ms."""
    plant = on_at_zero(WindingSpec(resistance_ohm=4, inductance_h=6e-3), 12.0)
    got = plant.load_current(1, [1.5e-3, 3e-3, 7.5e-3, 1.0])
    assert got == pytest.approx([1.896362, 2.593994, 2.979786, 3.0], abs=1e-6)
    assert plant.stored_energy_j(1, 1.0) == pytest.approx(27e-3, rel=1e-6)


def test_relay_pull_in_time():
    """12 V, 150 ohm, 30 mH, 50 mA (textbook exercise): 0.2 ms ln(8/3) = 0.1962 ms."""
    spec = RelaySpec(resistance_ohm=150, inductance_h=30e-3, pull_in_a=50e-3, opening_s=5e-3)
    plant = on_at_zero(spec, 12.0)
    assert time_to(plant, 50e-3, 0.0, 1e-3) == pytest.approx(0.2e-3 * log(8 / 3), abs=1e-7)
    assert plant.armature_travel(1, 0.1961e-3) == 0.0
    assert plant.armature_travel(1, 0.25e-3) > 0.0


def test_time_to_a_current():
    """110 V, 200 ohm, 500 mH to 350 mA (textbook exercise): 2.529 ms."""
    plant = on_at_zero(WindingSpec(resistance_ohm=200, inductance_h=0.5), 110.0)
    assert time_to(plant, 0.35, 0.0, 0.1) == pytest.approx(2.529e-3, abs=1e-6)


@pytest.mark.parametrize(("share", "taus"), [(0.9, 2.302585), (0.99, 4.605170)])
def test_settling(share, taus):
    """Time to 90 and 99 % is ln 10 and 2 ln 10 time constants."""
    plant = on_at_zero(WindingSpec(resistance_ohm=10, inductance_h=10e-3), 10.0)
    # the model's smallest resistance, 0.1 microohm, shows in the sixth place
    assert time_to(plant, share, 0.0, 0.1) / 1e-3 == pytest.approx(taus, abs=5e-6)


@pytest.mark.parametrize(("emf_v", "dwell_ms"), [(8.0, 4.428), (10.0, 3.290), (12.0, 2.623), (14.0, 2.182)])
def test_coil_dwell(emf_v, dwell_ms):
    """0.5 ohm, 3.5 mH to 7.5 A, t = -(L/R) ln(1 - IR/V), 98.4 mJ; a coil far from saturation obeys it."""
    spec = CoilSpec(resistance_ohm=0.5, inductance_h=3.5e-3, saturation_a=1e4)
    plant = on_at_zero(spec, emf_v)
    t = time_to(plant, 7.5, 0.0, 0.02)
    assert t * 1e3 == pytest.approx(dwell_ms, abs=1e-3)
    assert plant.stored_energy_j(1, t) == pytest.approx(98.4e-3, rel=1e-3)


def test_saturation_shortens_the_dwell_and_keeps_the_flux():
    """Volt-seconds: flux linkage = integral of (V - R i) dt, whatever the core does (Faraday)."""
    spec = CoilSpec(resistance_ohm=0.5, inductance_h=3.5e-3, saturation_a=8.0, saturated_share=0.15)
    plant = on_at_zero(spec, 13.5)
    straight = -(3.5e-3 / 0.5) * log(1 - 8 * 0.5 / 13.5)
    t = time_to(plant, 8.0, 0.0, 0.02)
    assert 0.65 * straight < t < 0.85 * straight
    times = np.linspace(0, t, 20_001)
    flux = np.trapezoid(13.5 - 0.5 * plant.load_current(1, times), times)
    assert flux == pytest.approx(0.15 * 3.5e-3 * 8 + 0.85 * 3.5e-3 * 8 * np.tanh(1.0), rel=1e-5)


@pytest.mark.parametrize(("across_v", "decay_ms"), [(0.7, 2.898), (24.7, 0.396), (48.0, 0.2231)])
def test_turn_off(across_v, decay_ms):
    """t0 = L/R ln(1 + I0 R / V), 14 ohm, 14 mH, 0.857 A (12 V), V across the winding."""
    if across_v < 1.0:
        load = WindingSpec(resistance_ohm=14, inductance_h=14e-3, suppression=SuppressionSpec("diode"))
        plant = on_at_zero(load, 12.0, 0.1)
    else:
        load = WindingSpec(resistance_ohm=14, inductance_h=14e-3)
        plant = on_at_zero(load, 12.0, 0.1, clamp_v=12.0 + across_v)
    assert plant.load_current(1, [0.1])[0] == pytest.approx(0.857143, abs=1e-6)
    low, high = 0.1, 0.2
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if plant.load_current(1, [middle])[0] > 1e-5 else (low, middle)
    assert (high - 0.1) * 1e3 == pytest.approx(decay_ms, rel=0.01)


def test_energy_in_a_clamp():
    """60 V clamp to ground, 12 V, 14 ohm, 14 mH: 5.525 mJ in the clamp of 5.143 mJ stored.

    E = Vz L/R (I0 - (Vz - V)/R ln(1 + I0 R/(Vz - V))), the supply adding its share (power-switch application
    notes).
    """
    plant = on_at_zero(WindingSpec(resistance_ohm=14, inductance_h=14e-3), 12.0, 0.1, clamp_v=60.0)
    assert plant.stored_energy_j(1, 0.1) == pytest.approx(5.143e-3, rel=1e-3)
    times = np.linspace(0.1, 0.1003, 60_001)
    current, drain, _ = plant.sample_many(1, times)
    energy = np.trapezoid(current * drain, times)
    i0, over = 12 / 14, 48.0
    formula = 60 * (14e-3 / 14) * (i0 - over / 14 * log(1 + i0 * 14 / over))
    assert formula == pytest.approx(5.525e-3, rel=1e-3)
    assert energy == pytest.approx(5.525e-3, rel=1e-3)


def test_resistor_across_a_relay():
    """680 ohm across 120 ohm at 12 V: 0.1 A x 680 ohm = 68 V across the coil at turn-off.

    The application note measured about 65 V.
    """
    spec = RelaySpec(
        resistance_ohm=120, inductance_h=0.4, pull_in_a=0.06, opening_s=12e-3,
        suppression=SuppressionSpec("resistor", ohm=680.0),
    )  # fmt: skip
    plant = on_at_zero(spec, 12.0, 0.3)
    drain = plant.sample(1, 0.3 + 1e-9).drain_v
    assert drain - 12.0 == pytest.approx(68.0, rel=0.005)
    assert drain - 12.0 == pytest.approx(65.0, rel=0.05)


def test_pwm_with_an_ideal_freewheel():
    """13.5 V, 7.4 ohm, 20 mH, 250 Hz, 50 %: 1.2351 / 0.5893 / 0.9122 A in steady state.

    Periodic response of an R-L circuit (textbook).
    """
    load = WindingSpec(
        resistance_ohm=7.4, inductance_h=20e-3, suppression=SuppressionSpec("diode", diode_v=0.0)
    )
    plant = Plant(bare(load, 13.5))
    for k in range(20):
        plant.switch(1, Drive.ON, k * 4e-3)
        plant.switch(1, Drive.OFF, k * 4e-3 + 2e-3)
    times = np.linspace(76e-3, 80e-3 - 1e-9, 8_001)
    current = plant.load_current(1, times)
    half = exp(-2e-3 * 7.4 / 20e-3)
    assert 13.5 / 7.4 / (1 + half) == pytest.approx(1.2351, abs=1e-4)
    assert current.max() == pytest.approx(1.2351, abs=1.2e-3)  # the model's diode has 10 milliohm
    assert current.min() == pytest.approx(0.5893, abs=1.2e-3)
    assert np.trapezoid(current, times) / 4e-3 == pytest.approx(0.9122, abs=1.2e-3)


def test_solenoid_equation():
    """v = R i + L(x) di/dt + i (dL/dx)(dx/dt) holds along the flight (Ribbens, eq. 5.133).

    R i, i and x are read from the trajectory; L(x) from the definition of stroke gain: 1/L falls linearly to
    1/((1+g)L0).
    """
    spec = InjectorSpec(
        resistance_ohm=14, inductance_h=14e-3, pull_in_a=0.35, opening_s=1.5e-3, stroke_gain=0.2
    )
    plant = on_at_zero(spec, 13.5)
    h = 1e-7
    for t in np.linspace(0.7e-3, 1.45e-3, 16):
        i0, i1, i2 = plant.load_current(1, [t - h, t, t + h])
        x0, x1, x2 = (plant.armature_travel(1, float(u)) for u in (t - h, t, t + h))
        assert 0 < x1 < 1
        inductance = 14e-3 * 1.2 / (1 + 0.2 * (1 - x1))
        slope = 14e-3 * 1.2 * 0.2 / (1 + 0.2 * (1 - x1)) ** 2
        volt = 14 * i1 + inductance * (i2 - i0) / (2 * h) + i1 * slope * (x2 - x0) / (2 * h)
        assert volt == pytest.approx(13.5, rel=2e-4)


@pytest.mark.parametrize(
    "spec",
    [
        InjectorSpec(),
        InjectorSpec(resistance_ohm=2.4, inductance_h=2.4e-3, pull_in_a=1.3, opening_s=1.4e-3),
        RelaySpec(),
        ValveSpec(),
    ],
)
def test_opening_time(spec):
    """The armature lands at the stated time at 13.5 V, and the current dips as it does.

    The dip: common practice, no source.
    """
    plant = on_at_zero(spec, 13.5)
    assert plant.armature_travel(1, spec.opening_s * 0.995) < 1.0
    assert plant.armature_travel(1, spec.opening_s * 1.005) == 1.0
    times = np.linspace(0, 2 * spec.opening_s, 4001)
    current = plant.load_current(1, times)
    land = int(np.argmin(np.abs(times - spec.opening_s)))
    before, after = np.diff(current)[land - 12], np.diff(current)[land + 12]
    assert after > before  # slope breaks upwards at the landing
    held = Plant(bare(replace(spec, stuck=True), 13.5))
    held.switch(1, Drive.ON, 0.0)
    tau = spec.inductance_h / spec.resistance_ohm
    exact = 13.5 / spec.resistance_ohm * (1 - np.exp(-times / tau))
    assert held.load_current(1, times) == pytest.approx(exact, abs=1e-6)


def test_motor_stall_and_start():
    """Stall: V/Ra, 12/1.5 = 8 A. Free: the two-pole step response of the armature-controlled motor.

    Chapman, Electric Machinery Fundamentals.
    """
    spec = MotorSpec(
        resistance_ohm=1.5,
        inductance_h=0.8e-3,
        emf_constant_v_s=0.02,
        inertia_kg_m2=2e-6,
        friction_n_m_s=2e-5,
    )
    assert on_at_zero(replace(spec, stuck=True), 12.0).load_current(1, [0.1])[0] == pytest.approx(
        8.0, abs=1e-5
    )
    plant = on_at_zero(spec, 12.0)
    r, ind, k, j, b = 1.5, 0.8e-3, 0.02, 2e-6, 2e-5
    mean, root = (r / ind + b / j) / 2, (r * b + k * k) / (ind * j)
    slow, fast = -mean + sqrt(mean**2 - root), -mean - sqrt(mean**2 - root)
    steady, slope = 12 * b / (r * b + k * k), 12 / ind
    part = (slope + fast * steady) / (slow - fast)
    for t in (1e-4, 1e-3, 4e-3, 0.1):  # inverse Laplace transform of V (s J + B) / (s ((sL+R)(sJ+B)+K^2))
        exact = steady + part * exp(slow * t) - (steady + part) * exp(fast * t)
        assert plant.load_current(1, [t])[0] == pytest.approx(exact, abs=2e-6)


def test_lamp_inrush_band():
    """Cold resistance about a tenth of hot, inrush 8-16 times the running current.

    Common practice, no source.

    21 W type: 26.5 W at 13.5 V (UN R37, from memory), so 1.963 A and 6.88 ohm hot.
    """
    plant = on_at_zero(LampSpec(), 13.5)
    times = np.concatenate([[1e-9], np.geomspace(1e-5, 2.0, 400)])
    current = plant.load_current(1, times)
    assert current[-1] == pytest.approx(26.5 / 13.5, rel=3e-3)
    assert 8 < current[0] / current[-1] < 16
    assert (np.diff(current) < 1e-5).all()  # never below its running value on the way
    assert 13.5 / current[-1] == pytest.approx(13.5**2 / 26.5, rel=3e-3)
    half_s = times[np.argmax(current < 2 * current[-1])]
    assert 1e-3 < half_s < 30e-3


def test_copper_in_the_loom():
    """IEC 60028:1925: resistance of copper at -40, 90, 105 and 125 degC, relative to 20 degC."""
    for temperature_c, factor in (
        (-40.0, 0.7642),
        (20.0, 1.0),
        (90.0, 1.2751),
        (105.0, 1.33405),
        (125.0, 1.41265),
    ):
        load = WindingSpec(resistance_ohm=10.0, inductance_h=20e-3)
        plant = on_at_zero(load, 13.5, temperature_c=temperature_c)
        assert 1.35 / plant.load_current(1, [1.0])[0] == pytest.approx(factor, rel=1e-3)
