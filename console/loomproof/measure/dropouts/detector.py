"""Short breaks of one watched load, while someone bends the loom: a bank of matched filters (pure, streaming).

The watched value is the current of a held load, or how far the pin of an idle one rests from the box's bias.
What the supply does to it is taken off (regressed while learning, with the load's own lag); what is left is
looked at through boxes from one sample to 10 ms and through decays, each over its own sigma. The level they are
held against follows from the wanted false alarms, assuming normal noise whose neighbours correlate as each filter
makes them; `benchmarks/detectors.py` measures what comes of that with rounding and ripple.

Samples are worked off in blocks of a fixed number, so how they arrive changes nothing in the answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loomproof.facts.dropout import SeenDropout, Watched
from loomproof.measure.dropouts.fall import Fall, Hit
from loomproof.measure.dropouts.filters import Filter, normal_level, shapes
from loomproof.measure.dropouts.law import Follower, Law, bulk_mean, learn_law, robust_sigma

Floats = NDArray[np.float64]


_SOURCE_OHM = 0.6  # the most that a supply rises by when the load's own current stops, per ampere
_DRIFT_S = 2.0
_LASTING_S = 2.0
"""A fall that stays this long without being a full one is the load's new value, not a break."""
_FULL = 0.5


@dataclass(frozen=True, slots=True)
class DropoutDesign:
    """What the detector is built for.

    Attributes:
        false_alarms_per_10_min: wanted mean number with a sound load.
        skip_s: after the start, for the current to settle.
        learn_s: then, for the load's law and the noise; breaks in it count as noise as far as they are rare.
        block_s: the answer's delay.
    """

    false_alarms_per_10_min: float = 0.1
    skip_s: float = 0.1
    learn_s: float = 1.0
    block_s: float = 0.05


