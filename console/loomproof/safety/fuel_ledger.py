"""How much fuel would have been let out since somebody last checked, were the isolation wrong (pure).

One train's limit is worth little if it can be repeated: what each place would have received adds up until a
statement shows that the fuel was checked again (`FUEL_ISOLATED` or `CYLINDERS_AIRED`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from loomproof.safety.statements import StatementKind

CLEARING = frozenset({StatementKind.FUEL_ISOLATED, StatementKind.CYLINDERS_AIRED})


@dataclass(frozen=True)
class FuelLedger:
    """Liquid in uL by place. Immutable."""

    by_place: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def at(self, place: str) -> float:
        """Liquid in uL that a place would have received."""
        return self.by_place.get(place, 0.0)

    def with_drive(self, place: str, liquid_ul: float) -> FuelLedger:
        """The ledger after a train that would release that much.

        Raises:
            ValueError: the liquid is negative.
        """
        if liquid_ul < 0.0:
            raise ValueError("liquid is not taken back by a train")
        if liquid_ul == 0.0:
            return self
        return FuelLedger(MappingProxyType({**self.by_place, place: self.at(place) + liquid_ul}))

    def with_statement(self, kind: StatementKind) -> FuelLedger:
        """The ledger after a statement: empty when it says that the fuel was checked again."""
        return FuelLedger() if kind in CLEARING else self
