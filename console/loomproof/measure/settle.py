"""Loads whose current falls from an inrush to a steady value: tungsten lamps and DC motors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from loomproof.measure.quantities import Estimate, propagate, welch_satterthwaite

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from loomproof.measure.source import Source
    from loomproof.measure.trace import Trace

    Floats = NDArray[np.float64]

_SETTLED = 0.05  # relative change over the last quarter of the pulse under which the current counts as steady


@dataclass(frozen=True)
class Settling:
    """Inrush and steady current, and the resistance at rest (cold filament, standing armature)."""

    inrush_a: Estimate | None
    steady_a: Estimate | None
    resistance_ohm: Estimate | None
    inductance_h: Estimate | None
    reasons: tuple[str, ...] = ()


def _gain(value: float, trace: Trace) -> float:
    return math.hypot(value * trace.gain_u_relative, trace.offset_u_a)


def mean_current(trace: Trace, use: NDArray[np.bool_]) -> Estimate:
    """Weighted mean of the chosen samples."""
    current, u = trace.current_a[use], trace.current_u_a[use]
    weight = 1.0 / u**2
    value = float(np.sum(weight * current) / np.sum(weight))
    dof = max(current.size - 1, 1)
    chi2 = float(np.sum(weight * (current - value) ** 2)) / dof
    u_random = math.sqrt(max(1.0, chi2) / float(np.sum(weight)))
    gain = _gain(value, trace)
    return Estimate(
        value,
        math.hypot(u_random, gain),
        welch_satterthwaite([u_random, gain], [float(dof), math.inf]),
        gain,
    )


def steady_current(trace: Trace) -> tuple[Estimate | None, str]:
    """Current at the end of the pulse and, where it still falls, the reason why it is no steady value."""
    on = np.flatnonzero(trace.on)
    if on.size < 8:
        return None, "too few samples for a steady current"
    quarter = on[-max(4, on.size // 4) :]
    half = quarter.size // 2
    early, late = np.zeros(len(trace), dtype=bool), np.zeros(len(trace), dtype=bool)
    early[quarter[:half]] = True
    late[quarter[half:]] = True
    first, last = mean_current(trace, early), mean_current(trace, late)
    drift = abs(first.value - last.value)
    if drift > max(_SETTLED * abs(last.value), 4.0 * math.hypot(first.u_random, last.u_random)):
        return None, "the current is still falling when the pulse ends"
    # What it would still move is bounded by what it moved over the last eighth (it slows down).
    u = math.hypot(last.u, drift / math.sqrt(3.0))
    return Estimate(last.value, u, last.dof, last.u_gain), ""


def settle_lamp(trace: Trace, source: Source) -> Settling:
    """A filament: conductance at the first instant by a line through the first samples of i / v."""
    steady, reason = steady_current(trace)
    reasons = [reason] if reason else []
    on = np.flatnonzero(trace.on)
    if on.size < 4:
        return Settling(None, steady, None, None, (*reasons, "too few samples for an inrush"))
    volts = trace.supply_v - trace.drain_v
    conductance = trace.current_a / np.maximum(volts, 0.1)
    u_c = trace.current_u_a / np.maximum(volts, 0.1)
    peak = int(on[int(np.argmax(trace.current_a[on[: max(4, on.size // 4)]]))])
    head = on[: max(4, min(12, on.size // 20))]
    head = head[head >= min(peak, int(head[-1]) - 3)]
    x = trace.time_s[head]
    level, u_level = _line_at_zero(x, conductance[head], u_c[head])
    if level <= 0.0:
        return Settling(None, steady, None, None, (*reasons, "no inrush seen"))
    scale = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    # Bending of the fall within these samples: half of what it fell over them bounds it.
    bend = abs(float(conductance[head[-1]] - level)) / 4.0
    u_g = math.hypot(u_level, bend)
    cold = 1.0 / level
    drain_u = trace.drain_step_v / math.sqrt(12.0) / max(float(volts[head].mean()), 1.0)
    resistance = Estimate(
        cold,
        cold * math.sqrt((u_g / level) ** 2 + scale**2 + drain_u**2),
        float(max(head.size - 2, 1)) if u_g > level * scale else math.inf,
        cold * math.hypot(scale, drain_u),
    )
    inrush_value = float(trace.current_a[peak])
    inrush = Estimate(
        inrush_value,
        math.sqrt(float(trace.current_u_a[peak]) ** 2 + _gain(inrush_value, trace) ** 2),
        math.inf,
        _gain(inrush_value, trace),
    )
    return Settling(inrush, steady, resistance, None, tuple(reasons))


def _line_at_zero(x: Floats, y: Floats, u: Floats) -> tuple[float, float]:
    design = np.column_stack([np.ones_like(x), x]) / u[:, None]
    normal = design.T @ design
    solution = np.linalg.solve(normal, design.T @ (y / u))
    return float(solution[0]), math.sqrt(float(np.linalg.inv(normal)[0, 0]))


def settle_motor(trace: Trace, source: Source) -> Settling:
    """A DC motor from rest: v = R i + L di/dt + c int i dt while friction is small.

    Integrated once this is linear in R, L and c; the fit takes the first part of the pulse, up to where the
    current has fallen to two thirds of its peak, and R comes with the uncertainty of that short look.
    """
    steady, reason = steady_current(trace)
    reasons = [reason] if reason else []
    on = np.flatnonzero(trace.on)
    if on.size < 12:
        return Settling(None, steady, None, None, (*reasons, "too few samples for an inrush"))
    current, time = trace.current_a[on], trace.time_s[on]
    peak = int(np.argmax(current))
    inrush_value = float(current[peak])
    gain = _gain(inrush_value, trace)
    inrush = Estimate(inrush_value, math.hypot(float(trace.current_u_a[on][peak]), gain), math.inf, gain)
    fallen = np.flatnonzero(current[peak:] < 0.67 * inrush_value)
    end = peak + int(fallen[0]) if fallen.size else current.size
    end = max(end, min(current.size, 12))
    part = slice(0, end)
    try:
        resistance, inductance = _motor_fit(
            trace, source, time[part], current[part], trace.supply_v[on][part]
        )
    except (ValueError, np.linalg.LinAlgError) as error:
        return Settling(inrush, steady, None, None, (*reasons, str(error)))
    return Settling(inrush, steady, resistance, inductance, tuple(reasons))


def _cumulative(time: Floats, value: Floats, lead_value: float) -> Floats:
    step = np.diff(time)
    return np.concatenate(([0.0], np.cumsum(step * (value[1:] + value[:-1]) / 2.0))) + lead_value * float(
        time[0]
    )


def _motor_fit(
    trace: Trace, source: Source, time: Floats, current: Floats, supply: Floats
) -> tuple[Estimate, Estimate]:
    wave = supply if source.rippled else source.emf_v - source.ohm * current
    flux = _cumulative(time, wave, float(wave[0]))
    charge = _cumulative(time, current, float(current[0]) / 2.0)
    turn = _cumulative(time, charge, float(charge[0]) / 2.0)
    # Errors sit in the current: i = flux / L - (R / L) charge - (c / L) turn.
    columns = np.column_stack([flux, -charge, -turn])
    scale = np.abs(columns).max(axis=0)
    design = columns / scale
    u = trace.current_u_a[trace.on][: time.size]
    weighted = design / u[:, None]
    normal = weighted.T @ weighted
    solution = np.linalg.solve(normal, weighted.T @ (current / u)) / scale
    if solution[0] <= 0.0 or solution[1] <= 0.0:
        raise ValueError("the inrush is too short for this sample rate to tell resistance from inductance")
    residual = (current - columns @ solution) / u
    dof = max(time.size - 3, 1)
    chi2 = max(1.0, float(residual @ residual) / dof)
    covariance = np.linalg.inv(normal) * chi2 / np.outer(scale, scale)
    a, b = float(solution[0]), float(solution[1])
    random = propagate(np.array([[-b / a**2, 1.0 / a, 0.0], [-1.0 / a**2, 0.0, 0.0]]), covariance)
    total, inductance = b / a, 1.0 / a
    gain = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    return (
        _estimate(
            total - source.driver_ohm.value,
            float(random[0, 0]),
            math.hypot(total * gain, source.driver_ohm.u),
            dof,
        ),
        _estimate(inductance, float(random[1, 1]), inductance * gain, dof),
    )


def _estimate(value: float, variance: float, gain: float, dof: int) -> Estimate:
    u_random = math.sqrt(max(variance, 0.0))
    return Estimate(
        value,
        math.hypot(u_random, gain),
        welch_satterthwaite([u_random, gain], [float(dof), math.inf]),
        gain,
    )