@dataclass
class DropoutDetector:
    """Feed it samples in any portions; it returns the breaks that ended in them.

    Args:
        sample_hz: samples per second, evenly spaced.
        watched: what the values are.
        bias_v: where an unconnected pin rests; for `Watched.PIN`.
        sample_u: standard uncertainty of one sample; the noise is never taken to be less.
        design: wanted false alarms and the like.
    """

    sample_hz: float
    watched: Watched = Watched.CURRENT
    bias_v: float = 2.5
    sample_u: float = 0.0
    design: DropoutDesign = field(default_factory=DropoutDesign)

    def __post_init__(self) -> None:
        """Sizes in samples.

        Raises:
            ValueError: a sample rate that no filter fits.
        """
        if not 500.0 <= self.sample_hz <= 100_000.0:
            raise ValueError(f"500 to 100000 samples per second, not {self.sample_hz:g}")
        hz, design = self.sample_hz, self.design
        self._bank = shapes(hz)
        self._skip, self._learn_n = round(design.skip_s * hz), max(round(design.learn_s * hz), 64)
        self._block = max(round(design.block_s * hz), 16)
        self._reach = self._bank[-1].length
        self._normal = normal_level(self._bank, hz, design.false_alarms_per_10_min)
        self._values = np.empty(0)
        self._supplies = np.empty(0)
        self._done = 0  # samples worked off
        self._filters: list[Filter] = []
        self._follower: Follower | None = None
        self._sigma = 0.0
        self._tail = np.zeros(0)  # what was left in the samples before
        self._tail_due = np.zeros(0)
        self._fall: Fall | None = None
        self._moved = 0.0  # by how much this block made the expectation follow a lasting fall
        self.unseen_s = 0.0
        """Time in which the supply was too wild for anything to be said."""

    @property
    def learning(self) -> bool:
        """Whether the load's law is still to be learned."""
        return self._follower is None

    @property
    def law(self) -> Law | None:
        """The learned law."""
        return None if self._follower is None else self._follower.law

    @property
    def away(self) -> bool:
        """Whether a fall is under way now."""
        return self._fall is not None

    @property
    def levels(self) -> dict[str, tuple[float, float]]:
        """Sigma and level of each filter, in the unit of the watched value (at its output)."""
        return {f.shape.name: (f.sigma, f.level(self._normal)) for f in self._filters}

    @property
    def least_depth(self) -> float:
        """Share of the value by which one sample must fall to be seen; infinite while learning."""
        if self._follower is None:
            return math.inf
        one = self._filters[0]
        return one.level(self._normal) * one.sigma / abs(self._follower.law.level)

    def feed(self, values: ArrayLike, supplies: ArrayLike) -> list[SeenDropout]:
        """Take in samples.

        Args:
            values: (n,) watched value.
            supplies: (n,) supply at the same instants, V.

        Raises:
            ValueError: the two differ in length.
        """
        new, supply = (np.asarray(a, dtype=np.float64).ravel() for a in (values, supplies))
        if new.size != supply.size:
            raise ValueError(f"{new.size} values but {supply.size} supply readings")
        self._values = np.concatenate((self._values, new))
        self._supplies = np.concatenate((self._supplies, supply))
        if self._follower is None and not self._begin():
            return []
        found: list[SeenDropout] = []
        while self._values.size >= self._block:
            found += self._take(self._block)
        return found

    def close(self) -> list[SeenDropout]:
        """Work off what is left at the end of the watch; a fall under way is reported as lasting."""
        found = self._take(self._values.size) if self._follower is not None and self._values.size else []
        if self._fall is not None:
            found += self._fall.dropouts(self._sigma, lasting=self._fall.still_down(self._sigma))
            self._fall = None
        return found

    def _begin(self) -> bool:
        """Learn, once enough is there; the samples learned from are not judged."""
        needed = self._skip + self._learn_n
        if self._values.size < needed:
            return False
        part = slice(self._skip, needed)
        values, supplies = self._values[part], self._supplies[part]
        level, supply = bulk_mean(values), bulk_mean(supplies)
        rise_v = _SOURCE_OHM * abs(level) if self.watched is Watched.CURRENT else 0.1 * supply
        law = learn_law(values, supplies, self.sample_hz, self._slow_gain(level, supply), rise_v)
        follower = Follower(law, self.sample_hz)
        rest, due, _ = follower.run(values, supplies)
        settled = rest[rest.size // 4 :]
        follower.shift = bulk_mean(settled)
        settled = settled - follower.shift
        self._sigma = max(robust_sigma(settled), self.sample_u)
        self._filters = [Filter(shape, settled, self.sample_hz, self.sample_u) for shape in self._bank]
        self._tail, self._tail_due = settled[-self._reach :], due[-self._reach :]
        self._follower = follower
        self._done = needed
        self._values, self._supplies = self._values[needed:], self._supplies[needed:]
        return True

    def _slow_gain(self, level: float, supply: float) -> float:
        """How the value goes with a slow change of supply, relative to it: a current in proportion."""
        if self.watched is Watched.CURRENT:
            return 1.0
        held_up = abs(level + self.bias_v - supply) < 0.1 * supply
        return supply / level if held_up and level else 0.0

    def _take(self, count: int) -> list[SeenDropout]:
        assert self._follower is not None
        values, self._values = self._values[:count], self._values[count:]
        supplies, self._supplies = self._supplies[:count], self._supplies[count:]
        rest, due, wild = self._follower.run(values, supplies)
        rest = np.where(wild, 0.0, rest)
        self.unseen_s += float(np.count_nonzero(wild)) / self.sample_hz
        hit = self._search(rest)
        quiet = self._fall is None and not hit
        self._moved = 0.0
        found = self._follow_fall(rest, due, hit)
        rest = rest - self._moved
        if quiet and not wild.any():
            gain = count / (_DRIFT_S * self.sample_hz)
            self._follower.shift += gain * float(np.clip(bulk_mean(rest), -self._sigma, self._sigma))
        self._tail = np.concatenate((self._tail, rest))[-self._reach :]
        self._tail_due = np.concatenate((self._tail_due, due))[-self._reach :]
        self._done += count
        return found

    def _search(self, rest: Floats) -> list[Hit]:
        """Every stretch of filter outputs beyond their level in this block, in order of time."""
        hits: list[Hit] = []
        for item in self._filters:
            z = -item.run(self._tail, rest)
            beyond = np.flatnonzero(z > item.level(self._normal))
            if not beyond.size:
                if self._fall is None:
                    item.adapt(z)
                continue
            for run in np.split(beyond, np.flatnonzero(np.diff(beyond) > 1) + 1):
                peak = int(run[int(np.argmax(z[run]))])
                ends = (self._done + int(run[0]), self._done + peak, self._done + int(run[-1]))
                hits.append(Hit(*ends, item.shape.length, float(z[peak]), item.shape.name))
        return sorted(hits, key=lambda hit: (hit.first, hit.length))

    def _follow_fall(self, rest: Floats, due: Floats, hits: list[Hit]) -> list[SeenDropout]:
        """Open, lengthen or close the fall. One at a time: those nearer than the longest filter are one."""
        found: list[SeenDropout] = []
        for hit in hits:
            if self._fall is not None and hit.first - self._fall.last_hit > self._reach:
                self._fall.add(rest, due)
                found += self._fall.dropouts(self._sigma)
                self._fall = None
            if self._fall is None:
                begin = self._done - self._tail.size
                self._fall = Fall(
                    hit.first - hit.length + 1,
                    hit.last,
                    begin,
                    [self._tail],
                    [self._tail_due],
                    self.sample_hz,
                )
            self._fall.take(hit)
        fall = self._fall
        if fall is None:
            return found
        fall.add(rest, due)
        after = self._done + rest.size
        if after - fall.last_hit > self._reach:
            self._fall = None
            return found + fall.dropouts(self._sigma)
        if after - fall.first > _LASTING_S * self.sample_hz:
            found += self._settle_or_wait(fall)
        return found

    def _settle_or_wait(self, fall: Fall) -> list[SeenDropout]:
        """A fall that lasts: wait on while it is a full one, else take it as the load's new value."""
        rest, due = fall.rest[-1], fall.due[-1]
        if -float(np.median(rest)) > _FULL * abs(float(np.median(due))):
            return []
        assert self._follower is not None
        self._moved = bulk_mean(rest)
        self._follower.shift += self._moved
        self._fall = None
        return fall.dropouts(self._sigma, lasting=True)


def least_depth(
    level: float, sample_u: float, sample_hz: float, *, false_alarms_per_10_min: float = 0.1
) -> float:
    """Smallest share of the watched value to ask a box for that compares single samples with a fixed level.

    Args:
        level: the settled value.
        sample_u: standard uncertainty of one sample of it, ripple of the supply included as far as it is not
            taken off.
        sample_hz: samples per second.
        false_alarms_per_10_min: wanted mean number.
    """
    if level <= 0.0:
        raise ValueError("the watched value must be above zero")
    single = shapes(sample_hz)[:1]
    return min(normal_level(single, sample_hz, false_alarms_per_10_min) * sample_u / level, 1.0)


__all__ = ["DropoutDesign", "DropoutDetector", "Law", "SeenDropout", "Watched", "least_depth"]
