"""The rise of current in a resistance with an inductance: closed-form start, weighted least-squares finish.

Model: emf = R_total i + L di/dt with R_total = load + wire + feed + driver (+ source). The start needs no
first guess (i = A int v - B int i is linear in A = 1/L and B = R/L); the finish is Gauss-Newton on ln tau
with the amplitudes solved linearly inside (variable projection, Golub and Pereyra 1973).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import signal

from loomproof.measure.quantities import Estimate, propagate, welch_satterthwaite

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from loomproof.measure.source import Source
    from loomproof.measure.trace import Trace

    Floats = NDArray[np.float64]

_MAX_STEPS = 30
_LN_TAU_CONVERGED = 1e-8


@dataclass(frozen=True)
class RiseFit:
    """i(t) = amplitude_a * (response to the drive, 0 -> 1) + start_a * exp(-(t - t0) / tau).

    `covariance` is of (amplitude_a, ln tau[, start_a]), widened by the reduced chi-square where that
    exceeds 1.
    """

    amplitude_a: float
    tau_s: float
    start_a: float
    covariance: Floats
    chi2_reduced: float
    dof: int
    span_s: float


@dataclass(frozen=True)
class ResistanceInductance:
    """Both results of one fit, with the correlation of their random parts."""

    resistance_ohm: Estimate
    inductance_h: Estimate
    correlation: float
    fit: RiseFit


def start_values(
    time_s: Floats, current_a: Floats, drive_v: Floats, *, free_start: bool
) -> tuple[float, float]:
    """R_total and tau by integral linear least squares; takes any drive as measured.

    Args:
        time_s: (n,) instants from the beginning of the rise; the first may be later than zero.
        current_a: (n,) current.
        drive_v: (n,) voltage over everything that R_total counts.
        free_start: the current does not begin at zero.

    Returns:
        R_total in ohm and tau in s.

    Raises:
        ValueError: the samples do not determine both.
    """
    step = np.diff(time_s)
    lead = 0.0 if free_start else float(time_s[0])
    flux = np.concatenate(([0.0], np.cumsum(step * (drive_v[1:] + drive_v[:-1]) / 2.0))) + drive_v[0] * lead
    charge = np.concatenate(([0.0], np.cumsum(step * (current_a[1:] + current_a[:-1]) / 2.0)))
    charge = charge + current_a[0] * lead / 2.0
    columns = [flux, -charge]
    if free_start:
        columns.append(np.ones_like(flux))
    solution, _, rank, _ = np.linalg.lstsq(np.column_stack(columns), current_a, rcond=None)
    if rank < len(columns):
        raise ValueError("the trace does not determine resistance and inductance")
    a, b = float(solution[0]), float(solution[1])
    if a <= 0.0 or b <= 0.0:
        raise ValueError("the current does not rise like that of a resistance with an inductance")
    return b / a, 1.0 / b


def _steady_response(since: Floats, tau: float) -> tuple[Floats, Floats]:
    """Response to a constant unit drive, and its derivative to ln tau."""
    x = since / tau
    decay = np.exp(-x)
    return 1.0 - decay, -x * decay


def _driven_response(since: Floats, drive: Floats, tau: float) -> tuple[Floats, Floats]:
    """Response of a first-order lag to a drive that is straight between evenly spaced samples."""
    step = float(since[1] - since[0])
    lead = float(since[0])
    first = drive[0] * -math.expm1(-lead / tau)
    response = _lag(drive, step, tau, first)
    # d/d ln tau obeys the same lag, driven by the lagging part (response - drive).
    slope_first = -drive[0] * (lead / tau) * math.exp(-lead / tau)
    return response, _lag(response - drive, step, tau, slope_first)


def _lag(drive: Floats, step: float, tau: float, first: float) -> Floats:
    a = math.exp(-step / tau)
    share = -math.expm1(-step / tau) * tau / step  # mean of the decaying weight over one step
    late, early = 1.0 - share, share - a
    b = np.array([late, early])
    # lfilter_zi by hand: make the first output `first`.
    zi = np.array([first - late * drive[0]])
    out, _ = signal.lfilter(b, np.array([1.0, -a]), drive, zi=zi)
    return np.asarray(out)


def fit_rise(
    time_s: Floats,
    current_a: Floats,
    u_a: Floats,
    *,
    origin_s: float,
    tau_s: float,
    drive: Floats | None = None,
    free_start: bool = False,
) -> RiseFit:
    """Weighted least squares of the rise.

    Args:
        time_s: (n,) instants.
        current_a: (n,) current.
        u_a: (n,) standard uncertainty of each sample.
        origin_s: where the rise begins (current zero unless `free_start`).
        tau_s: first guess.
        drive: (n,) drive over its mean, for a rippled supply; None for a steady one.
        free_start: the current at `origin_s` is unknown.

    Raises:
        ValueError: no convergence, or fewer samples than parameters.
    """
    since = time_s - origin_s
    weight = 1.0 / u_a
    parameters = 3 if free_start else 2
    if since.size <= parameters:
        raise ValueError("fewer samples than unknowns")
    target = current_a * weight
    ln_tau = math.log(tau_s)
    span = float(since[-1])
    low, high = math.log(span * 1e-4), math.log(span * 1e3)
    for _ in range(_MAX_STEPS):
        tau = math.exp(ln_tau)
        jacobian, linear, residual = _linearised(
            since, weight, target, drive=drive, tau=tau, free_start=free_start
        )
        normal = jacobian.T @ jacobian
        step = float(np.linalg.solve(normal, jacobian.T @ residual)[1])
        ln_tau += min(max(step, -1.0), 1.0)
        if not low < ln_tau < high:
            raise ValueError("the fit ran away: the trace does not determine a time constant")
        if abs(step) < _LN_TAU_CONVERGED:
            break
    else:
        raise ValueError("the fit did not converge")
    dof = since.size - parameters
    chi2 = float(residual @ residual) / dof
    covariance: Floats = np.asarray(np.linalg.inv(normal) * max(1.0, chi2), dtype=np.float64)
    start = float(linear[1]) if free_start else 0.0
    return RiseFit(float(linear[0]), math.exp(ln_tau), start, covariance, chi2, dof, span)


def _linearised(
    since: Floats, weight: Floats, target: Floats, *, drive: Floats | None, tau: float, free_start: bool
) -> tuple[Floats, Floats, Floats]:
    """At one tau: the weighted Jacobian to (amplitude, ln tau[, start]), the amplitudes and the residual."""
    if drive is None:
        response, slope = _steady_response(since, tau)
    else:
        response, slope = _driven_response(since, drive, tau)
    columns = [response * weight]
    if free_start:
        decay = np.exp(-since / tau)
        columns.append(decay * weight)
    basis = np.column_stack(columns)
    linear = np.linalg.solve(basis.T @ basis, basis.T @ target)
    residual = target - basis @ linear
    slope_column = linear[0] * slope * weight
    if free_start:
        slope_column = slope_column + linear[1] * (since / tau) * columns[1]
    jacobian = np.column_stack([columns[0], slope_column, *columns[1:]])
    return jacobian, np.asarray(linear, dtype=np.float64), np.asarray(residual, dtype=np.float64)


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
    stop = trace.on_time_s if end_s is None else min(end_s, trace.on_time_s)
    use = (trace.time_s >= max(begin_s, 0.0)) & (trace.time_s < stop)
    if int(use.sum()) < 8:
        raise ValueError("fewer than 8 samples in the part of the pulse that counts")
    time, current, u = trace.time_s[use], trace.current_a[use], trace.current_u_a[use]
    origin = float(time[0]) if free_start else 0.0
    supply = trace.supply_v[use]
    wave = supply if source.rippled else source.emf_v - source.ohm * current
    _, tau = start_values(time - origin, current, wave, free_start=free_start)
    mean_v = float(supply.mean()) if source.rippled else source.emf_v
    fit = fit_rise(
        time,
        current,
        u,
        origin_s=origin,
        tau_s=tau,
        drive=supply / mean_v if source.rippled else None,
        free_start=free_start,
    )
    return _with_uncertainty(trace, source, fit, mean_v)


def _with_uncertainty(trace: Trace, source: Source, fit: RiseFit, mean_v: float) -> ResistanceInductance:
    """R = E/I - r_source - r_driver and L = tau E/I; inputs (I, ln tau, E, r_source, r_driver)."""
    amplitude, tau = fit.amplitude_a, fit.tau_s
    if amplitude <= 0.0:
        raise ValueError("no current rises")
    total = mean_v / amplitude
    covariance = np.zeros((5, 5))
    covariance[:2, :2] = fit.covariance[:2, :2]
    if source.rippled:
        covariance[2, 2] = (trace.supply_u_v**2) / max(fit.dof, 1)
        source_ohm = 0.0
    else:
        covariance[2:4, 2:4] = source.covariance
        source_ohm = source.ohm
    covariance[4, 4] = source.driver_ohm.u_random**2
    jacobian = np.array(
        [
            [-total / amplitude, 0.0, 1.0 / amplitude, 0.0 if source.rippled else -1.0, -1.0],
            [-total * tau / amplitude, total * tau, tau / amplitude, 0.0, 0.0],
        ]
    )
    random = propagate(jacobian, covariance)
    resistance = total - source_ohm - source.driver_ohm.value
    inductance = total * tau
    scale = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    offset = trace.offset_u_a / amplitude
    gain_r = math.sqrt((total * scale) ** 2 + (total * offset) ** 2 + source.driver_ohm.u_gain**2)
    gain_l = inductance * math.hypot(scale, offset)
    u_random = np.sqrt(np.diag(random))
    correlation = float(random[0, 1] / (u_random[0] * u_random[1])) if u_random.all() else 0.0
    return ResistanceInductance(
        _combined(resistance, float(u_random[0]), gain_r, fit.dof),
        _combined(inductance, float(u_random[1]), gain_l, fit.dof),
        correlation,
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
    on = trace.on
    time, current = trace.time_s[on], trace.current_a[on]
    supply = trace.supply_v[on]
    mean_v = float(supply.mean())
    try:
        _, tau = start_values(time, current, supply, free_start=False)
        fit = fit_rise(time, current, trace.current_u_a[on], origin_s=0.0, tau_s=tau, drive=supply / mean_v)
    except (ValueError, np.linalg.LinAlgError):
        return np.zeros_like(current)
    driven, _ = _driven_response(time, supply / mean_v, fit.tau_s)
    steady, _ = _steady_response(time, fit.tau_s)
    return np.asarray(fit.amplitude_a * (driven - steady))
