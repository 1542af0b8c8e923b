"""A half-bridge pair: how it is chopped, and which samples of its current tell what its load draws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.drive import BRIDGE_CHOP_US
from loomproof.facts.trace import Trace

_CHOP_EDGE_S = 3e-6
"""A sample nearer to an edge of the chopping may belong to either side of it."""
_CHOP_LATE_S = 17e-6
"""So late an edge of the chopping may come that a box has no time to wait for; never early (docs/protocol.md)."""
_FIRSTS_S = np.linspace(0.0, BRIDGE_CHOP_US * 1e-6, 20, endpoint=False)
"""Where in the chopping the first sample may lie; the box tells with the trace only."""
_LEAST_FOR_RIPPLE = 12
_MOST_DECIMATION = 255
_TRIED = 8
"""Decimations looked at beyond the least that is long enough."""


def chopped(trace: Trace, duty: float) -> Trace:
    """A bridge's trace as its load saw it: chopped and freewheeling, it gets the mean of the supply.

    Of the current only those samples count that were taken while the supply was connected. In between it goes round
    through both lower legs, so a shunt that the legs share does not see it. Holds while the chop period is short against
    the load's time constant, so that the current runs on.
    """
    if duty >= 1.0:
        return trace
    keep = ~trace.on | _connected(trace.time_s, duty)
    seen = replace(
        trace,
        time_s=trace.time_s[keep],
        current_a=trace.current_a[keep],
        current_u_a=trace.current_u_a[keep],
        supply_v=trace.supply_v[keep] * duty,
        drain_v=trace.drain_v[keep],
        supply_u_v=trace.supply_u_v * duty,
    )
    return replace(seen, current_a=seen.current_a - _ripple_a(seen, duty))


def _ripple_a(trace: Trace, duty: float) -> NDArray[np.float64]:
    """What each sample lies above the mean of its chop period.

    While the supply is connected the current climbs by the same slope in every period, V (1 - duty) / L as long as the mean
    changes slowly, and it passes its mean half way. The slope is taken from the second half of the drive, by least squares
    beside a straight line for the mean.
    """
    chop_s = BRIDGE_CHOP_US * 1e-6
    past_middle_s = np.where(trace.on, np.mod(trace.time_s, chop_s) - duty * chop_s / 2.0, 0.0)
    late = np.flatnonzero(trace.on)
    late = late[late.size // 2 :]
    if late.size < _LEAST_FOR_RIPPLE:
        return np.zeros(len(trace))
    time_s = trace.time_s[late]
    design = np.column_stack([np.ones(late.size), time_s - time_s[0], past_middle_s[late]])
    solution, *_ = np.linalg.lstsq(design / design.max(axis=0), trace.current_a[late], rcond=None)
    return np.asarray(past_middle_s * float(solution[2] / design[:, 2].max()))


def _connected(time_s: NDArray[np.float64], duty: float) -> NDArray[np.bool_]:
    """At which instants from the first switching on the supply is connected, for certain."""
    chop_s = BRIDGE_CHOP_US * 1e-6
    since_s = np.mod(time_s, chop_s)
    return (since_s >= _CHOP_EDGE_S + _CHOP_LATE_S) & (since_s < duty * chop_s - _CHOP_EDGE_S)


def _longest_blind_s(time_s: NDArray[np.float64], on_time_s: float, duty: float) -> float:
    """Longest part of a drive without a sample taken while the supply was connected."""
    seen_s = time_s[_connected(time_s, duty) & (time_s < on_time_s)]
    return float(np.max(np.diff([0.0, *seen_s, on_time_s])))


def decimation(sample_period_s: float, on_time_s: float, most_sets: int, duty: float) -> int:
    """Which sample sets of a bridge to keep: the trace holds the whole drive, and no long part of it goes unseen.

    Where the kept sets keep step with the chopping they would all fall where nothing is seen, for a long time or for ever.

    Args:
        sample_period_s: from one set to the next.
        on_time_s: how long the drive takes.
        most_sets: how many the trace holds.
        duty: share of the time that the supply is connected.
    """
    least = max(1, math.ceil(on_time_s / (most_sets * sample_period_s)))

    def longest_blind_s(every: int) -> float:
        kept_s = sample_period_s * every * np.arange(most_sets)
        return max(_longest_blind_s(kept_s + first_s, on_time_s, duty) for first_s in _FIRSTS_S)

    return min(
        range(min(least, _MOST_DECIMATION), min(least + _TRIED, _MOST_DECIMATION) + 1), key=longest_blind_s
    )
