"""Arming of the hazard classes, each with its expiry."""

from collections.abc import Callable

from loomproof_sim.controller.ports import NEVER_NS
from loomproof_wire.messages import DisarmReason, Hazard

HAZARDS = tuple(hazard for hazard in Hazard if hazard is not Hazard.NONE)


class Arming:
    """Keeps which hazard classes may be driven, and until when.

    Args:
        lost: called for each class that loses its arming.
    """

    def __init__(self, lost: Callable[[Hazard, DisarmReason], None]) -> None:
        self._until_ns: dict[Hazard, int] = {}
        self._lost = lost

    def arm(self, hazard: Hazard, until_ns: int) -> None:
        """Arm a class; a new arming replaces the old one, be it longer or shorter."""
        self._until_ns[hazard] = until_ns

    def armed(self, hazard: Hazard, now_ns: int) -> bool:
        """Return whether a class is armed now; at its expiry it no longer is."""
        return now_ns < self._until_ns.get(hazard, -1)

    def missing(self, hazards: frozenset[Hazard], now_ns: int) -> Hazard | None:
        """Return the first class of `hazards` that is not armed."""
        return next((hazard for hazard in sorted(hazards) if not self.armed(hazard, now_ns)), None)

    def drop(self, hazard: Hazard, reason: DisarmReason) -> None:
        """Disarm one class."""
        if self._until_ns.pop(hazard, None) is not None:
            self._lost(hazard, reason)

    def drop_all(self, reason: DisarmReason) -> None:
        """Disarm every class."""
        for hazard in HAZARDS:
            self.drop(hazard, reason)

    def expire(self, now_ns: int) -> None:
        """Disarm the classes whose time is up."""
        for hazard in HAZARDS:
            if self._until_ns.get(hazard, NEVER_NS) <= now_ns:
                self.drop(hazard, DisarmReason.EXPIRED)

    def next_ns(self) -> int:
        """Return the next expiry."""
        return min(self._until_ns.values(), default=NEVER_NS)

    def left_ms(self, now_ns: int) -> tuple[int, ...]:
        """Return the time left of each class, rounded up; 0 = not armed."""
        return tuple(
            max(0, -((now_ns - self._until_ns.get(hazard, now_ns)) // 1_000_000)) for hazard in HAZARDS
        )

    def mask(self) -> int:
        """Return the armed classes as bits; bit n is hazard n."""
        return sum(1 << hazard for hazard in self._until_ns)
