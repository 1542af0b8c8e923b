"""Weighted least squares of a rise of current: closed-form start, variable projection over the time constant.

The start needs no first guess (i = A int v - B int i is linear in A = 1/L and B = R/L); the finish is Gauss-Newton
on ln tau with the amplitudes solved linearly inside (variable projection, Golub and Pereyra 1973), on means of
neighbouring samples where the supply is steady.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]


_MAX_STEPS = 30
_CONVERGED = 1e-3  # of the uncertainty of ln tau
POINTS = 64
"""That a smooth rise is condensed to; see `_Steps.steady`."""


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
    rows = np.ones((4 if free_start else 3, time_s.size))
    rows[0, 0], rows[1, 0] = drive_v[0] * lead, current_a[0] * lead / 2.0
    rows[0, 1:] = 0.5 * step * (drive_v[1:] + drive_v[:-1])
    rows[1, 1:] = 0.5 * step * (current_a[1:] + current_a[:-1])
    rows[:2] = rows[:2].cumsum(axis=1)
    rows[-1] = current_a
    scale = np.abs(rows).max(axis=1)
    if not scale.all():
        raise ValueError("the trace does not determine resistance and inductance")
    rows /= scale[:, None]
    gram = rows @ rows.T
    try:
        solution = np.linalg.solve(gram[:-1, :-1], gram[:-1, -1]) * scale[-1] / scale[:-1]
    except np.linalg.LinAlgError as error:
        raise ValueError("the trace does not determine resistance and inductance") from error
    a, b = float(solution[0]), -float(solution[1])
    if not (a > 0.0 and b > 0.0):
        raise ValueError("the current does not rise like that of a resistance with an inductance")
    return b / a, 1.0 / b


def steady_response(since: Floats, tau: float) -> tuple[Floats, Floats]:
    """Response to a constant unit drive, and its derivative to ln tau."""
    x = since / tau
    decay = np.exp(-x)
    return 1.0 - decay, -x * decay


def driven_response(since: Floats, drive: Floats, tau: float) -> tuple[Floats, Floats]:
    """Response of a first-order lag to a drive that is straight between evenly spaced samples."""
    step = float(since[1] - since[0])
    lead = float(since[0])
    first = drive[0] * -math.expm1(-lead / tau)
    response = _lag(drive, step, tau, first)
    # d/d ln tau obeys the same lag, driven by the lagging part (response - drive).
    slope_first = -drive[0] * (lead / tau) * math.exp(-lead / tau)
    return response, _lag(response - drive, step, tau, slope_first)


def lag_weights(step: float, tau: float) -> tuple[float, float, float]:
    """Shares of a step's end and beginning, and of what was there before, in a first-order lag after that step.

    The drive is straight between the two, so the weights are exact for every step.
    """
    if step <= 0.0:
        return 0.0, 0.0, 1.0
    stay = math.exp(-step / tau)
    share = -math.expm1(-step / tau) * tau / step  # mean of the decaying weight over one step
    return 1.0 - share, share - stay, stay


def _lag(drive: Floats, step: float, tau: float, first: float) -> Floats:
    late, early, stay = lag_weights(step, tau)
    # lfilter_zi by hand: make the first output `first`.
    zi = np.array([first - late * drive[0]])
    out, _ = signal.lfilter(np.array([late, early]), np.array([1.0, -stay]), drive, zi=zi)
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
    parameters = 3 if free_start else 2
    if since.size <= parameters:
        raise ValueError("fewer samples than unknowns")
    span = float(since[-1])
    whole = _Steps(since, current_a, 1.0 / u_a, drive, 1, free_start)
    steps = whole if drive is not None else _Steps.condensed(whole, tau_s)
    ln_tau = math.log(tau_s)
    low, high = math.log(span * 1e-4), math.log(span * 1e3)
    for _ in range(_MAX_STEPS):
        at = steps.at(math.exp(ln_tau))
        step = min(max(at.step, -1.0), 1.0)
        ln_tau += step
        if not low < ln_tau < high:
            raise ValueError("the fit ran away: the trace does not determine a time constant")
        if abs(step) < _CONVERGED * at.u_ln_tau:
            break
    else:
        raise ValueError("the fit did not converge")
    # One more step on all samples, taken in every parameter: the least-squares solution itself.
    at = whole.at(math.exp(ln_tau))
    if abs(at.step) > 0.5:
        raise ValueError("the fit did not converge")
    tau = math.exp(ln_tau + at.step)
    amplitude, start = at.amplitude - at.drift[0] * at.step, at.start - at.drift[1] * at.step
    decay = np.exp(since / -tau)
    response = 1.0 - decay if drive is None else driven_response(since, drive, tau)[0]
    residual = (current_a - amplitude * response - start * decay) * whole.weight
    dof = since.size - parameters
    chi2 = float(residual @ residual) / dof
    covariance: Floats = np.asarray(_inverse(at.normal) * max(1.0, chi2), dtype=np.float64)
    return RiseFit(amplitude, tau, start, covariance, chi2, dof, span)


def _inverse(normal: Floats) -> Floats:
    """Of a small symmetric matrix; two by two written out, which is all that most fits need."""
    if normal.shape[0] > 2:
        return np.asarray(np.linalg.inv(normal))
    (a, b), (_, d) = normal.tolist()
    det = a * d - b * b
    return np.array([[d / det, -b / det], [-b / det, a / det]])


def _positive(power: float) -> float:
    """What is left of the time constant's own column beside the others; without it nothing is determined."""
    if not power > 0.0:
        raise ValueError("the trace does not determine a time constant")
    return power


