"""The simulated loom against ngspice (`ngspice -b`, .tran), within 0.5 % of full current.

Each netlist is written by hand from the physics, not from the program's equations: switches are voltage-
controlled switches, diodes are junction diodes of a very small emission coefficient (a few millivolt) in
series with their threshold. A missing ngspice is a failure.
"""

import numpy as np
import pytest

from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    Drive,
    DriverSpec,
    FeedSpec,
    IgniterSpec,
    InjectorSpec,
    LampSpec,
    LoomSpec,
    MotorSpec,
    SupplySpec,
    SuppressionSpec,
    WindingSpec,
)
from testbed.spice import transient

ALLOWED = 0.005  # of full current

HEAD = """check
.options reltol=1e-5 abstol=1e-9 method=trap
.model swm sw(vt=0.5 vh=0.01 ron=0.1 roff=1e9)
.model dio d(is=1e-12 n=0.01)
Vbat e 0 13.5
Rbat e s 0.03
"""


@pytest.fixture
def spice(tmp_path):
    def run(body: str, vectors: list[str], stop_s: float, step_s: float) -> tuple[np.ndarray, np.ndarray]:
        return transient(tmp_path, HEAD + body, vectors, f"{step_s:g} {stop_s:g} 0 {step_s:g} uic")

    return run


def loom(*branches, feed_ohm=0.01, clamp_v=48.0, bias_ohm=47_000.0):
    drivers = {b.channel: DriverSpec(on_ohm=0.1, clamp_v=clamp_v, bias_ohm=bias_ohm) for b in branches}
    return LoomSpec(SupplySpec(13.5, 0.03), (FeedSpec("f", feed_ohm),), branches, drivers)


def driven(spec, edges):
    plant = Plant(spec)
    for channel, drive, time_s in edges:
        plant.switch(channel, drive, time_s)
    return plant


def agree(ours, theirs, full_a=None):
    full_a = np.abs(theirs).max() if full_a is None else full_a
    assert full_a > 0.0
    worst = np.abs(ours - theirs).max() / full_a
    assert worst < ALLOWED, f"{worst:.3%} of full current"


def pulse(name: str, start_s: float, stop_s: float) -> str:
    return (
        f"V{name} {name} 0 pwl(0 0 {start_s:g} 0 {start_s + 1e-8:.9g} 1 {stop_s:g} 1 {stop_s + 1e-8:.9g} 0)\n"
    )


def off_instants(times, *edges, guard_s=2e-6):
    """All but the microseconds around the edges.

    Where the two hold the edge itself at slightly other times.
    """
    keep = np.ones(len(times), bool)
    for edge in edges:
        keep &= np.abs(times - edge) > guard_s
    return times[keep], keep


LOW_SIDE = "Rfeed s f 0.01\nRw m d 0.2\nVsh d q 0\nS1 q 0 g 0 swm\nDc q c dio\nVc c 0 48\n"


def test_rl_rise_and_clamp_decay(spice):
    body = LOW_SIDE + "R1 f a 14\nL1 a m 14m ic=0\n" + pulse("g", 1e-3, 6e-3)
    t, y = spice(body, ["i(vsh)", "v(d)"], 8e-3, 1e-6)
    plant = driven(
        loom(BranchSpec(1, WindingSpec(resistance_ohm=14, inductance_h=14e-3), "f", 0.2)),
        [(1, Drive.ON, 1e-3), (1, Drive.OFF, 6e-3)],
    )
    times, keep = off_instants(t, 1e-3, 6e-3)
    current, drain, _ = plant.sample_many(1, times)
    agree(current, y[keep, 0])
    clamped = (times > 6.005e-3) & (times < 6.15e-3)
    assert np.abs(drain[clamped] - y[keep, 1][clamped]).max() < 0.1
    assert drain[clamped].min() > 47.9


def test_freewheel_decay(spice):
    body = (
        LOW_SIDE
        + "R1 f a 90\nL1 a m 250m ic=0\nDf m k dio\nVf k k2 0.7\nRf k2 f 0.01\nVl f0 f 0\n"
        + pulse("g", 1e-3, 30e-3)
    )
    t, y = spice(body.replace("R1 f a 90", "Vm f fa 0\nR1 fa a 90"), ["i(vm)", "i(vsh)"], 50e-3, 5e-6)
    load = WindingSpec(resistance_ohm=90, inductance_h=0.25, suppression=SuppressionSpec("diode"))
    plant = driven(loom(BranchSpec(1, load, "f", 0.2)), [(1, Drive.ON, 1e-3), (1, Drive.OFF, 30e-3)])
    agree(plant.load_current(1, t), y[:, 0])
    times, keep = off_instants(t, 1e-3, 30e-3, guard_s=10e-6)
    agree(plant.sample_many(1, times)[0], y[keep, 1])


