"""What lies between two instants of a trace: difference, slope, charge, energy.

Definitions as in any textbook of electrical engineering: charge is the integral of current over time, energy
that of voltage times current. The integrals are taken by the trapezoid rule over the samples, with straight
lines between them. Uncertainties follow JCGM 100:2008 (GUM), 5.1.2: noise of the samples, and what the
instrument's scales and offset leave, which is common to all samples and therefore added, not averaged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Between:
    """Readings at two instants and of what lies between them.

    Attributes:
        first_s, second_s: the instants, after switch-on.
        first_a, second_a: current at each.
        difference_a: second less first.
        slope_a_per_s: difference over time; None when both instants are the same.
        charge_c: charge that passed between them, whichever comes first.
        energy_j: energy that went into the load and its wiring between them; negative when they gave back
            more than they took, as a winding does into its clamp.
    """

    first_s: float
    second_s: float
    first_a: Estimate
    second_a: Estimate
    difference_a: Estimate
    slope_a_per_s: Estimate | None
    charge_c: Estimate
    energy_j: Estimate


def nearest_instant(trace: Trace, at_s: float) -> float:
    """The instant within the trace that is nearest to `at_s`."""
    return float(min(max(at_s, float(trace.time_s[0])), float(trace.time_s[-1])))


def between(trace: Trace, first_s: float, second_s: float, *, logic: bool = False) -> Between:
    """Read a trace at two instants and between them.

    Args:
        trace: at least two samples; instants outside it are moved to its ends.
        first_s: one instant, s after switch-on.
        second_s: the other; it may come first.
        logic: the pin drives the load to ground, so the drain voltage is across the load.

    Raises:
        ValueError: the trace has fewer than two samples.
    """
    if len(trace) < 2:
        raise ValueError("a trace of fewer than two samples has nothing between two instants")
    first_s, second_s = nearest_instant(trace, first_s), nearest_instant(trace, second_s)
    first, second = _current_at(trace, first_s), _current_at(trace, second_s)
    span = second_s - first_s
    noise = math.hypot(first.u_random, second.u_random) if span else 0.0
    change = second.value - first.value
    difference = Estimate(change, math.hypot(noise, trace.gain_u_relative * change))
    low, high = sorted((first_s, second_s))
    charge, energy = _integrals(trace, low, high, logic=logic)
    slope = difference.scaled(1.0 / span) if span else None
    return Between(first_s, second_s, first, second, difference, slope, charge, energy)


def _current_at(trace: Trace, at_s: float) -> Estimate:
    value = float(np.interp(at_s, trace.time_s, trace.current_a))
    noise = float(np.interp(at_s, trace.time_s, trace.current_u_a))
    scale = math.hypot(trace.gain_u_relative * value, trace.offset_u_a)
    return Estimate(value, math.hypot(noise, scale), u_gain=scale)


def _integrals(trace: Trace, low_s: float, high_s: float, *, logic: bool) -> tuple[Estimate, Estimate]:
    across = trace.drain_v if logic else trace.supply_v - trace.drain_v
    inside = (trace.time_s > low_s) & (trace.time_s < high_s)
    times = np.concatenate(([low_s], trace.time_s[inside], [high_s]))
    current = np.interp(times, trace.time_s, trace.current_a)
    volts = np.interp(times, trace.time_s, across)
    noise_a = np.interp(times, trace.time_s, trace.current_u_a)
    weights = _trapezoid_weights(times)
    charge, energy = float(weights @ current), float(weights @ (current * volts))
    noise_v = math.hypot(trace.supply_u_v, trace.drain_u_v)
    span = high_s - low_s
    charge_u = math.hypot(
        _root_sum(weights * noise_a), math.hypot(trace.gain_u_relative * charge, trace.offset_u_a * span)
    )
    scales = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    energy_u = math.hypot(
        math.hypot(_root_sum(weights * volts * noise_a), _root_sum(weights * current * noise_v)),
        math.hypot(scales * energy, trace.offset_u_a * float(weights @ np.abs(volts))),
    )
    return Estimate(charge, charge_u), Estimate(energy, energy_u)


def _trapezoid_weights(times: Floats) -> Floats:
    steps = np.diff(times)
    weights = np.zeros_like(times)
    weights[:-1] += steps / 2.0
    weights[1:] += steps / 2.0
    return weights


def _root_sum(values: Floats) -> float:
    return float(np.sqrt(np.sum(values**2)))
