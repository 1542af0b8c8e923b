"""What lies between two cursors, against closed forms of circuit theory."""

import math

import numpy as np
import pytest

from loomproof.facts.trace import Trace
from loomproof.measure.trace.between import between

SUPPLY_V, OHM, HENRY = 12.0, 4.0, 6e-3


def trace_of(times, current, supply_v, *, noise_a=0.0, gain_u=0.0) -> Trace:
    return Trace(
        channel=1,
        time_s=times,
        current_a=current,
        current_u_a=np.full(times.size, noise_a),
        supply_v=np.full(times.size, supply_v),
        drain_v=np.zeros(times.size),
        on_time_s=float(times[-1]) + 1e-6,
        sample_period_s=float(times[1] - times[0]),
        gain_u_relative=gain_u,
        voltage_u_relative=0.0,
    )


def winding(samples: int = 4001) -> Trace:
    times = np.linspace(0.0, 10e-3, samples)
    return trace_of(times, SUPPLY_V / OHM * -np.expm1(-times * OHM / HENRY), SUPPLY_V)


@pytest.mark.parametrize(("first_ms", "second_ms"), [(0.0, 10.0), (1.5, 3.0), (3.0, 7.5), (7.5, 1.5)])
def test_charge_and_energy_of_a_winding(first_ms, second_ms):
    """First-order R-L circuit, i = V/R (1 - exp(-t/tau)), any circuits textbook.

    Charge is its integral V/R (t + tau exp(-t/tau)); energy from a constant supply is V times the charge.
    """
    tau = HENRY / OHM

    def charge_until(t: float) -> float:
        return SUPPLY_V / OHM * (t + tau * math.exp(-t / tau))

    low, high = sorted((first_ms * 1e-3, second_ms * 1e-3))
    charge = charge_until(high) - charge_until(low)
    found = between(winding(), first_ms * 1e-3, second_ms * 1e-3)
    assert found.charge_c.value == pytest.approx(charge, rel=1e-5)
    assert found.energy_j.value == pytest.approx(SUPPLY_V * charge, rel=1e-5)


def test_energy_taken_is_heat_and_what_the_field_holds():
    """Energy balance of the same circuit: V q = integral of i^2 R + 1/2 L i^2 (textbook).

    1.896362 A and 2.979786 A at 1.5 and 7.5 ms: the values that test_safety_physics.py checks too.
    """
    trace = winding()
    found = between(trace, 1.5e-3, 7.5e-3)
    inside = slice(600, 3001)  # 1.5 to 7.5 ms in steps of 2.5 us
    heat = np.trapezoid(trace.current_a[inside] ** 2 * OHM, trace.time_s[inside])
    field = 0.5 * HENRY * (2.979786**2 - 1.896362**2)
    assert found.energy_j.value == pytest.approx(heat + field, rel=1e-4)
    assert found.first_a.value == pytest.approx(1.896362, abs=1e-5)
    assert found.second_a.value == pytest.approx(2.979786, abs=1e-5)


def test_slope_at_switch_on_is_supply_over_inductance():
    """di/dt = V / L where the current is still nothing (textbook)."""
    found = between(winding(), 0.0, 5e-6)
    assert found.slope_a_per_s is not None
    assert found.slope_a_per_s.value == pytest.approx(SUPPLY_V / HENRY, rel=3e-3)


def test_uncertainty_of_a_charge_is_that_of_a_sum():
    """JCGM 100:2008, 5.1.2: n independent samples of weight dt add as sqrt(n) dt u; a scale's error adds whole."""
    times = np.arange(1001) * 10e-6
    quiet = trace_of(times, np.full(1001, 2.0), 10.0, noise_a=0.01)
    found = between(quiet, 0.0, 10e-3)
    assert found.charge_c.u == pytest.approx(math.sqrt(1000) * 10e-6 * 0.01, rel=2e-3)
    scaled = between(trace_of(times, np.full(1001, 2.0), 10.0, gain_u=0.005), 0.0, 10e-3)
    assert scaled.charge_c.u == pytest.approx(0.005 * 2.0 * 10e-3, rel=1e-9)


def test_instants_outside_the_trace_move_to_its_ends_and_one_instant_has_no_slope():
    found = between(winding(), -1.0, 99.0)
    assert (found.first_s, found.second_s) == (0.0, pytest.approx(10e-3))
    same = between(winding(), 3e-3, 3e-3)
    assert same.slope_a_per_s is None
    assert same.charge_c.value == 0.0
