"""Loads whose current falls from an inrush to a steady value: tungsten lamps and DC motors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace
from loomproof.measure.statistics import propagate, welch_satterthwaite
from loomproof.measure.trace.checks import aliased
from loomproof.measure.trace.source import Source

Floats = NDArray[np.float64]


_TUNGSTEN_POWER = 1.2
_LAMP_MODEL_U = 0.015  # of the power law and of a filament not quite at the loom's temperature
_SETTLED = 0.05  # relative change over the last quarter of the pulse under which the current counts as steady


@dataclass(frozen=True)
class Settling:
    """Inrush and steady current, and the resistance at rest (cold filament, standing armature)."""

    inrush_a: Estimate | None
    steady_a: Estimate | None
    resistance_ohm: Estimate | None
    inductance_h: Estimate | None
    reasons: tuple[str, ...] = ()
    hot_ratio: Estimate | None = None
    back_emf_v: Estimate | None = None


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
    """A filament: its resistance against the energy it has taken, brought back to none.

    Tungsten's resistance goes with T^1.2 (Desai et al. 1984: ratio 15.0 between 300 and 2800 K), and while
    little is radiated the temperature rises in proportion to the energy. So R^(1/1.2) is a straight line
    over the energy.
    """
    steady, reason = steady_current(trace)
    reasons = [reason] if reason else []
    on = np.flatnonzero(trace.on & (trace.current_a > 0.0))
    if on.size < 6:
        return Settling(None, steady, None, None, (*reasons, "too few samples for an inrush"))
    time, current = trace.time_s[on], trace.current_a[on]
    volts = trace.supply_v[on] - trace.drain_v[on]
    ohm = np.maximum(volts, 0.1) / current
    power = volts * current
    energy = _cumulative(time, power, float(power[0]))
    warm = np.flatnonzero(ohm > 2.5 * ohm[0])
    end = max(4, int(warm[0])) if warm.size else max(4, on.size // 10)
    head = slice(0, min(end, on.size))
    y = ohm[head] ** (1.0 / _TUNGSTEN_POWER)
    u_y = y / _TUNGSTEN_POWER * trace.current_u_a[on][head] / current[head]
    level, u_level, chi2 = _line_at_zero(energy[head], y, u_y)
    inrush_value = float(current.max())
    gain = _gain(inrush_value, trace)
    u_peak = float(trace.current_u_a[on][int(np.argmax(current))])
    inrush = Estimate(inrush_value, math.hypot(u_peak, gain), math.inf, gain)
    if level <= 0.0:
        return Settling(
            inrush, steady, None, None, (*reasons, "the filament warms too fast for this sample rate")
        )
    cold = level**_TUNGSTEN_POWER
    u_random = cold * _TUNGSTEN_POWER * u_level * math.sqrt(max(1.0, chi2)) / level
    drain_u = trace.drain_step_v / math.sqrt(12.0) / max(float(volts[head].mean()), 1.0)
    scale = cold * math.sqrt(trace.gain_u_relative**2 + trace.voltage_u_relative**2 + drain_u**2)
    # What it warmed before the first sample, times how far the straight line may be wrong there.
    warmed = cold * abs(float(y[0]) - level) / level * 0.3
    u = math.sqrt(u_random**2 + scale**2 + warmed**2 + (_LAMP_MODEL_U * cold) ** 2)
    resistance = Estimate(cold, u, math.inf, scale)
    ratio = _hot_ratio(trace, steady, resistance, scale) if steady is not None else None
    return Settling(inrush, steady, resistance, None, tuple(reasons), hot_ratio=ratio)


def _end_volts(trace: Trace) -> tuple[float, float]:
    """Mean voltage over load, wires and feed in the last eighth of the pulse, and its random uncertainty."""
    on = np.flatnonzero(trace.on)
    end = on[-max(2, on.size // 8) :]
    volts = float(trace.supply_v[end].mean() - trace.drain_v[end].mean())
    step = math.hypot(trace.supply_step_v, trace.drain_step_v) / math.sqrt(12.0)
    return volts, math.hypot(math.hypot(trace.supply_u_v, trace.drain_u_v) / math.sqrt(end.size), step)


def _hot_ratio(trace: Trace, steady: Estimate, cold: Estimate, scale_ohm: float) -> Estimate:
    """Hot over cold: the scales of current and voltage are in both and cancel (GUM 5.2.2, correlation 1)."""
    volts, u_volts = _end_volts(trace)
    ratio = volts / steady.value / cold.value
    parts = [
        steady.u_random / steady.value,
        trace.offset_u_a / steady.value,
        u_volts / volts,
        math.sqrt(max(cold.u**2 - scale_ohm**2, 0.0)) / cold.value,
    ]
    u = [ratio * part for part in parts]
    return Estimate(ratio, math.hypot(*u), welch_satterthwaite(u, [steady.dof, math.inf, math.inf, math.inf]))


def _back_emf(trace: Trace, steady: Estimate, resistance: Estimate) -> Estimate:
    """What is left of the voltage over load and wires once R i is taken off."""
    volts, u_volts = _end_volts(trace)
    random = [u_volts, resistance.u_random * steady.value, resistance.value * steady.u_random]
    drop = resistance.value * steady.value
    # The current's scale is in R (inversely) and in i, so it leaves R i alone; the voltage's scale is in all of it.
    back = volts - drop
    gain = math.hypot(trace.voltage_u_relative * back, resistance.value * trace.offset_u_a)
    u = math.hypot(*random, gain)
    dof = welch_satterthwaite([*random, gain], [math.inf, resistance.dof, steady.dof, math.inf])
    return Estimate(back, u, dof, gain)


def _line_at_zero(x: Floats, y: Floats, u: Floats) -> tuple[float, float, float]:
    """Value at zero of a weighted straight line, its standard uncertainty, and the reduced chi-square."""
    design = np.column_stack([np.ones_like(x), x]) / u[:, None]
    normal = design.T @ design
    solution = np.linalg.solve(normal, design.T @ (y / u))
    residual = y / u - design @ solution
    chi2 = float(residual @ residual) / max(x.size - 2, 1)
    return float(solution[0]), math.sqrt(float(np.linalg.inv(normal)[0, 0])), chi2


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
    back = _back_emf(trace, steady, resistance) if steady is not None else None
    coarse = aliased(trace.sample_period_s, inductance.value / resistance.value)
    if coarse:
        return Settling(inrush, steady, resistance, None, (*reasons, coarse), back_emf_v=back)
    return Settling(inrush, steady, resistance, inductance, tuple(reasons), back_emf_v=back)


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
    if solution[0] <= 0.0 or solution[1] <= source.driver_ohm.value * solution[0]:
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
