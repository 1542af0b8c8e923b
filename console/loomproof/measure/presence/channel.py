"""The sequential test of one channel: its template, its cumulative sums, its state."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from statistics import median

from loomproof.facts.presence import LoadPresence, Reading

_SEPARATION = 2.0  # sigma between load and no load from which a measure takes part at all
_VISIBLE = 16.0  # (sigma)^2 that all measures together need, else the channel is blind
_ELSEWHERE_SHARE = 0.02  # chance that a pin without its load rests on something else than the bias
_PIN_RANGE_V = 20.0  # over which a wild reading may lie
_CURRENT_RANGE_A = 2.0
_MODEL_SHARE = 0.01  # of the span: what the template's law leaves unexplained
_MAD = 1.4826


def _normal(x: float, mean: float, sigma: float) -> float:
    z = (x - mean) / sigma
    return math.exp(-0.5 * z * z) / (sigma * math.sqrt(2.0 * math.pi)) if abs(z) < 38.0 else 0.0


def _scatter_u(noise: float, errors: list[float]) -> float:
    """Noise as stated and as seen, half each in variance: a few readings are a poor measure of their scatter."""
    seen = _MAD * median(abs(error) for error in errors)
    return max(noise, math.sqrt(0.5 * (noise**2 + seen**2)), 1e-9)


@dataclass
class Measure:
    """One thing read of a channel, over its range: where it lies with the load and where without.

    `per_supply` is the part of the level that goes with the supply, 0 or 1.
    """

    level: float
    absent: float
    sigma: float
    supply_v: float
    per_supply: float
    span_of_wild: float

    def with_load(self, supply_v: float) -> float:
        """Expected reading at that supply."""
        return self.level * (1.0 + self.per_supply * (supply_v / self.supply_v - 1.0))

    def separation(self) -> float:
        """Sigma between load and no load."""
        return abs(self.level - self.absent) / self.sigma

    def weight(self, value: float, supply_v: float, noise: float, wild: float) -> tuple[float, bool]:
        """Weighs one reading.

        Args:
            value: as read.
            supply_v: the supply of the same scan.
            noise: standard uncertainty of one reading.
            wild: share of readings that mean nothing.

        Returns:
            Log of p(no load) / p(load), and whether the reading fits neither.
        """
        with_load = self.with_load(supply_v)
        sigma = max(self.sigma, noise, _MODEL_SHARE * abs(with_load - self.absent))
        floor = 1.0 / self.span_of_wild
        load = (1.0 - wild) * _normal(value, with_load, sigma) + wild * floor
        bare = (1.0 - _ELSEWHERE_SHARE) * _normal(value, self.absent, max(noise, sigma / 3.0))
        neither = bare < floor and load < 2.0 * wild * floor
        return math.log((bare + _ELSEWHERE_SHARE * floor) / load), neither

    def follow(self, value: float, supply_v: float, noise: float, gain: float) -> None:
        """Follows the load's drift, and the scatter as it is now; one reading moves either by a bounded amount.

        Args:
            value: as read.
            supply_v: the supply of the same scan.
            noise: standard uncertainty of one reading.
            gain: share of a difference that is taken over.
        """
        error = value / (1.0 + self.per_supply * (supply_v / self.supply_v - 1.0)) - self.level
        bounded = min(max(error, -3.0 * self.sigma), 3.0 * self.sigma)
        self.level += gain * bounded
        self.sigma = max(noise, math.sqrt(self.sigma**2 + gain * (bounded**2 - self.sigma**2)))


@dataclass
class ChannelTest:
    """One channel. `learning_scans`, `wild` and `gain` as in `PresenceDesign`."""

    learning_scans: int
    wild: float
    gain: float
    state: LoadPresence = LoadPresence.LEARNING
    elsewhere: bool = False
    _learned_from: list[tuple[float, float, float | None]] = field(default_factory=list)
    _measures: dict[str, Measure] = field(default_factory=dict)
    _sum: float = 0.0
    _odd: int = 0
    _rest_v: float = 0.0
    _arrived: bool = False

    @property
    def turning(self) -> bool:
        """Whether evidence against the present state has begun to gather."""
        return self._sum > 0.0

    def doubt(self) -> None:
        """Forget what has gathered: the last readings were worth nothing."""
        self._sum, self._odd = 0.0, 0
        if self.state is LoadPresence.LEARNING:
            self._learned_from.clear()

    def feed(self, supply_v: float, reading: Reading, threshold: float) -> bool:
        """Take in one reading; True when the load went or came back with it."""
        if self.state is LoadPresence.LEARNING:
            self._learned_from.append((supply_v, reading.drain_v, reading.current_a))
            if len(self._learned_from) >= self.learning_scans:
                return self._learn(reading) and self._arrived
            return False
        if self.state is LoadPresence.BLIND:
            self._await_load(reading, threshold)
            return False
        return self._compare(supply_v, reading, threshold)

    def _learn(self, reading: Reading) -> bool:
        """Make the template from the first readings; True when it shows a load."""
        supplies, pins, currents = zip(*self._learned_from, strict=True)
        supply = median(supplies)
        pin = median(pins)
        scatter = [
            p - pin * (s / supply if pin > reading.bias_v else 1.0)
            for s, p in zip(supplies, pins, strict=True)
        ]
        u_pin = _scatter_u(reading.drain_u_v, scatter)
        # A pin held by the supply goes with it; one held at ground or by a regulator does not.
        goes = 1.0 if abs(pin / supply - 1.0) < 0.1 else 0.0
        found = {"pin": Measure(pin, reading.bias_v, u_pin, supply, goes, _PIN_RANGE_V)}
        sensed = [c for c in currents if c is not None]
        if len(sensed) == len(currents):
            level = median(sensed)
            u = _scatter_u(reading.current_u_a, [c - level for c in sensed])
            found["current"] = Measure(level, 0.0, u, supply, 1.0, _CURRENT_RANGE_A)
        self._measures = {k: m for k, m in found.items() if m.separation() > _SEPARATION}
        seen = sum(m.separation() ** 2 for m in self._measures.values())
        self.state = LoadPresence.PRESENT if seen >= _VISIBLE else LoadPresence.BLIND
        self._rest_v = pin
        self._learned_from.clear()
        self._sum, self._odd = 0.0, 0
        return seen >= _VISIBLE

    def _readings(self, reading: Reading) -> list[tuple[Measure, float, float]]:
        out = []
        if "pin" in self._measures:
            out.append((self._measures["pin"], reading.drain_v, reading.drain_u_v))
        if "current" in self._measures and reading.current_a is not None:
            out.append((self._measures["current"], reading.current_a, reading.current_u_a))
        return out

    def _compare(self, supply_v: float, reading: Reading, threshold: float) -> bool:
        rows = self._readings(reading)
        if not rows:
            return False
        wild = self.wild
        weighed = [m.weight(value, supply_v, noise, wild) for m, value, noise in rows]
        against_load = sum(w for w, _ in weighed)
        towards = against_load if self.state is LoadPresence.PRESENT else -against_load
        self._sum = max(0.0, self._sum + towards)
        self._odd = self._odd + 1 if self._sum > 0.0 and all(odd for _, odd in weighed) else 0
        if self._sum < threshold:
            if self.state is LoadPresence.PRESENT and self._sum == 0.0:
                for measure, value, noise in rows:
                    measure.follow(value, supply_v, noise, self.gain)
            return False
        self.elsewhere = self.state is LoadPresence.PRESENT and self._odd > 0
        self.state = LoadPresence.LOST if self.state is LoadPresence.PRESENT else LoadPresence.PRESENT
        self._sum, self._odd = 0.0, 0
        return True

    def _await_load(self, reading: Reading, threshold: float) -> None:
        """A blind channel whose pin leaves its place for good has got a load: learn that, and say it is there."""
        noise = max(reading.drain_u_v, 1e-6)
        floor = 1.0 / _PIN_RANGE_V
        bare = (1.0 - self.wild) * _normal(reading.drain_v, self._rest_v, 2.0 * noise) + self.wild * floor
        self._sum = max(0.0, self._sum + math.log(floor / bare))
        if self._sum >= threshold and abs(reading.drain_v - self._rest_v) > 5.0 * noise:
            self.state, self._arrived = LoadPresence.LEARNING, True
            self._learned_from.clear()
