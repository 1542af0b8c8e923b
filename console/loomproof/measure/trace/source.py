"""What drove the load: the supply's open voltage, its source resistance, and the driver's own resistance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace

Floats = NDArray[np.float64]


_RIPPLE_CHI2 = 2.0  # residual variance over its expectation from which the supply counts as rippled


@dataclass(frozen=True)
class Source:
    """The supply during one pulse: supply_v = emf_v - ohm * current, as a straight line through the samples.

    Attributes:
        covariance: (2, 2) of (emf_v, ohm), random part only.
        dof: degrees of freedom of that line.
        rippled: the supply does more than sag with this load's current; estimators then take the samples.
        driver_ohm: resistance of the switch, from the drain voltage.
        on: which samples of the trace lie inside the pulse.
    """

    emf_v: float
    ohm: float
    covariance: Floats
    dof: float
    rippled: bool
    driver_ohm: Estimate
    loaded_v: float
    loaded_u_v: float


def rounding_u(noise_counts: float) -> float:
    """Standard uncertainty, in counts, of a mean of many rounded samples of one steady value.

    Noise before rounding averages it out: the remaining error is at most exp(-2 pi^2 s^2) / pi counts
    (Widrow and Kollar, Quantization Noise, 2008, chapter 9, first term of the characteristic function),
    taken as U-shaped and never more than the rectangular 1 / sqrt 12.
    """
    bound = math.exp(-2.0 * math.pi**2 * noise_counts**2) / math.pi
    return min(bound / math.sqrt(2.0), 1.0 / math.sqrt(12.0))


def _noise_counts(u: float, step: float) -> float:
    return math.sqrt(max((u / step) ** 2 - 1.0 / 12.0, 0.0)) if step > 0.0 else 1.0


def look_at_source(trace: Trace) -> Source:
    """Fits supply and driver of one pulse.

    Raises:
        ValueError: fewer than three samples from the switch-on edge on.
    """
    live = slice(trace.during.start, None)
    current, supply = trace.current_a[live], trace.supply_v[live]
    if current.size < 3:
        raise ValueError("too few samples to see the supply")
    emf, ohm, covariance, chi2 = _line(current, supply, max(trace.supply_u_v, 1e-9))
    step_u = rounding_u(_noise_counts(trace.supply_u_v, trace.supply_step_v)) * trace.supply_step_v
    covariance[0, 0] += step_u**2
    loaded = supply_at_peak(trace, emf, ohm)
    return Source(
        emf_v=emf,
        ohm=ohm,
        covariance=covariance,
        dof=float(max(current.size - 2, 1)),
        rippled=chi2 > _RIPPLE_CHI2,
        driver_ohm=_driver(trace),
        loaded_v=loaded,
        loaded_u_v=math.hypot(trace.supply_u_v / math.sqrt(max(current.size, 1)), step_u),
    )


def supply_at_peak(trace: Trace, emf_v: float, ohm: float) -> float:
    """Supply voltage at the highest current of the pulse, from the line."""
    current = trace.current_a[trace.during]
    return emf_v - ohm * float(current.max()) if current.size else emf_v


def _line(current: Floats, supply: Floats, u: float) -> tuple[float, float, Floats, float]:
    """Least squares of supply = emf - ohm * current; covariance widened for ripple and its correlation."""
    count = current.size
    mean_i, mean_v = float(current.sum()) / count, float(supply.sum()) / count
    away = current - mean_i
    spread = float(away @ away)
    if spread <= 0.0:
        return mean_v, 0.0, np.array([[u * u / count, 0.0], [0.0, math.inf]]), 1.0
    slope = float(away @ (supply - mean_v)) / spread
    emf = mean_v - slope * mean_i
    residual = supply - (emf + slope * current)
    chi2 = float(residual @ residual) / max(count - 2, 1) / u**2
    inflate = 1.0
    if chi2 > _RIPPLE_CHI2:
        rho = float(residual[1:] @ residual[:-1]) / float(residual @ residual)
        rho = min(max(rho, 0.0), 0.98)
        inflate = chi2 * (1.0 + rho) / (1.0 - rho)
    variance = u * u * inflate
    var_slope = variance / spread
    # In terms of (emf, ohm) with ohm = -slope.
    covariance = np.array(
        [
            [variance / count + mean_i**2 * var_slope, mean_i * var_slope],
            [mean_i * var_slope, var_slope],
        ]
    )
    return emf, -slope, covariance, chi2


def _driver(trace: Trace) -> Estimate:
    """Resistance of the switch: drain = ohm * current, through the origin."""
    current, drain = trace.current_a[trace.during], trace.drain_v[trace.during]
    power = float(current @ current)
    if power <= 0.0 or current.size < 2:
        return Estimate(0.0, 0.0)
    ohm = float(current @ drain) / power
    weight = float(np.abs(current).sum()) / power  # shift of the result per volt of constant drain error
    u_random = trace.drain_u_v / math.sqrt(power)
    counts = rounding_u(_noise_counts(trace.drain_u_v, trace.drain_step_v))
    if float(drain.mean()) < 2.0 * trace.drain_step_v:
        counts = math.hypot(
            counts, 0.12
        )  # conversions cannot go below zero, so the mean of a small one is high
    u_step = counts * trace.drain_step_v * weight
    return Estimate(ohm, math.hypot(u_random, u_step), float(max(current.size - 1, 1)), u_step)
