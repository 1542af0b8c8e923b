"""One pulse as measured, and the scales that turn a channel's counts into amperes and volts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


_EDGE_GUARD_S = 2e-6  # a current taken nearer to an edge may belong to either side


_USABLE = 0.97  # docs/protocol.md, "What the box guarantees"


@dataclass(frozen=True, slots=True)
class Calibration:
    """How one channel's counts become amperes and volts: value = (counts - offset) * per_count.

    `gain_u_relative` is the standard uncertainty of the current scales; `voltage_u_relative` that of the
    supply and drain scales (assumed equal to the current's unless stated); `noise_counts` the standard
    deviation of one conversion without its quantisation; `offset_u_counts` what is left of the offset after
    calibration.
    """

    fine_a_per_count: float
    fine_offset_counts: float
    wide_a_per_count: float
    wide_offset_counts: float
    supply_v_per_count: float
    drain_v_per_count: float
    adc_bits: int = 10
    gain_u_relative: float = 0.005
    noise_counts: float = 0.5
    bias_v: float = 2.5
    bias_ohm: float = 47_000.0
    clamp_v: float = 48.0
    offset_u_counts: float = 0.1
    voltage_u_relative: float | None = None

    @property
    def full_scale(self) -> int:
        """The highest count."""
        return int((1 << self.adc_bits) - 1)

    @property
    def usable_counts(self) -> float:
        """The counts up to which a current range is believed: an amplifier may top out short of its rail."""
        return _USABLE * self.full_scale

    @property
    def sample_u_counts(self) -> float:
        """Standard uncertainty of one conversion: noise and quantisation (q / sqrt 12, GUM F.2.2.1)."""
        return math.hypot(self.noise_counts, 1.0 / math.sqrt(12.0))

    @property
    def scale_u_relative(self) -> float:
        """Standard uncertainty of the voltage scales."""
        return self.gain_u_relative if self.voltage_u_relative is None else self.voltage_u_relative


@dataclass(frozen=True)
class Trace:
    """One pulse as measured. Arrays are one value per sample, at `time_s` from the switch-on edge.

    Attributes:
        current_u_a: standard uncertainty of each sample, noise and quantisation only.
        supply_v: supply at the box, brought to the instants of the current samples (never across a switching edge).
        drain_v: the driver's pin, likewise.
        truncated: the pulse was longer than the trace.
        tripped: the box switched the channel off on over-current.
        clipped: samples beyond the end of both ranges.
        gain_u_relative, voltage_u_relative: standard uncertainty of the current and voltage scales.
        offset_u_a: standard uncertainty of what is left of the current's offset.
        supply_u_v, drain_u_v: standard uncertainty of one voltage sample (noise and quantisation).
        drain_step_v: one count of the drain scale.
    """

    channel: int
    time_s: Floats
    current_a: Floats
    current_u_a: Floats
    supply_v: Floats
    drain_v: Floats
    on_time_s: float
    sample_period_s: float
    pulse_index: int = 0
    truncated: bool = False
    tripped: bool = False
    clipped: bool = False
    gain_u_relative: float = 0.005
    voltage_u_relative: float = 0.005
    offset_u_a: float = 0.0
    supply_u_v: float = 0.0
    drain_u_v: float = 0.0
    supply_step_v: float = 0.0
    drain_step_v: float = 0.0
    bias_v: float = 2.5
    clamp_v: float = 48.0
    clipped_samples: int = 0
    fine_limit_a: float = field(default=math.inf)

    def __len__(self) -> int:
        """Number of samples."""
        return int(self.time_s.size)

    @cached_property
    def on(self) -> NDArray[np.bool_]:
        """Which samples lie inside the pulse.

        What was taken on its very end counts for neither side: the box's pulses are exact to about a microsecond, and so
        is its output stage's edge.
        """
        return np.asarray((self.time_s >= 0.0) & (self.time_s < self.on_time_s - _EDGE_GUARD_S))

    @cached_property
    def during(self) -> slice:
        """The same as `on`, as a stretch of the arrays: time only rises."""
        first, end = self.time_s.searchsorted((0.0, self.on_time_s - _EDGE_GUARD_S)).tolist()
        return slice(first, max(first, end))

    @cached_property
    def later(self) -> slice:
        """The same as `off`, as a stretch of the arrays."""
        return slice(int(self.time_s.searchsorted(self.on_time_s + _EDGE_GUARD_S)), None)

    @cached_property
    def off(self) -> NDArray[np.bool_]:
        """Which samples lie after the pulse."""
        return np.asarray(self.time_s >= self.on_time_s + _EDGE_GUARD_S)
