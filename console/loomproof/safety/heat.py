"""How warm earlier drives have left each load (pure).

One train's limit is worth little if it can be repeated: what each winding has taken adds up and leaves again
with its time constant. All heat counts at once and at its worst, as the budgets do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Protocol

from loomproof.facts.approved_drive import Thermal
from loomproof.safety.physics import cooled_k


class HeatedLoad(Protocol):
    """A load that may warm."""

    @property
    def thermal(self) -> Thermal | None:
        """How it warms and cools; None: it has no thermal model."""
        ...


@dataclass(frozen=True, slots=True)
class Warmth:
    """A temperature rise over ambient in K, and when it was that."""

    rise_k: float
    at_s: float


@dataclass(frozen=True)
class HeatLedger:
    """Temperature rise by channel. Immutable."""

    by_channel: Mapping[int, Warmth] = field(default_factory=lambda: MappingProxyType({}))

    def rise_k(self, channel: int, load: HeatedLoad, now_s: float) -> float:
        """What is left of a channel's rise, in K; 0 for loads without a thermal model."""
        warmth = self.by_channel.get(channel)
        if warmth is None or load.thermal is None:
            return 0.0
        thermal = load.thermal
        return cooled_k(warmth.rise_k, thermal.r_th_k_per_w, thermal.c_j_per_k, now_s - warmth.at_s)

    def with_drive(
        self, channel: int, load: HeatedLoad, heat_j: float, begins_s: float, duration_s: float
    ) -> HeatLedger:
        """The ledger after a drive that leaves that much heat.

        What the drive brings is counted whole at its end, as if none of it left meanwhile.

        Args:
            channel: the load's channel.
            load: the load.
            heat_j: the heat that the drive leaves in it, in J.
            begins_s: when the drive begins, in s.
            duration_s: how long it takes, in s.

        Raises:
            ValueError: the heat is negative.
        """
        if heat_j < 0.0:
            raise ValueError("a drive takes no heat away")
        if load.thermal is None:
            return self
        ends_s = begins_s + duration_s
        rise_k = self.rise_k(channel, load, ends_s) + heat_j / load.thermal.c_j_per_k
        return HeatLedger(MappingProxyType({**self.by_channel, channel: Warmth(rise_k, ends_s)}))
