"""Inductance from the first part of a rise, when the resistance is known otherwise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace
from loomproof.measure.statistics import welch_satterthwaite
from loomproof.measure.trace.source import Source

Floats = NDArray[np.float64]


_MIN_SAMPLES = 5


@dataclass(frozen=True)
class Early:
    """Inductance at rest and, where asked for, the resistor across the winding."""

    inductance_h: Estimate
    shunt_ohm: Estimate | None = None


@dataclass(frozen=True)
class _Head:
    time: Floats
    current: Floats
    u: Floats
    flux: Floats

    def charge(self, offset_a: float) -> Floats:
        """Integral of the winding's own current from the switch-on edge."""
        own = self.current - offset_a
        step = np.diff(self.time)
        lead = float(own[0]) * float(self.time[0]) / 2.0
        return np.concatenate(([0.0], np.cumsum(step * (own[1:] + own[:-1]) / 2.0))) + lead


def _head(trace: Trace, source: Source, end_s: float) -> _Head:
    use = slice(*trace.time_s.searchsorted((0.0, min(end_s, trace.on_time_s))).tolist())
    if use.stop - use.start < _MIN_SAMPLES:
        raise ValueError(f"fewer than {_MIN_SAMPLES} samples before the current bends")
    time, current = trace.time_s[use], trace.current_a[use]
    supply = trace.supply_v[use] if source.rippled else source.emf_v - source.ohm * current
    lead = float(supply[0]) * float(time[0])
    flux = np.concatenate(([0.0], np.cumsum(np.diff(time) * (supply[1:] + supply[:-1]) / 2.0))) + lead
    return _Head(time, current, trace.current_u_a[use], flux)


def _finish(
    trace: Trace,
    head: _Head,
    *,
    slope: float,
    u_slope: float,
    dof: float,
    shift: float,
    total_u_ohm: float,
) -> Estimate:
    """L = 1 / slope, with the known resistance's share (`shift` is d ln L per ohm) and the scales'."""
    if slope <= 0.0:
        raise ValueError("no current rises")
    value = 1.0 / slope
    u_random = value * u_slope / slope
    u_r = value * abs(shift) * total_u_ohm
    scale = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    offset = trace.offset_u_a / max(float(head.current.max()), 1e-9)
    gain = value * math.hypot(scale, offset)
    steady = math.hypot(u_r, gain)
    u = math.hypot(u_random, steady)
    return Estimate(value, u, welch_satterthwaite([u_random, steady], [dof, math.inf]), gain)


def early_inductance(
    trace: Trace,
    source: Source,
    total_ohm: float,
    total_u_ohm: float,
    end_s: float,
    *,
    shunted: bool = False,
) -> Early:
    """L i = integral (v - R i) dt before anything moves; errors sit in the current: i is regressed on flux.

    Args:
        trace: the pulse.
        source: its supply.
        total_ohm: direct-current resistance of load, wire and driver (with the resistor across it, if any).
        total_u_ohm: its standard uncertainty.
        end_s: last instant used.
        shunted: a resistor lies across the winding: its current is a step at switch-on.

    Raises:
        ValueError: too few samples, or no current rises.
    """
    head = _head(trace, source, end_s)
    line = _steps_and_slope(head, source, total_ohm) if shunted else _slope(head, total_ohm)
    residual = head.current - line.slope * line.linkage - line.step_a
    dof = float(max(head.time.size - (2 if shunted else 1), 1))
    wider = max(1.0, float((residual / head.u) @ (residual / head.u)) / dof)
    inductance = _finish(
        trace,
        head,
        slope=line.slope,
        u_slope=math.sqrt(line.var_slope * wider),
        dof=dof,
        shift=line.shift,
        total_u_ohm=total_u_ohm,
    )
    u_step = math.hypot(math.sqrt(line.var_step * wider), trace.offset_u_a)
    if not shunted or line.step_a < 4.0 * u_step:
        return Early(inductance)
    shunt = source.emf_v / line.step_a
    return Early(inductance, Estimate(shunt, shunt * u_step / line.step_a, dof))


@dataclass(frozen=True)
class _Line:
    """Current on flux linkage: slope and step with their variances, and d ln L per ohm of the known resistance."""

    slope: float
    step_a: float
    var_slope: float
    var_step: float
    linkage: Floats
    shift: float


def _slope(head: _Head, ohm: float) -> _Line:
    charge = head.charge(0.0)
    linkage = head.flux - ohm * charge
    heavy = linkage / (head.u * head.u)
    power = float(heavy @ linkage)
    return _Line(
        float(heavy @ head.current) / power, 0.0, 1.0 / power, 0.0, linkage, float(heavy @ charge) / power
    )


def _steps_and_slope(head: _Head, source: Source, total_ohm: float) -> _Line:
    """With a resistor's own current as a step at switch-on; a few rounds, since the winding carries what is left."""
    weight = 1.0 / (head.u * head.u)
    whole, level = float(weight.sum()), float(weight @ head.current)
    step_a, ohm = 0.0, total_ohm
    for _ in range(4):
        charge = head.charge(step_a)
        linkage = head.flux - ohm * charge
        heavy = weight * linkage
        power, product, mean = float(heavy @ linkage), float(heavy @ head.current), float(heavy.sum())
        det = power * whole - mean * mean
        if det <= 0.0:
            raise ValueError("the first part of the rise does not determine an inductance")
        slope, shown = (product * whole - level * mean) / det, (level * power - product * mean) / det
        line = _Line(slope, shown, whole / det, power / det, linkage, float(heavy @ charge) / power)
        step_a = min(max(shown, 0.0), 0.9 * source.emf_v / total_ohm)
        ohm = 1.0 / (1.0 / total_ohm - step_a / source.emf_v)
    return line


def saturating_inductance(trace: Trace, source: Source, total_ohm: float, total_u_ohm: float) -> Estimate:
    """Small-current L of a saturating core: i = flux / L + k flux^3, over the whole pulse.

    The even powers vanish because a core saturates alike both ways; the cubic is the first sign of it.

    Args:
        trace: the pulse.
        source: its supply.
        total_ohm: resistance of coil, wires, feed and driver.
        total_u_ohm: its standard uncertainty.

    Returns:
        The inductance with its uncertainty.

    Raises:
        ValueError: too few samples, or no current rises.
    """
    head = _head(trace, source, trace.on_time_s)
    charge = head.charge(0.0)
    linkage = head.flux - total_ohm * charge
    top = float(np.abs(linkage).max())
    if top <= 0.0:
        raise ValueError("no current rises")
    x = linkage / top
    design = np.column_stack([x, x**3]) / head.u[:, None]
    normal = design.T @ design
    solution = np.linalg.solve(normal, design.T @ (head.current / head.u))
    residual = head.current / head.u - design @ solution
    dof = float(max(head.time.size - 2, 1))
    covariance = np.linalg.inv(normal) * max(1.0, float(residual @ residual) / dof)
    slope, u_slope = float(solution[0]) / top, math.sqrt(float(covariance[0, 0])) / top
    # To first order the flux is high or low by charge * dR; regress that on the flux itself.
    shift = float(np.sum(design[:, 0] * charge / head.u)) / float(design[:, 0] @ design[:, 0]) / top
    return _finish(trace, head, slope=slope, u_slope=u_slope, dof=dof, shift=shift, total_u_ohm=total_u_ohm)
