"""What a sound loom should measure, channel by channel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomproof.diagnose.expected.band import LimitBand
from loomproof.facts.estimate import Estimate


@dataclass(frozen=True)
class Expectations:
    """What is expected of every channel of one loom.

    `resistance` and `sisters` are in ohm as measured at the box (load, wire, feed); `inductance` in H. `input_sisters`
    vouch for logic inputs and never accuse one. `source_ohm` is the supply's resistance by all loads together, where
    none of them sees it finely alone.
    """

    temperature_c: Estimate
    resistance: Mapping[int, LimitBand] = field(default_factory=dict)
    sisters: Mapping[int, LimitBand] = field(default_factory=dict)
    baseline: Mapping[int, LimitBand] = field(default_factory=dict)
    inductance: Mapping[int, LimitBand] = field(default_factory=dict)
    inductance_sisters: Mapping[int, LimitBand] = field(default_factory=dict)
    steady: Mapping[int, LimitBand] = field(default_factory=dict)
    input_sisters: Mapping[int, LimitBand] = field(default_factory=dict)
    source_ohm: Estimate | None = None

    def bands(self, channel: int) -> tuple[LimitBand, ...]:
        """Every band of a channel's resistance."""
        return tuple(m[channel] for m in (self.resistance, self.sisters, self.baseline) if channel in m)

    def tightest_resistance(self, channel: int) -> LimitBand | None:
        """The narrowest of the bands known for a channel."""
        return min(self.bands(channel), key=lambda b: b.high - b.low, default=None)
