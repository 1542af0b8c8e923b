"""The rise of current in a resistance with an inductance, as R and L with their uncertainty.

Model: emf = R_total i + L di/dt with R_total = load + wire + feed + driver (+ source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace
from loomproof.measure.rise.fit import (
    POINTS,
    RiseFit,
    driven_response,
    fit_rise,
    start_values,
    steady_response,
)
from loomproof.measure.statistics import welch_satterthwaite
from loomproof.measure.trace.source import Source

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ResistanceInductance:
    """Both results of one fit, with the correlation of their random parts."""

    resistance_ohm: Estimate
    inductance_h: Estimate
    correlation: float
    fit: RiseFit


@dataclass(frozen=True)
class _Part:
    """The stretch of a pulse that is fitted, and the supply that drove it."""

    time: Floats
    current: Floats
    u: Floats
    origin: float
    drive: Floats | None
    mean_v: float
    tau: float


def _part(trace: Trace, source: Source, begin_s: float, end_s: float | None, *, free_start: bool) -> _Part:
    stop = trace.on_time_s if end_s is None else min(end_s, trace.on_time_s)
    first, last = np.searchsorted(trace.time_s, (max(begin_s, 0.0), stop)).tolist()
    if last - first < 8:
        raise ValueError("fewer than 8 samples in the part of the pulse that counts")
    use = slice(first, last)
    time, current, u = trace.time_s[use], trace.current_a[use], trace.current_u_a[use]
    origin = float(time[0]) if free_start else 0.0
    if source.rippled:
        supply = trace.supply_v[use]
        mean_v = float(supply.mean())
        _, tau = start_values(time - origin, current, supply, free_start=free_start)
        return _Part(time, current, u, origin, supply / mean_v, mean_v, tau)
    thin = slice(None, None, max(1, time.size // POINTS))
    some = current[thin]
    wave = source.emf_v - source.ohm * some
    _, tau = start_values(time[thin] - origin, some, wave, free_start=free_start)
    return _Part(time, current, u, origin, None, source.emf_v, tau)


def _fit_part(part: _Part, *, free_start: bool) -> RiseFit:
    return fit_rise(
        part.time,
        part.current,
        part.u,
        origin_s=part.origin,
        tau_s=part.tau,
        drive=part.drive,
        free_start=free_start,
    )


def whole_rise(trace: Trace, source: Source, *, free_start: bool) -> RiseFit:
    """The plain rise over the whole pulse.

    Raises:
        ValueError: too few samples or no fit, in words.
    """
    return _fit_part(_part(trace, source, 0.0, None, free_start=free_start), free_start=free_start)


def resistance_inductance(
    trace: Trace,
    source: Source,
    *,
    begin_s: float = 0.0,
    end_s: float | None = None,
    free_start: bool = False,
) -> ResistanceInductance:
    """R (without driver and source) and L from the rise between two instants, with GUM uncertainty.

    Args:
        trace: the pulse.
        source: its supply, from `look_at_source`.
        begin_s: first instant used; the rise begins at zero unless `free_start`.
        end_s: last instant used; the end of the pulse by default.
        free_start: fit the current at `begin_s` too (after a landing, or with a resistor across the load).

    Raises:
        ValueError: too few samples or no fit, in words.
    """
    part = _part(trace, source, begin_s, end_s, free_start=free_start)
    return _with_uncertainty(trace, source, _fit_part(part, free_start=free_start), part.mean_v)


def _with_uncertainty(trace: Trace, source: Source, fit: RiseFit, mean_v: float) -> ResistanceInductance:
    """R = E/I - r_source - r_driver and L = tau E/I; inputs (I, ln tau, E, r_source, r_driver).

    GUM equation 13 written out: the covariances of fit and supply are 2 x 2 each, the driver stands alone.
    """
    amplitude, tau = fit.amplitude_a, fit.tau_s
    if amplitude <= 0.0:
        raise ValueError("no current rises")
    total = mean_v / amplitude
    (c_ii, c_it), (_, c_tt) = fit.covariance[:2, :2].tolist()
    if source.rippled:
        source_ohm, c_ee, c_es, c_ss = 0.0, trace.supply_u_v**2 / max(fit.dof, 1), 0.0, 0.0
    else:
        source_ohm = source.ohm
        (c_ee, c_es), (_, c_ss) = source.covariance.tolist()
    r_i, r_e = -total / amplitude, 1.0 / amplitude
    l_i, l_t, l_e = -total * tau / amplitude, total * tau, tau / amplitude
    var_r = r_i**2 * c_ii + r_e**2 * c_ee - 2.0 * r_e * c_es + c_ss + source.driver_ohm.u_random**2
    var_l = l_i**2 * c_ii + 2.0 * l_i * l_t * c_it + l_t**2 * c_tt + l_e**2 * c_ee
    both = r_i * l_i * c_ii + r_i * l_t * c_it + r_e * l_e * c_ee - l_e * c_es
    u_r, u_l = math.sqrt(max(var_r, 0.0)), math.sqrt(max(var_l, 0.0))
    resistance = total - source_ohm - source.driver_ohm.value
    inductance = total * tau
    scale = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    offset = trace.offset_u_a / amplitude
    gain_r = math.sqrt((total * scale) ** 2 + (total * offset) ** 2 + source.driver_ohm.u_gain**2)
    gain_l = inductance * math.hypot(scale, offset)
    return ResistanceInductance(
        _combined(resistance, u_r, gain_r, fit.dof),
        _combined(inductance, u_l, gain_l, fit.dof),
        both / (u_r * u_l) if u_r and u_l else 0.0,
        fit,
    )


def _combined(value: float, u_random: float, u_gain: float, dof: float) -> Estimate:
    u = math.hypot(u_random, u_gain)
    return Estimate(value, u, welch_satterthwaite([u_random, u_gain], [float(dof), math.inf]), u_gain)


def ripple_response(trace: Trace, source: Source) -> Floats:
    """What the supply's ripple did to the current during the pulse: to be taken off before looking for bends.

    Returns:
        (n,) current in A for the n samples of the pulse; zeros where no rise can be fitted.
    """
    on = trace.during
    time, current = trace.time_s[on], trace.current_a[on]
    supply = trace.supply_v[on]
    mean_v = float(supply.mean())
    try:
        _, tau = start_values(time, current, supply, free_start=False)
        fit = fit_rise(time, current, trace.current_u_a[on], origin_s=0.0, tau_s=tau, drive=supply / mean_v)
    except (ValueError, np.linalg.LinAlgError):
        return np.zeros_like(current)
    driven, _ = driven_response(time, supply / mean_v, fit.tau_s)
    steady, _ = steady_response(time, fit.tau_s)
    return np.asarray(fit.amplitude_a * (driven - steady))
