"""The budgets' formulas against published values."""

import itertools
import math

import pytest
from scipy.integrate import quad, solve_ivp

from loomproof.facts.kinds import Fuel, LoadKind
from loomproof.job.load_traits import SENSE_ENERGY_J
from loomproof.job.sense import longest_sense_s
from loomproof.safety import physics
from loomproof.safety.fuels import allowed_ul


def test_flammable_liquid_in_half_a_litre():
    """Ideal gas law at 293.15 K and 101325 Pa, 110 g/mol, 0.745 g/cm3 (EN 228 range, from memory).

    Lower flammable limit of petrol vapour: 1.4 % in the NIOSH pocket guide (from memory), 1.2 % in other
    tables. n = x p V / (R T): 0.012 * 101325 * 500e-6 / (8.314462618 * 293.15) = 2.4943e-4 mol = 27.437 mg
    = 36.83 uL.
    """
    assert physics.flammable_liquid_ul(500.0, 0.012, 0.110, 0.745) == pytest.approx(36.83, rel=1e-3)
    assert physics.flammable_liquid_ul(500.0, 0.014, 0.110, 0.745) == pytest.approx(42.97, rel=1e-3)


@pytest.mark.parametrize(
    ("fuel", "limit_percent", "g_per_mol", "g_per_cm3"),
    [
        (Fuel.PETROL, (1.2, 1.4), (95, 115), (0.720, 0.775)),
        (Fuel.E85, (1.2, 3.3), (46, 115), (0.76, 0.79)),
        (Fuel.ETHANOL, (3.3, 3.3), (46.07, 46.07), (0.789, 0.789)),
        (Fuel.METHANOL, (6.0, 7.3), (32.04, 32.04), (0.791, 0.792)),
        (Fuel.DIESEL, (0.6, 0.7), (170, 230), (0.820, 0.845)),
        (Fuel.PARAFFIN, (0.7, 0.8), (150, 180), (0.775, 0.840)),
        (Fuel.LPG, (1.8, 2.1), (44.10, 58.12), (0.50, 0.58)),
    ],
)
def test_no_fuel_gets_more_than_a_quarter_of_its_lower_flammable_limit(
    fuel, limit_percent, g_per_mol, g_per_cm3
):
    """At 20 degC, over every corner of its usual range: M. G. Zabetakis, US Bureau of Mines Bulletin 627, 1965 (limits, from
    memory); EN 228, EN 590, EN 589 (densities, from memory). A quarter of the limit: NFPA 69 (from memory).
    """
    corners = itertools.product(limit_percent, g_per_mol, g_per_cm3)
    air_mol = 101_325 * 500e-6 / (8.314462618 * 293.15)
    least_ul = min(x / 100 * air_mol * grams / density * 1e3 for x, grams, density in corners)
    if fuel is Fuel.E85:  # what evaporates first is petrol, not a mixture of the worst of both
        least_ul = 1.2 / 100 * air_mol * 95 / 0.79 * 1e3
    assert allowed_ul(500.0, fuel) <= 0.25 * least_ul * 1.001
    assert allowed_ul(500.0, fuel) > 0.2 * least_ul
    assert allowed_ul(500.0, None) <= allowed_ul(500.0, fuel)


def test_injector_flow():
    """440 cm3/min are 7.333 uL/ms: a change of units."""
    assert physics.flow_ul_per_ms(440.0) == pytest.approx(7.333, abs=5e-4)


def test_textbook_solenoid():
    """12 V, 4 ohm, 6 mH: 3 A at the end and 27 mJ; 1.896362, 2.593994, 2.979786 A at 1.5, 3 and 7.5 ms.

    First-order R-L circuit of an ignition solenoid, standard circuits textbook; values recomputed with scipy.
    """
    assert physics.current_a(12.0, 4.0, 6e-3, 10.0) == pytest.approx(3.0, abs=1e-9)
    assert physics.stored_energy_j(6e-3, 3.0) == pytest.approx(27e-3, rel=1e-12)
    for time_s, expected in ((1.5e-3, 1.896362), (3e-3, 2.593994), (7.5e-3, 2.979786)):
        assert physics.current_a(12.0, 4.0, 6e-3, time_s) == pytest.approx(expected, abs=1e-6)


