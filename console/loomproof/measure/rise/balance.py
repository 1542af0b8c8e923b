"""Resistance from a whole pulse by volt-second balance: holds for any saturation, any motion.

The flux linkage of a winding starts and ends at zero, so over the pulse and the decay after it
integral (v_load - R i) dt = 0 (Faraday's law, integrated): R = integral v dt / integral i dt.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace

Floats = NDArray[np.float64]


def _piece(time: Floats, value: Floats, begin: float, end: float) -> float:
    """Trapezoid integral over one stretch without edges; its ends extrapolated from two samples."""
    if time.size < 2:
        return float(value.sum()) * (end - begin) / max(time.size, 1)
    first = value[0] - (value[1] - value[0]) / (time[1] - time[0]) * (time[0] - begin)
    last = value[-1] + (value[-1] - value[-2]) / (time[-1] - time[-2]) * (end - time[-1])
    return float(
        np.trapezoid(np.concatenate(([first], value, [last])), np.concatenate(([begin], time, [end])))
    )


def balance_resistance(trace: Trace) -> Estimate:
    """R of load, wire and feed from one whole pulse.

    Raises:
        ValueError: the trace does not reach the end of the decay, or the load keeps its current out of the
            driver (a diode or resistor across it), or too little is left after the edge.
    """
    on, off = trace.on, trace.off
    if trace.truncated or int(on.sum()) < 8 or int(off.sum()) < 6:
        raise ValueError("the trace does not hold the whole pulse and the decay after it")
    time, current = trace.time_s, trace.current_a
    edge = trace.on_time_s
    tail = current[off][-2:]
    if float(np.abs(tail).max()) > 6.0 * float(trace.current_u_a[off][-1]) + 3.0 * trace.offset_u_a:
        raise ValueError("the trace ends before the load is at rest")
    end, end_u, held = _decay_end(trace)
    i_on = _piece(time[on], current[on], 0.0, edge)
    i_off = _piece(time[held], current[held], edge, end)
    drain_on = _piece(time[on], trace.drain_v[on], 0.0, edge)
    # The drain's own samples come later than the current's: one brought back from after the end is no use.
    flat = held & (time + trace.sample_period_s < end)
    if int(flat.sum()) < 2:
        raise ValueError("the decay is too short for the sample rate")
    drain_off = float(trace.drain_v[flat].mean()) * (end - edge)  # the clamp holds it level
    supply = _piece(time[on], trace.supply_v[on], 0.0, edge)
    supply += _piece(time[held], trace.supply_v[held], edge, end)
    charge = i_on + i_off
    if charge <= 0.0:
        raise ValueError("no current flowed")
    ohm = (supply - drain_on - drain_off) / charge
    jump = float(trace.drain_v[flat].mean() - trace.supply_v[flat].mean())
    step = trace.sample_period_s
    parts = [
        jump * end_u,
        step * trace.supply_u_v * math.sqrt(time.size),
        step * trace.drain_u_v * math.sqrt(time.size),
        ohm * step * float(np.sqrt(np.sum(trace.current_u_a[on] ** 2))),
    ]
    u_random = math.sqrt(sum(p * p for p in parts)) / charge
    # Supply and drain each have their own scale, so their errors do not cancel.
    gain_v = trace.voltage_u_relative * math.hypot(supply, drain_off) / charge
    u_gain = math.hypot(gain_v, ohm * trace.gain_u_relative)
    return Estimate(ohm, math.hypot(u_random, u_gain), float(max(time.size - 4, 1)), u_gain)


def _decay_end(trace: Trace) -> tuple[float, float, NDArray[np.bool_]]:
    """When the current is gone, its uncertainty, and the samples before it.

    The last stretch of the decay bends only slightly, so a parabola through the samples under
    two thirds of the peak finds its end far more finely than the sample period.
    """
    off, time, current = trace.off, trace.time_s, trace.current_a
    peak = float(current[off].max(initial=0.0))
    high = off & (current > 0.7 * peak) if peak > 0.0 else off
    last_high = float(time[high][-1]) if high.any() else trace.on_time_s
    floor = 5.0 * trace.current_u_a + trace.offset_u_a
    gone = np.flatnonzero(off & (time > last_high) & (current < floor))
    if gone.size == 0 or peak <= float(floor[off].max()):
        raise ValueError("the current after the pulse does not pass through the driver")
    stop = float(time[gone[0]])
    part = off & (time >= last_high) & (time < stop)
    if int(part.sum()) < 2:
        raise ValueError("the decay is too short for the sample rate")
    x, y, u = time[part], current[part], trace.current_u_a[part]
    degree = 2 if x.size >= 5 else 1
    coefficients = np.polyfit(x - x[-1], y, degree, w=1.0 / u)
    roots = np.roots(coefficients)
    real = roots[np.abs(roots.imag) < 1e-12].real
    ahead = real[(real > 0.0) & (real < 3.0 * trace.sample_period_s)]
    if ahead.size == 0:
        raise ValueError("the end of the decay cannot be found")
    end = float(x[-1] + ahead.min())
    slope = abs(float(np.polyval(np.polyder(coefficients), end - x[-1])))
    end_u = math.hypot(2.0 * float(u[-1]), trace.offset_u_a) / max(slope, 1e-9)
    return end, end_u, off & (time < end)