def test_pwm_steady_state(spice):
    body = (
        LOW_SIDE
        + "Vm f fa 0\nR1 fa a 7.4\nL1 a m 20m ic=0\nDf m k dio\nVf k k2 0.7\nRf k2 f 0.01\n"
        + "Vg g 0 pulse(0 1 0 10n 10n 2m 4m)\n"
    )
    t, y = spice(body, ["i(vm)"], 60e-3, 2e-6)
    load = WindingSpec(resistance_ohm=7.4, inductance_h=20e-3, suppression=SuppressionSpec("diode"))
    plant = Plant(loom(BranchSpec(1, load, "f", 0.2)))
    for k in range(15):
        plant.switch(1, Drive.ON, k * 4e-3)
        plant.switch(1, Drive.OFF, k * 4e-3 + 2e-3)
    late = t > 40e-3
    agree(plant.load_current(1, t[late]), y[late, 0])


def test_saturating_coil(spice):
    """The netlist holds the flux linkage and solves for the current.

    The program integrates the differential inductance.
    """
    flux = "0.525m*v(i)+2.975m*8*tanh(v(i)/8)"
    body = (
        LOW_SIDE
        + "Bv 0 lam i=v(f,m)-0.5*v(i)\nClam lam 0 1 ic=0\nRlam lam 0 1e12\n"
        + f"Bi 0 i i=1e3*(v(lam)-({flux}))\nRi i 0 1e9\nBl f m i=v(i)\n"
        + pulse("g", 1e-3, 5e-3)
    )
    t, y = spice(body, ["v(i)"], 7e-3, 1e-6)
    load = CoilSpec(resistance_ohm=0.5, inductance_h=3.5e-3, saturation_a=8, saturated_share=0.15)
    plant = driven(loom(BranchSpec(1, load, "f", 0.2)), [(1, Drive.ON, 1e-3), (1, Drive.OFF, 5e-3)])
    ours = plant.load_current(1, t)
    agree(ours, y[:, 0])
    straight = 13.5 / 0.84 * (1 - np.exp(-4e-3 * 0.84 / 3.5e-3))
    assert y[:, 0].max() > 1.1 * straight  # it did saturate


def test_two_loads_on_one_weak_feed(spice):
    body = (
        "Rfeed s f 1.5\n"
        "Rw1 m1 d1 0.2\nV1 d1 q1 0\nS1 q1 0 g1 0 swm\nDc1 q1 c1 dio\nVc1 c1 0 48\n"
        "R1 f a1 14\nL1 a1 m1 14m ic=0\n"
        "Rw2 m2 d2 0.1\nV2 d2 q2 0\nS2 q2 0 g2 0 swm\nDc2 q2 c2 dio\nVc2 c2 0 48\n"
        "R2 f a2 2.4\nL2 a2 m2 2.4m ic=0\n" + pulse("g1", 1e-3, 7e-3) + pulse("g2", 3e-3, 5e-3)
    )
    t, y = spice(body, ["i(v1)", "i(v2)", "v(s)"], 9e-3, 1e-6)
    plant = driven(
        loom(
            BranchSpec(1, WindingSpec(resistance_ohm=14, inductance_h=14e-3), "f", 0.2),
            BranchSpec(2, WindingSpec(resistance_ohm=2.4, inductance_h=2.4e-3), "f", 0.1),
            feed_ohm=1.5,
        ),
        [(1, Drive.ON, 1e-3), (2, Drive.ON, 3e-3), (2, Drive.OFF, 5e-3), (1, Drive.OFF, 7e-3)],
    )
    times, keep = off_instants(t, 1e-3, 3e-3, 5e-3, 7e-3)
    one, _, supply = plant.sample_many(1, times)
    agree(one, y[keep, 0])
    agree(plant.sample_many(2, times)[0], y[keep, 1])
    assert np.abs(supply - y[keep, 2]).max() < 1e-3
    dip = one[np.searchsorted(times, 4.9e-3)] / one[np.searchsorted(times, 2.99e-3)]
    assert dip < 0.9  # the second load does pull the first one's current down through the shared resistance