def test_textbook_relay():
    """12 V, 150 ohm, 30 mH pulls in at 50 mA after 0.2 ln(8/3) = 0.1962 ms (circuits textbook)."""
    assert physics.time_to_current_s(12.0, 150.0, 30e-3, 0.05) == pytest.approx(0.1962e-3, abs=1e-7)


def test_high_voltage_coil():
    """110 V, 200 ohm, 500 mH reaches 350 mA in 2.529 ms (circuits textbook)."""
    assert physics.time_to_current_s(110.0, 200.0, 0.5, 0.35) == pytest.approx(2.529e-3, abs=1e-6)


@pytest.mark.parametrize(("supply_v", "ms"), [(8.0, 4.428), (10.0, 3.290), (12.0, 2.623), (14.0, 2.182)])
def test_dwell_of_a_coil(supply_v, ms):
    """0.5 ohm, 3.5 mH to 7.5 A, 98.4 mJ: t = -(L/R) ln(1 - I R / V), recomputed with scipy."""
    assert physics.time_to_current_s(supply_v, 0.5, 3.5e-3, 7.5) == pytest.approx(ms * 1e-3, abs=1e-6)
    assert physics.stored_energy_j(3.5e-3, 7.5) == pytest.approx(98.4e-3, rel=1e-3)


def test_a_current_the_resistance_never_lets():
    """12 V over 4 ohm ends at 3 A (Ohm's law)."""
    assert physics.time_to_current_s(12.0, 4.0, 6e-3, 3.0) == float("inf")


@pytest.mark.parametrize("on_time_s", [1e-7, 1e-5, 1.4e-6, 1.6e-6, 1e-3, 5e-3, 50e-3])
def test_heat_of_a_pulse(on_time_s):
    """Loss by numerical integration of i^2 R (scipy quad), plus 1/2 L i^2 of an inductor (textbook)."""

    supply_v, ohm, henry = 14.0, 2.5, 2.5e-3
    loss = quad(lambda t: ohm * physics.current_a(supply_v, ohm, henry, t) ** 2, 0.0, on_time_s, epsabs=0)[0]
    end_a = physics.current_a(supply_v, ohm, henry, on_time_s)
    expected = loss + 0.5 * henry * end_a**2
    assert physics.pulse_heat_j(supply_v, ohm, henry, on_time_s) == pytest.approx(expected, rel=1e-6)


def test_heating_solves_its_equation():
    """C dT/dt = P - T / R_th, lumped heat balance (textbook), against scipy's solve_ivp."""

    power_w, r_th, c, time_s = 7.0, 15.0, 10.0, 120.0
    solved = solve_ivp(lambda _t, y: (power_w - y / r_th) / c, (0.0, time_s), [0.0], rtol=1e-10, atol=1e-10)
    rise = physics.temperature_rise_k(power_w, r_th, c, time_s)
    assert rise == pytest.approx(float(solved.y[0, -1]), rel=1e-7)
    assert physics.time_to_rise_s(power_w, r_th, c, rise) == pytest.approx(time_s, rel=1e-9)
    assert physics.time_to_rise_s(power_w, r_th, c, power_w * r_th) == float("inf")


def test_sense_pulse_of_a_coil():
    """t = sqrt(2 E L) / V from E = 1/2 L i^2, i = V t / L (textbook): 0.1 mJ in 1 mH at 16 V, 27.95 us.

    A coil of 2.8 mH in the job's words counts as 1 mH: another may hang there.
    """
    for stated_h in (0.0, 1e-3, 2.8e-3):
        assert longest_sense_s(LoadKind.COIL, 16.0, stated_h) == pytest.approx(27.951e-6, rel=1e-4)
    assert longest_sense_s(LoadKind.COIL, 16.0, 0.25e-3) == pytest.approx(13.975e-6, rel=1e-4)
    assert longest_sense_s(LoadKind.VALVE, 16.0, 4e-3) == pytest.approx(2 * 27.951e-6, rel=1e-4)


