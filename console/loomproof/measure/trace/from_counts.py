"""From counts to amperes and volts: two ranges merged by their noise, each sample with its uncertainty."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loomproof.facts.trace import Calibration, Floats, Trace

# A voltage so near to an edge may belong to either side, or to the slope between: a converter that takes the quantities
# one after the other holds the pin a few microseconds away from when it says.
_PIN_GUARD_S = 6e-6


def merge_ranges(
    fine: Floats, wide: Floats, calibration: Calibration
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Current from both ranges, weighted by their noise; the fine one only where it is not at its end.

    Args:
        fine: (n,) counts of the fine range.
        wide: (n,) counts of the wide range.
        calibration: the channel's scales.

    Returns:
        (n,) current in A, (n,) standard uncertainty in A, (n,) True where even the wide range is past what
        is believed of it.
    """
    u_fine = calibration.sample_u_counts * calibration.fine_a_per_count
    u_wide = calibration.sample_u_counts * calibration.wide_a_per_count
    fine_a = (fine - calibration.fine_offset_counts) * calibration.fine_a_per_count
    wide_a = (wide - calibration.wide_offset_counts) * calibration.wide_a_per_count
    # Both show the end of the fine range: a fine count at the top, or a wide one well past it.
    top_a = (calibration.usable_counts - calibration.fine_offset_counts) * calibration.fine_a_per_count
    fine_ok = (fine < calibration.usable_counts) & (wide_a < top_a + 5.0 * u_wide)
    w_fine = np.where(fine_ok, 1.0 / u_fine**2, 0.0)
    w_wide = np.full(fine.shape, 1.0 / u_wide**2)
    total = w_fine + w_wide
    current = (w_fine * fine_a + w_wide * wide_a) / total
    clipped = (~fine_ok) & (wide >= calibration.usable_counts)
    return current, 1.0 / np.sqrt(total), clipped


def _at(times: Floats, taken: Floats, values: Floats, edges: tuple[float, ...]) -> Floats:
    """Linear interpolation of `values` (sampled at `taken`) to `times`, never across one of `edges`.

    Within a stretch between edges, instants outside the stretch's own samples take the nearest of them.
    What was taken on an edge itself counts for neither side.
    """
    out = np.empty_like(times)
    bounds = (-math.inf, *edges, math.inf)
    for low, high in itertools.pairwise(bounds):
        want = (times >= low) & (times < high)
        if not want.any():
            continue
        have = (taken >= low + _PIN_GUARD_S) & (taken < high - _PIN_GUARD_S)
        if not have.any():
            have = (taken >= low) & (taken < high)
        if have.any():
            out[want] = np.interp(times[want], taken[have], values[have])
        else:
            out[want] = np.interp(times[want], taken, values)
    return out


def trace_from_counts(
    fine: ArrayLike,
    wide: ArrayLike,
    supply: ArrayLike,
    drain: ArrayLike,
    calibration: Calibration,
    *,
    channel: int,
    sample_period_s: float,
    first_sample_s: float,
    supply_skew_s: float,
    drain_skew_s: float,
    on_time_s: float,
    pulse_index: int = 0,
    truncated: bool = False,
    tripped: bool = False,
) -> Trace:
    """A trace from one capture of the box. A set of four zeros is one that the box missed; it is left out.

    Args:
        fine: (n,) counts of the fine current range; likewise `wide`, `supply` and `drain`.
        wide: see `fine`.
        supply: see `fine`.
        drain: see `fine`.
        calibration: the channel's scales.
        channel: channel number.
        sample_period_s: between kept sample sets, in s.
        first_sample_s: first current sample, from the switch-on edge, in s.
        supply_skew_s: the supply sample's delay after the current sample, in s.
        drain_skew_s: likewise for the drain.
        on_time_s: pulse width as delivered, in s.
        pulse_index: which pulse of the train.
        truncated: the pulse was longer than the trace.
        tripped: the box switched the channel off on over-current.

    Raises:
        ValueError: when the four arrays differ in length.
    """
    arrays = [np.asarray(a, dtype=np.float64).ravel() for a in (fine, wide, supply, drain)]
    if len({a.size for a in arrays}) != 1:
        raise ValueError(f"the four arrays of a trace differ in length: {[a.size for a in arrays]}")
    times = first_sample_s + sample_period_s * np.arange(arrays[0].size, dtype=np.float64)
    taken = np.any(arrays, axis=0)
    times, arrays = times[taken], [a[taken] for a in arrays]
    current, current_u, over = merge_ranges(arrays[0], arrays[1], calibration)
    edges = (0.0, on_time_s)
    # Behind a weak battery the supply jumps as the pin does; a box may have read it before the edge for the set after it.
    supply_v = _at(times, times + supply_skew_s, arrays[2] * calibration.supply_v_per_count, edges)
    drain_v = _at(times, times + drain_skew_s, arrays[3] * calibration.drain_v_per_count, edges)
    inside = (times >= 0.0) & (times < on_time_s)
    return Trace(
        channel=channel,
        time_s=times,
        current_a=current,
        current_u_a=current_u,
        supply_v=supply_v,
        drain_v=drain_v,
        on_time_s=on_time_s,
        sample_period_s=sample_period_s,
        pulse_index=pulse_index,
        truncated=truncated,
        tripped=tripped,
        clipped=bool(np.any(over & inside)),
        gain_u_relative=calibration.gain_u_relative,
        voltage_u_relative=calibration.scale_u_relative,
        offset_u_a=calibration.offset_u_counts * calibration.fine_a_per_count,
        supply_u_v=calibration.sample_u_counts * calibration.supply_v_per_count,
        drain_u_v=calibration.sample_u_counts * calibration.drain_v_per_count,
        supply_step_v=calibration.supply_v_per_count,
        drain_step_v=calibration.drain_v_per_count,
        bias_v=calibration.bias_v,
        clamp_v=calibration.clamp_v,
        clipped_samples=int(np.count_nonzero(over & inside)),
        fine_limit_a=(calibration.full_scale - calibration.fine_offset_counts) * calibration.fine_a_per_count,
    )