JONES_LANGMUIR = (
    # kelvin, microohm centimetre: H. A. Jones, I. Langmuir, GE Review 30 (1927), from memory
    "300,5.65,400,8.06,500,10.56,600,13.23,700,16.09,800,19.00,900,21.94,1000,24.93,1100,27.94,1200,30.98,1300,34.08,"
    "1400,37.19,1500,40.36,1600,43.55,1700,46.78,1800,50.05,1900,53.35,2000,56.67,2100,60.06,2200,63.48,2300,66.91,"
    "2400,70.39,2500,73.91,2600,77.49,2700,81.04,2800,84.70,2900,88.33,3000,92.04"
)


def test_lamp_inrush(spice):
    """A filament as a thermal node: resistance from the printed table.

    Radiation with the fifth power of temperature.
    """
    hot, capacity = 13.5 / 1.96, 1.2e-3
    cold_300 = hot * 5.65 / 84.70  # the printed table's 300 K over a filament's 2800 K
    table = np.array([float(v) for v in JONES_LANGMUIR.split(",")]).reshape(-1, 2)
    hot_k = float(np.interp(5.65 * hot / cold_300, table[:, 1], table[:, 0]))
    radiate = 13.5 * 1.96 / (hot_k**5 - 293.15**5)
    body = (
        LOW_SIDE
        + f"Br r 0 v={cold_300 / 5.65}*pwl(v(t),{JONES_LANGMUIR})\n"
        + "Bl f m i=v(f,m)/v(r)\n"
        + f"Bt 0 t i=(v(f,m)^2/v(r)-{radiate:.9g}*(v(t)^5-300^5))/({capacity}*(1+1.7e-4*(v(t)-300)))\n"
        + "Ct t 0 1 ic=300\nRt t 0 1e15\n"
        + pulse("g", 1e-3, 0.2)
    )
    t, y = spice(body, ["i(vsh)"], 0.15, 2e-5)
    cold_20c = cold_300 * (5.65 - 0.0241 * 6.85) / 5.65  # the table's own slope at 300 K
    load = LampSpec(resistance_ohm=cold_20c, heat_capacity_j_per_k=capacity)
    spec = LoomSpec(
        SupplySpec(13.5, 0.03),
        (FeedSpec("f", 0.01),),
        (BranchSpec(1, load, "f", 0.2 / 1.0269205),),
        {},
        (),
        26.85,
    )
    plant = driven(spec, [(1, Drive.ON, 1e-3)])
    times, keep = off_instants(t, 1e-3)
    ours = plant.sample_many(1, times)[0]
    agree(ours, y[keep, 0])
    assert ours.max() > 8 * ours[-1]


def test_motor_start_and_stop(spice):
    body = (
        LOW_SIDE
        + "R1 f a 1.5\nL1 a b 0.8m ic=0\nEb b m w 0 0.02\nVm f0 0 0\n"
        + "Gw 0 w cur='0.02*i(Vx)'\nCw w 0 2e-6 ic=0\nRw2 w 0 50k\n"
        + pulse("g", 1e-3, 0.5)
    ).replace("R1 f a 1.5", "Vx f fx 0\nR1 fx a 1.5")
    t, y = spice(body, ["i(vx)", "v(w)"], 0.06, 5e-6)
    load = MotorSpec(
        resistance_ohm=1.5,
        inductance_h=0.8e-3,
        emf_constant_v_s=0.02,
        inertia_kg_m2=2e-6,
        friction_n_m_s=2e-5,
    )
    plant = driven(loom(BranchSpec(1, load, "f", 0.2)), [(1, Drive.ON, 1e-3)])
    agree(plant.load_current(1, t), y[:, 0])
    assert plant.armature_travel(1, 0.05) * 13.5 == pytest.approx(
        0.02 * np.interp(0.05, t, y[:, 1]), rel=1e-3
    )