@pytest.mark.parametrize("capacitance_f", [50e-12, 100e-12])
def test_a_sense_pulse_leaves_a_secondary_below_the_breakdown_of_a_plugs_gap(capacitance_f):
    """All of 0.1 mJ in the capacitance of a secondary and its plug: V = sqrt(2 E / C) from E = 1/2 C V^2 (textbook).

    50 to 100 pF of winding, lead and plug: common practice, no source. Breakdown of air between even electrodes at
    101 kPa: 24.22 d + 6.08 sqrt(d) kV, d in cm (E. Kuffel, W. S. Zaengl and J. Kuffel, High Voltage Engineering
    Fundamentals, chapter 5, Paschen's law; from memory): 3.3 kV at 0.7 mm, the smallest usual gap.
    """
    secondary_v = math.sqrt(2.0 * SENSE_ENERGY_J / capacitance_f)
    breakdown_v = (24.22 * 0.07 + 6.08 * math.sqrt(0.07)) * 1e3
    assert breakdown_v == pytest.approx(3300, rel=0.01)
    assert secondary_v <= 2000.0 + 1e-6
    assert secondary_v < 0.65 * breakdown_v
    assert (
        SENSE_ENERGY_J <= 0.5 * 0.2e-3
    )  # should one jump all the same: half of the least published ignition energy


def test_an_inductor_without_resistance_is_a_straight_line():
    """i = V t / L (textbook): 12 V on 6 mH for 2 ms are 4 A; and back."""
    assert physics.current_a(12.0, 0.0, 6e-3, 2e-3) == pytest.approx(4.0, rel=1e-12)
    assert physics.time_to_current_s(12.0, 0.0, 6e-3, 4.0) == pytest.approx(2e-3, rel=1e-12)


def test_a_resistor_takes_v_squared_over_r():
    """P = V^2 / R (textbook): 12 V on 4 ohm are 36 W, 18 J in half a second."""
    assert physics.pulse_heat_j(12.0, 4.0, 0.0, 0.5) == pytest.approx(18.0, rel=1e-12)


@pytest.mark.parametrize("x", [1e-4, 9e-4, 0.99e-3])
def test_the_loss_of_a_very_short_pulse(x):
    """The integral of (1 - e^-u)^2 from 0 to x is x^3/3 - x^4/4 + 7 x^5/60 - ... (Taylor's series, by hand).

    10 V, 10 ohm, 10 mH: 1 A in the end, tau 1 ms, so a loss of 10 W * 1 ms times that, beside 1/2 L i^2.
    """
    stored_j = 0.5 * 10e-3 * (x - x**2 / 2 + x**3 / 6) ** 2
    loss_j = 10.0 * 1e-3 * (x**3 / 3 - x**4 / 4 + 7 * x**5 / 60)
    assert physics.pulse_heat_j(10.0, 10.0, 10e-3, x * 1e-3) - stored_j == pytest.approx(
        loss_j, rel=1e-6, abs=0.0
    )


def test_no_power_and_power_that_stays_below_never_heat():
    """C dT/dt = P - T / R_th ends at P R_th (lumped heat balance, textbook): 10 W at 8 K/W end at 80 K."""
    never = float("inf")
    assert physics.time_to_rise_s(0.0, 8.0, 40.0, 80.0) == never
    assert physics.time_to_rise_s(10.0, 8.0, 40.0, 80.0) == never
    assert physics.time_to_rise_s(10.0, 8.0, 40.0, 79.0) < never
    assert physics.time_to_rise_s(10.0, 8.0, 40.0, 80.0, 79.0) == never
    assert physics.time_to_rise_s(-1.0, 8.0, 40.0, 80.0) == never


def test_time_to_a_rise_from_a_warm_start():
    """tau ln((P R - start) / (P R - rise)) (lumped heat balance): 320 s * ln(120 / 80) = 129.749 s; ln 1.5 = 0.4054651."""
    assert physics.time_to_rise_s(20.0, 8.0, 40.0, 80.0, 40.0) == pytest.approx(320 * 0.4054651, rel=1e-6)


def test_no_cooling_before_it_began():
    assert physics.cooled_k(50.0, 8.0, 40.0, -1.0) == 50.0
    assert physics.cooled_k(50.0, 8.0, 40.0, 640.0) == pytest.approx(50.0 * 0.1353353, rel=1e-6)  # e^-2


def test_little_power_heats_too_where_little_leaves():
    """0.5 W at 1000 K/W end at 500 K: tau ln(500 / 400) from 0 to 100 K, ln 1.25 = 0.2231436 (lumped heat balance)."""
    assert physics.time_to_rise_s(0.5, 1000.0, 1.0, 100.0) == pytest.approx(223.1436, rel=1e-6)
