"""The hands at the simulated loom, as `loomproof prove` uses them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
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


class OtherLoomError(Exception):
    """The simulated loom has no such place: it is not that of the job."""


@contextmanager
def at_the_jobs_loom() -> Iterator[None]:
    """Hands that find no such place at the simulated loom end the work with a plain word.

    Raises:
        OtherLoomError: the box simulates another loom than the job's.
    """
    try:
        yield
    except ValueError as error:  # what hands raise stands in the simulator, which is not imported here
        text = f"the simulated loom is not that of this job ({error}); give --box the same job: sim://JOB"
        raise OtherLoomError(text) from error
