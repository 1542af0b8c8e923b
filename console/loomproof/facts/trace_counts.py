"""One trace as the box delivered it: raw counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class TraceCounts:
    """One trace as the box delivered it: raw counts, never amperes. All four arrays have the same length."""

    channel: int
    pulse_index: int
    sample_period_ns: int
    on_time_us: int
    first_sample_ns: int
    supply_skew_ns: int
    drain_skew_ns: int
    truncated: bool
    tripped: bool
    fine: NDArray[np.uint16]
    wide: NDArray[np.uint16]
    supply: NDArray[np.uint16]
    drain: NDArray[np.uint16]
    purpose: str = "drive"
    """`drive`, `sense` or `watch`."""