def test_shorted_turns(spice):
    """A fifth of the turns shorted on themselves: two coupled windings: N1 = 0.8 N, N2 = 0.2 N, k^2 = 0.92.

    L goes with turns squared, R with turns.
    """
    body = (
        LOW_SIDE
        + "Vx f fx 0\nR1 fx a 11.2\nL1 a m 8.96m ic=0\n"
        + "L2 r 0 0.5152m ic=0\nR2 r 0 2.8\nK1 L1 L2 0.9591663\n"
        + pulse("g", 1e-3, 5e-3)
    )
    t, y = spice(body, ["i(vx)"], 6e-3, 2e-7)
    load = WindingSpec(resistance_ohm=14, inductance_h=14e-3, shorted_fraction=0.2)
    plant = driven(loom(BranchSpec(1, load, "f", 0.2)), [(1, Drive.ON, 1e-3), (1, Drive.OFF, 5e-3)])
    times, keep = off_instants(t, 1e-3, 5e-3)
    agree(plant.load_current(1, times), y[keep, 0])


def test_injector_flight(spice):
    """An armature leaving its stop, up to its landing: mass.

    Spring and reluctance as a netlist of their own.
    """
    load = InjectorSpec(
        resistance_ohm=14,
        inductance_h=14e-3,
        pull_in_a=0.35,
        opening_s=1.5e-3,
        stroke_gain=0.15,
        spring_ratio=0.3,
    )
    plant = driven(loom(BranchSpec(1, load, "f", 0.2)), [(1, Drive.ON, 1e-3)])
    mass = plant._circuit.loads[1].mass  # found from the opening time; checked by `test_opening_time`
    far, pull_in = 14e-3 * 1.15, 14e-3 * 0.35
    preload = pull_in**2 * 0.15 / (2 * far)
    force = f"(v(lam)^2*{0.15 / (2 * far)}-{preload}*(1+0.3*v(x)))"
    body = (
        LOW_SIDE
        + "Bv 0 lam i=v(f,m)-14*i(vl)\nClam lam 0 1 ic=0\nRlam lam 0 1e12\n"
        + f"Bl f p i=v(lam)*(1+0.15*(1-v(x)))/{far}\nVl p m 0\n"
        + f"Bu 0 u i=1e-3*(v(x) > 1e-9 ? {force} : max(0,{force}))/{mass:.9e}\nCu u 0 1 ic=0\nRu u 0 1e12\n"
        + "Bx 0 x i=1e3*v(u)\nCx x 0 1 ic=0\nRx x 0 1e12\n"
        + pulse("g", 1e-3, 0.5)
    )
    t, y = spice(body, ["i(vl)", "v(x)"], 2.6e-3, 5e-7)
    flying = y[:, 1] < 0.98
    agree(plant.load_current(1, t[flying]), y[flying, 0])
    ours = [plant.armature_travel(1, float(u)) for u in t[flying][::200]]
    assert np.abs(np.array(ours) - y[flying, 1][::200]).max() < 0.005


def test_igniter_primary_loads_the_feed(spice):
    body = (
        "Rfeed s f 0.1\nVx f fx 0\nR1 fx a 0.5\nL1 a m 3.5m ic=0\nS1 m 0 g 0 swi\nDc m c dio\nVc c 0 235.29\n"
        ".model swi sw(vt=0.5 vh=0.01 ron=0.15 roff=1e9)\n" + pulse("g", 1e-3, 3e-3)
    ).replace("Dc m c dio\nVc c 0 235.29", "Dc m c dio\nVc c f 235.29")
    t, y = spice(body, ["i(vx)", "v(s)"], 4e-3, 1e-6)
    coil = CoilSpec(
        resistance_ohm=0.5, inductance_h=3.5e-3, saturation_a=1e4, gap_breakdown_v=20_000.0, turns_ratio=85
    )
    spec = LoomSpec(
        SupplySpec(13.5, 0.03),
        (FeedSpec("f", 0.1),),
        (BranchSpec(1, IgniterSpec(coil=coil), "f", 0.2),),
        {1: DriverSpec(kind="logic", on_ohm=22)},
    )
    plant = driven(spec, [(1, Drive.ON, 1e-3), (1, Drive.OFF, 3e-3)])
    times, keep = off_instants(t, 1e-3, 3e-3)
    current, _, supply = plant.sample_many(1, times)
    assert np.abs(supply - y[keep, 1]).max() < 0.005 * 0.03 * y[:, 0].max() + 2e-4
    on = (times > 1e-3) & (times < 3e-3)
    assert current[on] == pytest.approx(5.0 / 522.2, abs=6e-5)  # only the logic input, and the bias's 50 uA
    assert np.abs(current[~on]).max() < 1e-6
