"""The few formulas behind the budgets, in closed form (pure).

Sources: first-order R-L circuit and magnetic energy as in J. W. Nilsson and S. A. Riedel, Electric Circuits, chapters 6 and
7 (from memory); the ideal gas law; lumped heat balance as in F. P. Incropera and others, Fundamentals of Heat and Mass
Transfer, chapter 5 (from memory).
"""

from __future__ import annotations

import math

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019
AIR_K = 293.15
AIR_PA = 101_325.0


def current_a(supply_v: float, resistance_ohm: float, inductance_h: float, time_s: float) -> float:
    """Current in A of an R-L load `time_s` after switch-on.

    Args:
        supply_v: supply, V.
        resistance_ohm: of the whole loop, ohm; 0: only the inductance holds the current back.
        inductance_h: H.
        time_s: since switch-on, s.
    """
    if resistance_ohm == 0.0:
        return supply_v * time_s / inductance_h
    return -supply_v / resistance_ohm * math.expm1(-time_s * resistance_ohm / inductance_h)


def time_to_current_s(supply_v: float, resistance_ohm: float, inductance_h: float, target_a: float) -> float:
    """Time in s until an R-L load carries `target_a`; infinite when its resistance never lets it.

    Args:
        supply_v: supply, V.
        resistance_ohm: of the whole loop, ohm; 0: only the inductance holds the current back.
        inductance_h: H.
        target_a: the current, A.
    """
    if resistance_ohm == 0.0:
        return target_a * inductance_h / supply_v
    share = target_a * resistance_ohm / supply_v
    return math.inf if share >= 1.0 else -inductance_h / resistance_ohm * math.log1p(-share)


def stored_energy_j(inductance_h: float, current_amp: float) -> float:
    """Magnetic energy in J."""
    return 0.5 * inductance_h * current_amp**2


def pulse_heat_j(supply_v: float, resistance_ohm: float, inductance_h: float, on_time_s: float) -> float:
    """Heat in J that one pulse can leave in an R-L load: the loss while on, and all that was stored.

    The stored part goes to the clamp or the suppressor as much as to the winding; counting all of it is
    cautious.

    Args:
        supply_v: supply, V.
        resistance_ohm: of the whole loop, ohm; above 0.
        inductance_h: H; 0: a resistor.
        on_time_s: length of the pulse, s.
    """
    if inductance_h == 0.0:
        return supply_v**2 / resistance_ohm * on_time_s
    tau = inductance_h / resistance_ohm
    x = on_time_s / tau
    if x < 1e-3:  # the difference of the closed form's terms loses its digits; its series is x^3/3
        shape = tau * (x**3 / 3.0 - x**4 / 4.0)
    else:
        shape = tau * (x + 2.0 * math.expm1(-x) - 0.5 * math.expm1(-2.0 * x))
    loss = supply_v**2 / resistance_ohm * shape
    return loss + stored_energy_j(inductance_h, current_a(supply_v, resistance_ohm, inductance_h, on_time_s))


def temperature_rise_k(power_w: float, r_th_k_per_w: float, c_j_per_k: float, time_s: float) -> float:
    """Rise in K after `time_s` of constant power: the solution of C dT/dt = P - T / R_th from T = 0.

    Args:
        power_w: power, W.
        r_th_k_per_w: thermal resistance to ambient, K/W.
        c_j_per_k: heat capacity, J/K.
        time_s: s.
    """
    return -power_w * r_th_k_per_w * math.expm1(-time_s / (r_th_k_per_w * c_j_per_k))


def time_to_rise_s(
    power_w: float, r_th_k_per_w: float, c_j_per_k: float, rise_k: float, start_k: float = 0.0
) -> float:
    """Time in s until constant power has raised the temperature by `rise_k` over ambient.

    Infinite when it never does; 0 when it is there already: the solution of C dT/dt = P - T / R_th from
    T = start_k.

    Args:
        power_w: power, W.
        r_th_k_per_w: thermal resistance to ambient, K/W.
        c_j_per_k: heat capacity, J/K.
        rise_k: the rise to reach, K.
        start_k: the rise at the beginning, K.
    """
    if start_k >= rise_k:
        return 0.0
    final_k = power_w * r_th_k_per_w
    if power_w <= 0.0 or final_k <= rise_k:
        return math.inf
    return r_th_k_per_w * c_j_per_k * math.log((final_k - start_k) / (final_k - rise_k))


def cooled_k(rise_k: float, r_th_k_per_w: float, c_j_per_k: float, time_s: float) -> float:
    """What is left of a rise after `time_s` without power: C dT/dt = -T / R_th.

    Args:
        rise_k: the rise at the beginning, K.
        r_th_k_per_w: thermal resistance to ambient, K/W.
        c_j_per_k: heat capacity, J/K.
        time_s: since then, s; below 0 counts as 0.
    """
    return rise_k * math.exp(-max(time_s, 0.0) / (r_th_k_per_w * c_j_per_k))


def flammable_liquid_ul(volume_cm3: float, fraction: float, kg_per_mol: float, g_per_cm3: float) -> float:
    """Liquid fuel in uL that makes a just flammable mixture when all of it evaporates into a volume of air.

    Ideal gas at 20 degC and 1013.25 hPa.

    Args:
        volume_cm3: the volume, in cm3.
        fraction: lower flammable limit, as a fraction of volume.
        kg_per_mol: molar mass of the vapour, in kg/mol.
        g_per_cm3: density of the liquid, in g/cm3.
    """
    vapour_mol = fraction * AIR_PA * volume_cm3 * 1e-6 / (GAS_CONSTANT * AIR_K)
    return vapour_mol * kg_per_mol * 1e3 / g_per_cm3 * 1e3


def flow_ul_per_ms(flow_cc_min: float) -> float:
    """Static injector flow in uL per ms of open time, from cm3/min."""
    return flow_cc_min * 1e3 / 60e3
