"""The hands at the simulated loom, as `loomproof prove` uses them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol


class ProveHands(Protocol):
    """What the simulated operator and the simulated walker do with hands, ears and eyes."""

    def pull(self, place: int | str) -> None:
        """Pull a connector."""

    def seat(self, place: int | str) -> None:
        """Seat it."""

    def wiggle(self, place: int | str, duration_s: float = 1.0, severity: float = 1.0) -> None:
        """Wiggle the loom."""

    def noticed(self, place: int | str, driven: Iterable[int]) -> bool:
        """Whether anything was noticed at a place when these channels were last driven."""
