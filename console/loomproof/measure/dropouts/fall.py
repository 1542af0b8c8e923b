"""One fall of a watched value, from its first hit to the dropouts in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.dropout import SeenDropout

Floats = NDArray[np.float64]


_CLEAR = 12.0  # sigma of one sample from which a break's own samples place and measure it
_APART = 2  # samples back in between from which two breaks are two


@dataclass(frozen=True, slots=True)
class Hit:
    """Outputs of one filter beyond its level, by the sample at which each look-back ends."""

    first: int
    peak: int
    last: int
    length: int
    sigma: float
    name: str


@dataclass
class Fall:
    """A fall under way: samples from `first` on (counted from the start), and where it was seen best."""

    first: int
    last_hit: int
    begin: int
    rest: list[Floats]
    due: list[Floats]
    sample_hz: float
    strength: float = 0.0
    seen_by: str = ""
    span: tuple[int, int] = (0, 0)

    def add(self, rest: Floats, due: Floats) -> None:
        """The samples of one more block."""
        self.rest.append(rest)
        self.due.append(due)

    def take(self, hit: Hit) -> None:
        """One more hit of the same fall."""
        self.first = min(self.first, hit.first - hit.length + 1)
        self.last_hit = max(self.last_hit, hit.last)
        if hit.sigma > self.strength:
            self.strength, self.seen_by = hit.sigma, hit.name
            if hit.last - hit.first < hit.length:
                self.span = (hit.peak - hit.length + 1, hit.peak + 1)
            else:  # longer than the filter: it answers from half in to half out
                self.span = (hit.first - hit.length // 2, hit.last + 1 - hit.length // 2)
        elif hit.name == self.seen_by and hit.last - hit.first >= hit.length:
            self.span = (self.span[0], hit.last + 1 - hit.length // 2)

    def dropouts(self, sigma: float, *, lasting: bool = False) -> list[SeenDropout]:
        """The break or breaks that it was; `sigma` is that of one sample, `lasting` concerns the last."""
        rest, due = np.concatenate(self.rest), np.concatenate(self.due)
        first, last = max(self.first - self.begin, 0), min(self.last_hit + 1 - self.begin, rest.size)
        deepest = -float(rest[first:last].min())
        if (
            deepest <= _CLEAR * sigma
        ):  # noise is not far below: the span of the filter that saw it, and its mean
            start, stop = (min(max(x - self.begin, 0), rest.size) for x in self.span)
            return [self._one(due, start, stop, -float(rest[start:stop].mean()), lasting=lasting)]
        # Deep ones that the longest filter runs together are separated by the samples between them.
        low = first + np.flatnonzero(-rest[first:last] > 0.5 * _CLEAR * sigma)
        runs = np.split(low, np.flatnonzero(np.diff(low) > _APART) + 1)
        found = []
        for run in runs:
            depth = -float(rest[run].min())
            half = run[-rest[run] > 0.5 * depth]
            ends = int(half[0]), int(half[-1]) + 1
            found.append(self._one(due, *ends, depth, lasting=lasting and run is runs[-1]))
        return found

    def _one(self, due: Floats, start: int, stop: int, fallen: float, *, lasting: bool) -> SeenDropout:
        usual = abs(float(np.median(due[start:stop])))
        return SeenDropout(
            start_s=(self.begin + start) / self.sample_hz,
            length_s=(stop - start) / self.sample_hz,
            depth=min(max(fallen / usual, 0.0), 1.0) if usual else 1.0,
            strength=self.strength,
            seen_by=self.seen_by,
            lasting=lasting,
        )

    def still_down(self, sigma: float) -> bool:
        """Whether the last sample has not come back."""
        rest, due = self.rest[-1], self.due[-1]
        return bool(-rest[-1] > max(4.0 * sigma, 0.1 * abs(float(due[-1]))))
