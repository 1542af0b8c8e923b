"""Resistance from a whole pulse by volt-second balance: holds for any saturation, any motion.

The flux linkage of a winding starts and ends at zero, so over the pulse and the decay after it
integral (v_load - R i) dt = 0 (Faraday's law, integrated): R = integral v dt / integral i dt.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from loomproof.measure.quantities import Estimate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from loomproof.measure.trace import Trace

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
        driver
            (a diode or resistor across it), or too little is left after the edge.
    """
    on, off = trace.on, trace.off
    if trace.truncated or int(on.sum()) < 8 or int(off.sum()) < 6:
        raise ValueError("the trace does not hold the whole pulse and the decay after it")
    across = trace.supply_v - trace.drain_v
    time, current = trace.time_s, trace.current_a
    rest = float(np.median(across[off][-3:]))
    if abs(rest) > 0.5 or abs(float(current[off][-1])) > 5.0 * float(trace.current_u_a[off][-1]):
        raise ValueError("the trace ends before the load is at rest")
    end_on = trace.on_time_s
    i_on = _piece(time[on], current[on], 0.0, end_on)
    v_on = _piece(time[on], across[on], 0.0, end_on)
    time_off, back = time[off], -across[off]
    falling = np.flatnonzero(back > 2.0)
    if falling.size < 4:
        raise ValueError("the drain did not rise after the pulse: the decay is not seen")
    last = int(falling[-1])
    # The end of the decay lies between two samples: the flux it carries there is uncertain by that step.
    v_off = _piece(
        time_off[: last + 1], back[: last + 1], end_on, float(time_off[last]) + trace.sample_period_s / 2
    )
    i_off = _piece(time_off[: last + 1], current[off][: last + 1], end_on, float(time_off[last]))
    charge = i_on + i_off
    if charge <= 0.0:
        raise ValueError("no current flowed")
    ohm = (v_on - v_off) / charge
    step_u = trace.sample_period_s / math.sqrt(12.0)
    u_edges = math.hypot(float(back[last]) * step_u, float(np.max(back)) * 1e-6)
    noise = trace.sample_period_s * math.hypot(trace.supply_u_v, trace.drain_u_v) * math.sqrt(time.size)
    u_charge = trace.sample_period_s * float(np.sqrt(np.sum(trace.current_u_a**2)))
    u_random = math.hypot(u_edges, noise) / charge
    u_random = math.hypot(u_random, ohm * u_charge / charge)
    # Supply and drain each have their own scale; the two phases do not share the drain's.
    supply_off = float(np.mean(trace.supply_v[off])) * (float(time_off[last]) - end_on)
    gain_v = trace.voltage_u_relative * math.hypot(v_on + supply_off, v_off + supply_off) / charge
    u_gain = math.hypot(gain_v, ohm * trace.gain_u_relative)
    return Estimate(ohm, math.hypot(u_random, u_gain), float(max(time.size - 4, 1)), u_gain)
