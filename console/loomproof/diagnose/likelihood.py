"""How well a set of faults explains what was seen: a probability model of every feature under every fault.

Words (where the pin rests, whether it moved, ...) have tables. Numbers (resistance, inductance) have
densities: parts of one type share a batch deviation within the catalogue's tolerance, each has a little of
its own, and a fault shifts them by an unknown amount that is summed over. All densities are per natural
logarithm, so faults compare fairly.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from loomproof.diagnose.expect import (
    COPPER_PER_K,
    LOGIC_KINDS,
    Expectations,
    copper_factor,
    direct_ohm,
    series_ohm,
)
from loomproof.diagnose.features import Conduct, Rest
from loomproof.diagnose.tables import TABLES, WordTable, fault_table, sound_table
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.faults import FaultKind
from loomproof.job.kinds import LoadKind
from loomproof.measure.quantities import Estimate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from loomproof.diagnose.features import Features
    from loomproof.diagnose.hypotheses import Hypothesis
    from loomproof.job.catalogue import LoadType
    from loomproof.job.model import Job

    Floats = NDArray[np.float64]

_BATCHES = 61
_BROAD = -math.log(math.log(1e6))  # a quantity about which nothing is known: flat over six decades
_OUTLIER = 0.002
_USELESS = 0.5  # relative uncertainty from which a number says nothing
_OWN_OHM, _OWN_HENRY = 0.015, 0.04
_OWN_STEADY = 0.05
_OWN_BY_KIND = {LoadKind.MOTOR: 0.12, LoadKind.LAMP: 0.05, LoadKind.COIL: 0.03}
_ADDED = np.geomspace(0.02, 100.0, 56)  # ohm
_ADDED_LOG_WEIGHT = -math.log(_ADDED.size)
_LOST_TURNS = np.linspace(0.03, 0.5, 24)
_WEAK_SOURCE = (math.log(0.6), 0.7)
_SOUND_SOURCE = (math.log(0.04), 0.7)


def logsumexp(values: Floats, axis: int | None = None) -> Floats:
    """Logarithm of the sum of exponentials: numpy's own reduction, a tenth of scipy's cost on small arrays."""
    return np.asarray(np.logaddexp.reduce(values, axis=axis))


def _normal(x: Floats | float, mean: Floats | float, sigma: Floats | float) -> Floats:
    z = (np.asarray(x) - mean) / sigma
    return np.asarray(-0.5 * z * z - np.log(sigma) - 0.5 * math.log(2.0 * math.pi))


def _with_outliers(log_density: Floats) -> Floats:
    return np.asarray(np.logaddexp(math.log1p(-_OUTLIER) + log_density, math.log(_OUTLIER) + _BROAD))


@lru_cache(maxsize=256)
def batch_grid(tolerance: float) -> tuple[Floats, Floats]:
    """Relative batch deviations and their log weights: flat within the tolerance, quickly falling outside."""
    grid = np.linspace(-1.5 * tolerance, 1.5 * tolerance, _BATCHES)
    beyond = np.maximum(np.abs(grid) - tolerance, 0.0)
    log_weight = -0.5 * (beyond / (0.08 * tolerance)) ** 2
    return grid, np.asarray(log_weight - logsumexp(log_weight))


_GroupKey = tuple[str, tuple[int, ...], tuple[tuple["Hypothesis", ...], ...]]


@dataclass(frozen=True)
class _Shape:
    """What one set of faults makes of one channel."""

    words: WordTable
    load: LoadType
    own_batch: bool = True  # the load is one of its type's batch on this loom
    added: bool = False
    lost_turns: bool = False
    low: bool = False  # resistance anywhere below half
    unknown_type: bool = False
    beside: LoadType | None = None
    moved_elsewhere: int | None = None
    garbled: bool = False  # what flows is not the load's current, so its numbers mean nothing
    foreign: bool = False  # measured by the estimator of another kind of load


@dataclass
class Scorer:
    """Scores sets of hypotheses against one loom's features."""

    job: Job
    expected: Expectations
    features: Mapping[int, Features]
    _words: dict[tuple[int, tuple[Hypothesis, ...]], float] = field(default_factory=dict)
    _ohms: dict[tuple[int, tuple[Hypothesis, ...]], Floats] = field(default_factory=dict)
    _henries: dict[tuple[int, tuple[Hypothesis, ...]], Floats] = field(default_factory=dict)
    _groups: dict[_GroupKey, float] = field(default_factory=dict)
    _weak_groups: dict[_GroupKey, Floats] = field(default_factory=dict)

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Channels by load type: they share a batch."""
        by_type: dict[str, list[int]] = {}
        for channel in self.features:
            item = self.job.channel(channel)
            by_type.setdefault(f"{item.load}|{item.override}", []).append(channel)
        return tuple(tuple(v) for v in by_type.values())

    def score(self, faults: frozenset[Hypothesis]) -> float:
        """Log posterior (up to a constant) of exactly these faults."""
        total = sum(h.log_prior for h in faults) + self._source(faults)
        touched: dict[int, tuple[Hypothesis, ...]] = {}
        for fault in sorted(faults, key=_rank):
            for channel in fault.channels:
                touched[channel] = (*touched.get(channel, ()), fault)
        total += self._sound_words
        for channel, own in touched.items():
            total += self._word_score(channel, own) - self._word_score(channel, ())
        weak = [h for h in faults if h.kind is FaultKind.FEED_WEAK]
        return total + self._number_score(touched, weak)

    @cached_property
    def _sound_words(self) -> float:
        return sum(self._word_score(c, ()) for c in self.features)

    def _number_score(
        self, touched: Mapping[int, tuple[Hypothesis, ...]], weak: Sequence[Hypothesis]
    ) -> float:
        """Sum over batches (and over the one resistance of each weak feed) of the product over channels."""
        fed = {c: h.feed or "" for h in weak for c in h.channels}
        total = 0.0
        per_feed: dict[str, Floats] = {}
        for group in self.groups:
            key = tuple(touched.get(c, ()) for c in group)
            total += self._group_henries(group, key)
            feed = next((fed[c] for c in group if c in fed), None)
            if feed is None:
                total += self._group_ohms(group, key)
            else:
                # A group fed by two weak feeds takes the first's resistance.
                per_feed[feed] = per_feed.get(feed, np.zeros(_ADDED.size)) + self._weak_group(group, key, fed)
        return total + sum(float(logsumexp(rows + _ADDED_LOG_WEIGHT)) for rows in per_feed.values())

    def _group_henries(self, group: tuple[int, ...], faults: tuple[tuple[Hypothesis, ...], ...]) -> float:
        key = ("L", group, faults)
        if key not in self._groups:
            rows = sum((self._henry(c, f) for c, f in zip(group, faults, strict=True)), np.zeros(_BATCHES))
            self._groups[key] = float(logsumexp(rows + self._henry_weights(group[0])))
        return self._groups[key]

    def _group_ohms(self, group: tuple[int, ...], faults: tuple[tuple[Hypothesis, ...], ...]) -> float:
        key = ("R", group, faults)
        if key not in self._groups:
            rows = sum((self._ohm(c, f) for c, f in zip(group, faults, strict=True)), np.zeros(_BATCHES))
            self._groups[key] = float(logsumexp(rows + self._ohm_weights(group[0])))
        return self._groups[key]

    def _weak_group(
        self, group: tuple[int, ...], faults: tuple[tuple[Hypothesis, ...], ...], fed: Mapping[int, str]
    ) -> Floats:
        """One value for each possible resistance of the feed."""
        key = ("W", group, faults)
        if key not in self._weak_groups:
            rows = np.zeros((_ADDED.size, _BATCHES))
            for channel, own in zip(group, faults, strict=True):
                rows = rows + (
                    self._weak_ohm(channel, own) if channel in fed else self._ohm(channel, own)[None, :]
                )
            self._weak_groups[key] = np.asarray(
                logsumexp(rows + self._ohm_weights(group[0])[None, :], axis=1)
            )
        return self._weak_groups[key]

    # -- words ---------------------------------------------------------------------------------------------------

    def _word_score(self, channel: int, faults: tuple[Hypothesis, ...]) -> float:
        key = (channel, faults)
        if key not in self._words:
            shape = self.shape(channel, faults)
            words = shape.words.score(self.features[channel], shape.moved_elsewhere)
            self._words[key] = words + self._steady(channel, shape)
        return self._words[key]

    def _steady(self, channel: int, shape: _Shape) -> float:
        """The steady current of a lamp or a motor."""
        seen, band = self.features[channel].steady, self.expected.steady.get(channel)
        if seen is None or band is None or seen.value <= 0.0:
            return 0.0
        if shape.unknown_type:
            return 0.0  # judged together with the resistance
        if shape.garbled or shape.foreign or shape.low or shape.added or shape.beside:
            return _BROAD
        sigma = math.hypot((band.high - band.low) / (2.0 * math.sqrt(3.0) * band.middle), seen.relative)
        return float(_with_outliers(_normal(math.log(seen.value), math.log(band.middle), sigma)))

    def shape(self, channel: int, faults: tuple[Hypothesis, ...]) -> _Shape:
        """What these faults together make of a channel; the ones that hide the others last."""
        load = self.job.load_type(channel)
        shape = _Shape(sound_table(load), load)
        for fault in faults:
            shape = self._apply(channel, shape, fault)
        return shape

    def _apply(self, channel: int, shape: _Shape, fault: Hypothesis) -> _Shape:
        kind = fault.kind
        if kind is FaultKind.SWAPPED:
            k = fault.channels.index(channel)
            source, target = fault.channels[k - 1], fault.channels[(k + 1) % len(fault.channels)]
            load = self.job.load_type(source)
            words = replace(sound_table(load), pull=TABLES[kind].pull)
            foreign = load.kind is not shape.load.kind
            if foreign:
                words = replace(
                    words, moved=None, off_shape=None, noticed=None, conduct=self._conduct(channel, load)
                )
            return replace(
                shape,
                words=words,
                load=load,
                own_batch=load.key == shape.load.key,
                moved_elsewhere=target,
                foreign=foreign,
            )
        words = shape.words.under(fault_table(kind, shape.load))
        if kind is FaultKind.BRIDGED:
            other = next(c for c in fault.channels if c != channel)
            beside = self.job.load_type(other)
            both = self._conduct(channel, shape.load, beside)
            if both[Conduct.EXCESS] > 0.5:
                words = replace(words, conduct=both, noticed=None)
            return replace(shape, words=words, beside=beside)
        driven_high = shape.load.kind in LOGIC_KINDS
        flags: dict[FaultKind, dict[str, bool]] = {
            FaultKind.ADDED_RESISTANCE: {"added": True},
            FaultKind.SHORTED_TURNS: {"lost_turns": True},
            FaultKind.SHORT_TO_SUPPLY: {"garbled" if driven_high else "low": True},
            FaultKind.SHORT_ACROSS_LOAD: {"low": True},
            FaultKind.SUPPRESSION_REVERSED: {"low": True},
            FaultKind.WRONG_LOAD: {"unknown_type": True},
            FaultKind.SHORT_TO_GROUND: {"low" if driven_high else "garbled": True},
        }
        return replace(shape, words=words, **flags.get(kind, {}))  # type: ignore[arg-type]

    def _conduct(self, channel: int, *loads: LoadType) -> Mapping[str, float]:
        """Loads on a channel set up for another may together draw more than that channel's limit."""
        most = sum(13.5 / ohm.value for load in loads if (ohm := direct_ohm(load)))
        if most > self.job.load_type(channel).limits.max_current_a:
            return {Conduct.EXCESS: 0.9, Conduct.FLOWS: 0.09, Conduct.NONE: 0.01}
        return {Conduct.FLOWS: 0.95, Conduct.EXCESS: 0.03, Conduct.NONE: 0.02}

    # -- numbers -------------------------------------------------------------------------------------------------

    def _tolerance(self, load: LoadType) -> float:
        ohm = direct_ohm(load)
        share = (ohm.tolerance_percent if ohm else 50.0) / 100.0
        heat = (
            load.temperature_coefficient_per_k * self.expected.temperature_c.u
            if load.kind not in LOGIC_KINDS
            else 0.0
        )
        return math.hypot(share, 1.7 * heat)

    def _ohm_weights(self, channel: int) -> Floats:
        return batch_grid(self._tolerance(self.job.load_type(channel)))[1]

    def _henry_weights(self, channel: int) -> Floats:
        henry = self.job.load_type(channel).inductance_mh
        return batch_grid((henry.tolerance_percent if henry else 50.0) / 100.0)[1]

    def _base_ohm(self, channel: int, load: LoadType) -> tuple[Floats, float]:
        """Resistance over the batch grid as measured at the box, and its series part."""
        ohm = direct_ohm(load)
        grid, _ = batch_grid(self._tolerance(load))
        temperature = self.expected.temperature_c.value
        wire = series_ohm(self.job, channel) * copper_factor(temperature)
        value = ohm.value if ohm else 20.0
        factor = copper_factor(temperature, load.temperature_coefficient_per_k)
        return value * factor * (1.0 + grid) + wire + 0.02, wire

    def _sigma(self, load: LoadType, measured: Estimate, own: float) -> float:
        spread = _OWN_BY_KIND.get(load.kind, own)
        grid_step = 3.0 * self._tolerance(load) / (_BATCHES - 1) / 2.0
        return math.sqrt(spread**2 + measured.relative**2 + grid_step**2)

    def _ohm(self, channel: int, faults: tuple[Hypothesis, ...]) -> Floats:
        key = (channel, faults)
        if key not in self._ohms:
            self._ohms[key] = self._ohm_density(channel, self.shape(channel, faults))
        return self._ohms[key]

    def _ohm_density(self, channel: int, shape: _Shape) -> Floats:
        measured = self.features[channel].resistance
        if shape.unknown_type:
            return np.full(_BATCHES, self._types(channel))
        if measured is None or measured.value <= 0.0 or measured.relative > _USELESS:
            return np.zeros(_BATCHES)
        apart = self._ohm_apart(channel, shape, measured)
        if apart is not None:
            return np.full(_BATCHES, apart)
        x, load = math.log(measured.value), shape.load
        base, _ = self._base_ohm(channel, load)
        sigma = self._sigma(load, measured, _OWN_OHM)
        if shape.added:
            return _added_density(x, base, sigma)
        if shape.lost_turns:
            rows = _normal(x, np.log(base[:, None] * (1.0 - _LOST_TURNS[None, :])), sigma)
            return np.asarray(logsumexp(rows, axis=1) - math.log(_LOST_TURNS.size))
        density = _with_outliers(_normal(x, np.log(base), sigma))
        if shape.foreign:
            density = np.asarray(np.logaddexp(math.log(0.6) + density, math.log(0.4) + _BROAD))
        return density if shape.own_batch else np.full(_BATCHES, self._marginal(load, density))

    def _ohm_apart(self, channel: int, shape: _Shape, measured: Estimate) -> float | None:
        """Density where the batch of the channel's own load does not matter."""
        if shape.garbled:
            return _BROAD
        if shape.low:
            base, _ = self._base_ohm(channel, shape.load)
            return _flat(math.log(measured.value), math.log(0.01), math.log(0.3 * float(base.mean())))
        if shape.beside is not None:
            both = math.log(0.6) + self._parallel(channel, shape, measured)
            return float(np.logaddexp(both, math.log(0.4) + _BROAD))
        return None

    def _marginal(self, load: LoadType, density: Floats) -> float:
        return float(logsumexp(density + batch_grid(self._tolerance(load))[1]))

    def _weak_ohm(self, channel: int, faults: tuple[Hypothesis, ...]) -> Floats:
        """(feed ohm, batch) densities of one channel behind a weak feed."""
        measured = self.features[channel].resistance
        shape = self.shape(channel, faults)
        if (
            measured is None
            or measured.value <= 0.0
            or measured.relative > _USELESS
            or shape.garbled
            or shape.low
            or shape.unknown_type
            or shape.beside is not None
        ):
            return np.broadcast_to(self._ohm_density(channel, shape), (_ADDED.size, _BATCHES))
        base, _ = self._base_ohm(channel, shape.load)
        sigma = self._sigma(shape.load, measured, _OWN_OHM)
        return _with_outliers(
            _normal(math.log(measured.value), np.log(base[None, :] + _ADDED[:, None]), sigma)
        )

    def _parallel(self, channel: int, shape: _Shape, measured: Estimate) -> float:
        """Both loads in parallel; each within its own tolerance."""
        assert shape.beside is not None
        one, two = direct_ohm(shape.load), direct_ohm(shape.beside)
        if one is None or two is None:
            return _BROAD
        wire = series_ohm(self.job, channel)
        a, b = one.value + wire, two.value + wire
        both = a * b / (a + b)
        spread = (
            math.hypot(one.tolerance_percent * b, two.tolerance_percent * a)
            / (a + b)
            / 100.0
            / math.sqrt(3.0)
        )
        return float(
            _normal(math.log(measured.value), math.log(both), math.hypot(spread + 0.03, measured.relative))
        )

    def _types(self, channel: int) -> float:
        """Some other load of the catalogue, or one nobody knows; judged by resistance and inductance together."""
        measured, henry = self.features[channel].resistance, self.features[channel].inductance
        steady = self._steady_ratio(channel)
        if measured is None and henry is None and steady is None:
            return 0.0
        key = self.job.load_type(channel).key
        known = (measured is not None) + (henry is not None) + (steady is not None)
        scores = [math.log(0.3) + known * _BROAD]
        others = [t for t in {**CATALOGUE, **{t.key: t for t in self.job.loads}}.values() if t.key != key]
        for other in others:
            score = math.log(0.7 / len(others))
            if measured is not None:
                base, _ = self._base_ohm(channel, other)
                sigma = self._sigma(other, measured, _OWN_OHM)
                score += self._marginal(other, _normal(math.log(measured.value), np.log(base), sigma))
            if henry is not None:
                score += float(_henry_density(henry, other))
            if steady is not None:
                score += _steady_density(steady, other)
            scores.append(score)
        return float(logsumexp(scores))

    def _steady_ratio(self, channel: int) -> Estimate | None:
        """Steady current (A) brought to 13.5 V as the channel's own load would bring it."""
        seen, band = self.features[channel].steady, self.expected.steady.get(channel)
        due = self.job.load_type(channel).steady_current_a
        if seen is None or band is None or due is None or seen.value <= 0.0:
            return None
        factor = due.value / band.middle
        return Estimate(seen.value * factor, seen.u * factor)

    def _henry(self, channel: int, faults: tuple[Hypothesis, ...]) -> Floats:
        key = (channel, faults)
        if key not in self._henries:
            self._henries[key] = self._henry_shape(channel, self.shape(channel, faults))
        return self._henries[key]

    def _henry_shape(self, channel: int, shape: _Shape) -> Floats:
        measured, due = self.features[channel].inductance, shape.load.inductance_mh
        if measured is None or measured.value <= 0.0 or measured.relative > _USELESS or due is None:
            return np.zeros(_BATCHES)
        if shape.garbled or shape.foreign:
            return np.full(_BATCHES, _BROAD)
        if shape.unknown_type:
            return np.zeros(_BATCHES)  # judged together with the resistance
        x = math.log(measured.value)
        middle = math.log(due.value * 1e-3)
        if shape.low:
            return np.full(_BATCHES, _flat(x, middle - math.log(2e5), middle - math.log(40.0)))
        if shape.beside is not None:
            return np.full(_BATCHES, _flat(x, middle - math.log(200.0), middle + 2.0))
        if shape.lost_turns:
            return np.full(_BATCHES, _flat(x, middle - math.log(50.0), middle - 0.15))
        tolerance = due.tolerance_percent / 100.0
        grid, weights = batch_grid(tolerance)
        step = 3.0 * tolerance / (_BATCHES - 1) / 2.0
        sigma = math.sqrt(_OWN_HENRY**2 + measured.relative**2 + step**2)
        density = _with_outliers(_normal(x, middle + np.log1p(grid), sigma))
        if shape.own_batch:
            return density
        return np.full(_BATCHES, float(logsumexp(density + weights)))

    def _source(self, faults: frozenset[Hypothesis]) -> float:
        """The supply's resistance, seen best by the load that draws the most."""
        seen = [f.source_ohm for f in self.features.values() if f.source_ohm is not None]
        best = min(seen, key=lambda e: e.u, default=None)
        if best is None or best.u > 0.3:
            return 0.0
        value = max(best.value, 0.004)
        weak = any(h.kind is FaultKind.WEAK_SUPPLY for h in faults)
        mean, sigma = _WEAK_SOURCE if weak else _SOUND_SOURCE
        return float(_normal(math.log(value), mean, math.hypot(sigma, best.u / value)))