@dataclass(frozen=True)
class _At:
    """The fit at one time constant: amplitudes solved, the step of ln tau, its uncertainty, the normal matrix.

    `drift` is by how much the amplitudes fall per step of ln tau.
    """

    amplitude: float
    start: float
    step: float
    drift: tuple[float, float]
    u_ln_tau: float
    normal: Floats


@dataclass(frozen=True)
class _Steps:
    """What the iterations need: weighted samples, or weighted means of `size` neighbours of a steady rise."""

    since: Floats
    current: Floats
    weight: Floats
    drive: Floats | None
    size: int
    free_start: bool
    period_s: float = 0.0

    @staticmethod
    def condensed(whole: _Steps, tau_s: float) -> _Steps:
        """Means over a quarter of the time constant at most carry nearly all that a smooth rise has to say."""
        since, current, weight = whole.since, whole.current, whole.weight
        period = float(since[1] - since[0])
        size = max(1, min(since.size // POINTS, int(0.25 * tau_s / period)))
        if size == 1:
            return whole
        power = weight * weight
        rows = np.zeros((3, since.size + -since.size % size))
        rows[0, : since.size], rows[1, : since.size], rows[2, : since.size] = (
            power,
            power * since,
            power * current,
        )
        sums = rows.reshape(3, -1, size).sum(axis=2)
        means = sums[1:] / sums[0]
        return _Steps(means[0], means[1], np.sqrt(sums[0]), None, size, whole.free_start, period)

    def at(self, tau: float) -> _At:
        """All sums at one tau in a single product; the rest is arithmetic on a handful of numbers."""
        decay = np.exp(self.since / -tau)
        if self.size > 1:  # mean of an exponential over evenly spaced samples
            half = 0.5 * self.period_s / tau
            decay *= math.sinh(self.size * half) / (self.size * math.sinh(half))
        rows = np.empty((5, decay.size))
        rows[2], rows[4] = decay, self.current
        np.multiply(self.since / tau, decay, out=rows[3])
        if self.drive is None:
            np.subtract(1.0, decay, out=rows[0])
            np.negative(rows[3], out=rows[1])
        else:
            rows[0], rows[1] = driven_response(self.since, self.drive, tau)
        rows *= self.weight
        gram = rows @ rows.T
        rr, rs, rd, rx, ry = gram[0].tolist()
        _, ss, sd, sx, sy = gram[1].tolist()
        _, _, dd, dx, dy = gram[2].tolist()
        _, _, _, xx, xy = gram[3].tolist()
        if not self.free_start:
            a = ry / rr
            power = _positive(a * a * (ss - rs * rs / rr))
            step = a * (sy - rs * a) / power
            normal = np.array([[rr, a * rs], [a * rs, a * a * ss]])
            return _At(a, 0.0, step, (a * rs / rr, 0.0), 1.0 / math.sqrt(power), normal)
        det = rr * dd - rd * rd
        a, c = (ry * dd - dy * rd) / det, (dy * rr - ry * rd) / det
        # column of ln tau: a * slope + c * (since / tau) * decay
        kr, kd, ky = a * rs + c * rx, a * sd + c * dx, a * sy + c * xy
        kk = a * a * ss + 2.0 * a * c * sx + c * c * xx
        p, q = (kr * dd - kd * rd) / det, (kd * rr - kr * rd) / det
        power = _positive(kk - p * kr - q * kd)
        step = (ky - a * kr - c * kd) / power
        normal = np.array([[rr, kr, rd], [kr, kk, kd], [rd, kd, dd]])
        return _At(a, c, step, (p, q), 1.0 / math.sqrt(power), normal)
