"""What happens after the pulse: where the load's energy goes shows what lies across it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import OffShape
from loomproof.facts.trace import Trace
from loomproof.measure.statistics import straight_line
from loomproof.measure.trace.source import Source

Floats = NDArray[np.float64]


DIODE_LOW_V, DIODE_HIGH_V = (
    0.25,
    2.0,
)  # a silicon diode's drop with its lead, over all temperatures and currents


@dataclass(frozen=True)
class OffPhase:
    """The drain after switching off. `reason` says why nothing can be said."""

    shape: OffShape = OffShape.CANNOT_TELL
    clamp_v: Estimate | None = None
    decay_s: Estimate | None = None
    suppression_ohm: Estimate | None = None
    drain_v: Estimate | None = None
    reason: str = ""


def look_after(trace: Trace, source: Source, final_current_a: float) -> OffPhase:
    """Reads the off-phase of a trace.

    Args:
        trace: the pulse.
        source: its supply.
        final_current_a: current when the switch opened.
    """
    off = trace.later
    if trace.truncated or len(trace) - off.start < 4:
        return OffPhase(reason="the trace ends before the pulse does")
    if trace.tripped:
        return OffPhase(reason="the box switched the channel off early")
    above = trace.drain_v[off] - trace.supply_v[off]
    current = trace.current_a[off]
    floor_u = math.hypot(float(trace.current_u_a.min()), trace.offset_u_a)
    if final_current_a < 10.0 * floor_u:
        return OffPhase(OffShape.NOTHING, reason="no current to switch off")
    level = Estimate(
        float(trace.drain_v[off][-1]), max(trace.drain_u_v, trace.drain_step_v / math.sqrt(12.0))
    )
    u = math.hypot(trace.drain_u_v, trace.supply_u_v)
    carries = current > np.maximum(5.0 * trace.current_u_a[off], 0.05 * final_current_a)
    if (
        carries[: max(2, carries.size // 8)].any()
        and float(above[carries].max(initial=0.0)) > 4.0 * DIODE_HIGH_V
    ):
        return _clamped(trace, carries, level, u)
    return _unclamped(trace, u, final_current_a, source.emf_v, level)


def _clamped(trace: Trace, carries: NDArray[np.bool_], level: Estimate, u: float) -> OffPhase:
    off = trace.later
    drain, current, time = trace.drain_v[off], trace.current_a[off], trace.time_s[off] - trace.on_time_s
    above = drain - trace.supply_v[off]
    held = np.flatnonzero(carries)
    held = held[held > 0] if held.size > 1 else held  # the first may lie on the edge
    top = median(drain[held].tolist())
    u_top = math.hypot(trace.drain_u_v / math.sqrt(held.size), trace.voltage_u_relative * top)
    clamp = Estimate(top, u_top, float(max(held.size - 1, 1)), trace.voltage_u_relative * top)
    # `held` stops well before the end, for a clean level; the end itself is where the noise begins.
    last = int(np.flatnonzero(current > 5.0 * trace.current_u_a[off])[-1])
    decay = _zero_crossing(time, current, last, trace.sample_period_s)
    # Without anything across the load the drain falls back as soon as the current is gone; a resistor
    # holds it up and lets it down by its own time constant.
    tail = above[last + 2 :]
    lingering = int(np.count_nonzero(tail > max(DIODE_HIGH_V, 6.0 * u)))
    if lingering >= 4 and time[last] > 0.0 and lingering * trace.sample_period_s > 0.05 * time[last]:
        return OffPhase(OffShape.RESISTOR, clamp, decay, None, level)
    return OffPhase(OffShape.CLAMP, clamp, decay, None, level)


def _zero_crossing(time: Floats, current: Floats, last: int, step: float) -> Estimate:
    """When the clamp current ends, by a line through its last samples."""
    part = slice(max(0, last - 3), last + 1)
    x, y = time[part], current[part]
    if x.size >= 2:
        slope, level = straight_line(x, y)
        if slope < 0.0:
            end = -level / slope
            if time[last] <= end <= time[last] + 2.0 * step:
                return Estimate(end, step / math.sqrt(12.0))
    return Estimate(float(time[last]) + step / 2.0, step / math.sqrt(3.0))


def _unclamped(trace: Trace, u: float, final_a: float, emf_v: float, level: Estimate) -> OffPhase:
    off, step = trace.later, trace.sample_period_s
    time, above = trace.time_s[off] - trace.on_time_s, trace.drain_v[off] - trace.supply_v[off]
    head = above[1:4] if above.size > 4 else above[:2]
    first = median(head.tolist())
    if first < max(DIODE_LOW_V, 3.0 * u):
        return OffPhase(OffShape.NOTHING, drain_v=level)
    if first <= DIODE_HIGH_V:
        floating = np.flatnonzero(above > max(DIODE_LOW_V, 3.0 * u) / 2.0)
        end = float(time[int(floating[-1])])
        return OffPhase(OffShape.DIODE, None, Estimate(end + step / 2.0, step), None, level)
    return _resistor(trace, u, final_a, emf_v, level)


def _resistor(trace: Trace, u: float, final_a: float, emf_v: float, level: Estimate) -> OffPhase:
    """Drain over the supply falls from i R - V by its own time constant: R = (level + V) / i at the edge."""
    off, step = trace.later, trace.sample_period_s
    time, above = trace.time_s[off] - trace.on_time_s, trace.drain_v[off] - trace.supply_v[off]
    seen = (above > max(DIODE_HIGH_V, 5.0 * u)) & (time >= 0.0)
    seen[0] = False
    if int(seen.sum()) < 4:
        return OffPhase(
            OffShape.CANNOT_TELL, drain_v=level, reason="the decay is too short for the sample rate"
        )
    weight = above[seen] / u  # ln of a value has the relative uncertainty of the value
    slope, start = straight_line(time[seen], np.log(above[seen]), weight**2)
    if slope >= 0.0:
        return OffPhase(OffShape.CANNOT_TELL, drain_v=level, reason="the drain does not fall back")
    peak = math.exp(start)
    ohm = (peak + emf_v) / final_a
    u_start = 1.0 / math.sqrt(float(np.sum(weight**2))) * 2.0
    tau = -1.0 / slope
    estimate = Estimate(ohm, ohm * math.hypot(u_start, step / tau / math.sqrt(12.0)), float(seen.sum() - 2))
    return OffPhase(OffShape.RESISTOR, None, Estimate(tau * 3.0, step), estimate, level)