def _rank(fault: Hypothesis) -> tuple[int, str, tuple[int, ...]]:
    """Order of composing: what is wired where, then the load, then the path, then what hides everything."""
    order = {
        FaultKind.SWAPPED: 0,
        FaultKind.WRONG_LOAD: 1,
        FaultKind.SHORTED_TURNS: 2,
        FaultKind.STUCK_ARMATURE: 3,
        FaultKind.SUPPRESSION_MISSING: 4,
        FaultKind.ADDED_RESISTANCE: 5,
        FaultKind.INTERMITTENT: 6,
        FaultKind.BRIDGED: 7,
        FaultKind.FEED_WEAK: 8,
        FaultKind.OPEN: 10,
        FaultKind.FEED_OPEN: 11,
    }
    return order.get(fault.kind, 9), fault.kind.value, fault.channels


def _added_density(x: float, base: Floats, sigma: float) -> Floats:
    """Summed over the unknown resistance; a joint small against the load's own spread is no fault that can be named."""
    rows = _normal(x, np.log(base[:, None] + _ADDED[None, :]), sigma)
    return np.asarray(logsumexp(rows, axis=1) + _ADDED_LOG_WEIGHT)


def _flat(x: float, low: float, high: float) -> float:
    """Uniform per natural logarithm between two bounds, falling off beyond them."""
    beyond = max(low - x, x - high, 0.0)
    return -math.log(max(high - low, 0.1)) - 0.5 * (beyond / 0.2) ** 2


def _steady_density(measured: Estimate, load: LoadType) -> float:
    due = load.steady_current_a
    if due is None:
        return _BROAD
    sigma = math.hypot(due.tolerance_percent / 100.0 / math.sqrt(3.0), measured.relative, _OWN_STEADY)
    return float(_normal(math.log(measured.value), math.log(due.value), sigma))


def _henry_density(measured: Estimate, load: LoadType) -> float:
    if load.inductance_mh is None or measured.value <= 0.0:
        return _BROAD
    tolerance = load.inductance_mh.tolerance_percent / 100.0
    sigma = math.sqrt((tolerance / math.sqrt(3.0)) ** 2 + measured.relative**2 + _OWN_HENRY**2)
    return float(_normal(math.log(measured.value), math.log(load.inductance_mh.value * 1e-3), sigma))


__all__ = ["COPPER_PER_K", "Conduct", "Rest", "Scorer", "batch_grid"]
