"""How well a set of faults explains what was seen of a loom.

Words (where the pin rests, whether it moved, ...) have odds (`faults/odds.py`); numbers have densities
(`resistance.py`, `inductance.py`, `steady.py`). A type's batch deviation, and the one resistance of a weak feed, are
common to several channels: they are summed over outside the product of the channels.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.explain.candidates import log_prior
from loomproof.diagnose.explain.compose import compose, rank
from loomproof.diagnose.explain.densities import ADDED, ADDED_LOG_WEIGHT, BATCHES, logsumexp, normal
from loomproof.diagnose.explain.inductance import henry_density, henry_weights
from loomproof.diagnose.explain.other_types import other_set
from loomproof.diagnose.explain.prediction import Prediction
from loomproof.diagnose.explain.resistance import ohm_density, weak_ohm_density
from loomproof.diagnose.explain.steady import steady_density
from loomproof.diagnose.faults.definition import FaultyChannel, Hypothesis, Scope
from loomproof.diagnose.faults.registry import definition_of
from loomproof.diagnose.observed.features import Features
from loomproof.job.model import Job

Floats = NDArray[np.float64]


Faults = tuple[Hypothesis, ...]
_GroupKey = tuple[str, tuple[int, ...], tuple[Faults, ...]]
_SOUND_SUPPLY_OHM = (0.04, 0.7)  # median, and spread of the logarithm; judgment


def _adds_to_a_feed(fault: Hypothesis) -> bool:
    return definition_of(fault).scope is Scope.FEED and definition_of(fault).adds_ohm


@dataclass
class Scorer:
    """Scores sets of hypotheses against one loom's features."""

    job: Job
    expected: Expectations
    features: Mapping[int, Features]
    _words: dict[tuple[int, Faults], float] = field(default_factory=dict)
    _ohms: dict[tuple[int, Faults], Floats] = field(default_factory=dict)
    _henries: dict[tuple[int, Faults], Floats] = field(default_factory=dict)
    _channels: dict[tuple[int, Faults], FaultyChannel] = field(default_factory=dict)
    _groups: dict[_GroupKey, float] = field(default_factory=dict)
    _weak_groups: dict[_GroupKey, Floats] = field(default_factory=dict)

    @cached_property
    def _loom(self) -> Prediction:
        return Prediction(self.job, self.expected, self.features)

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Channels by load type: they share a batch."""
        by_type: dict[str, list[int]] = {}
        for channel in self.features:
            item = self.job.channel(channel)
            by_type.setdefault(f"{item.load}|{item.override}", []).append(channel)
        return tuple(tuple(v) for v in by_type.values())

    def score(self, faults: frozenset[Hypothesis]) -> float:
        """Log posterior (up to a constant) of exactly these faults.

        What draws its load's current all the time may make its feed sag so that its neighbours show it, or not.
        """
        if not any(self._beside(fault) for fault in faults):
            return self._scored(faults, sags=False)
        stiff, sagging = (self._scored(faults, sags=sags) for sags in (False, True))
        return float(np.logaddexp(stiff, sagging)) - math.log(2.0)

    def _scored(self, faults: frozenset[Hypothesis], *, sags: bool) -> float:
        total = sum(log_prior(h) for h in faults) + self._source(faults)
        touched: dict[int, Faults] = {}
        for fault in sorted(faults, key=rank):
            for channel in fault.channels:
                touched[channel] = (*touched.get(channel, ()), fault)
        total += self._sound_words
        for channel, own in touched.items():
            total += self._word_score(channel, own) - self._word_score(channel, ())
        weak = [(h.feed or "", h.channels) for h in faults if _adds_to_a_feed(h)]
        if sags:
            # To its neighbours a feed that sags all the time is like one with too much resistance.
            loading = [h for h in faults if self._beside(h)]
            weak += [(self.job.channel(h.channels[0]).feed or "", self._beside(h)) for h in loading]
        return total + self._number_score(touched, weak)

    def _beside(self, fault: Hypothesis) -> tuple[int, ...]:
        """Channels on whose feed a fault draws its load's current all the time."""
        if not definition_of(fault).loads_feed:
            return ()
        feeds = {self.job.channel(c).feed for c in fault.channels} - {None}
        return tuple(
            c for c in self.features if self.job.channel(c).feed in feeds and c not in fault.channels
        )

    @cached_property
    def _sound_words(self) -> float:
        return sum(self._word_score(c, ()) for c in self.features)

    def channel_under(self, channel: int, faults: Faults) -> FaultyChannel:
        """What these faults make of a channel."""
        key = (channel, faults)
        if key not in self._channels:
            self._channels[key] = compose(self.job, channel, faults)
        return self._channels[key]

    def _word_score(self, channel: int, faults: Faults) -> float:
        key = (channel, faults)
        if key not in self._words:
            under = self.channel_under(channel, faults)
            words = under.odds.score(self.features[channel], under.moved_elsewhere)
            if under.or_else is not None:
                share, other = under.or_else
                or_else = math.log(share) + other.score(self.features[channel], under.moved_elsewhere)
                words = float(np.logaddexp(math.log1p(-share) + words, or_else))
            self._words[key] = words + steady_density(self._loom, channel, under)
        return self._words[key]

    def _number_score(
        self, touched: Mapping[int, Faults], weak: Sequence[tuple[str, tuple[int, ...]]]
    ) -> float:
        """Sum over batches (and over the one resistance of each weak feed) of the product over channels."""
        fed = {c: feed for feed, channels in weak for c in channels}
        total = 0.0
        per_feed: dict[str, Floats] = {}
        for group in self.groups:
            key = tuple(touched.get(c, ()) for c in group)
            if all(self.channel_under(c, f).other_set for c, f in zip(group, key, strict=True)):
                total += self._other_set(group)
                continue
            total += self._group_henries(group, key)
            feed = next((fed[c] for c in group if c in fed), None)
            if feed is None:
                total += self._group_ohms(group, key)
            else:
                # A group fed by two weak feeds takes the first's resistance.
                per_feed[feed] = per_feed.get(feed, np.zeros(ADDED.size)) + self._weak_group(group, key, fed)
        return total + sum(float(logsumexp(rows + ADDED_LOG_WEIGHT)) for rows in per_feed.values())

    def _other_set(self, group: tuple[int, ...]) -> float:
        key: _GroupKey = ("S", group, ())
        if key not in self._groups:
            self._groups[key] = other_set(self._loom, group)
        return self._groups[key]

    def _group_henries(self, group: tuple[int, ...], faults: tuple[Faults, ...]) -> float:
        key = ("L", group, faults)
        if key not in self._groups:
            rows = sum((self._henry(c, f) for c, f in zip(group, faults, strict=True)), np.zeros(BATCHES))
            self._groups[key] = float(logsumexp(rows + henry_weights(self._loom, group[0])))
        return self._groups[key]

    def _group_ohms(self, group: tuple[int, ...], faults: tuple[Faults, ...]) -> float:
        key = ("R", group, faults)
        if key not in self._groups:
            rows = sum((self._ohm(c, f) for c, f in zip(group, faults, strict=True)), np.zeros(BATCHES))
            self._groups[key] = float(logsumexp(rows + self._loom.ohm_weights(group[0])))
        return self._groups[key]

    def _weak_group(
        self, group: tuple[int, ...], faults: tuple[Faults, ...], fed: Mapping[int, str]
    ) -> Floats:
        """One value for each possible resistance of the feed."""
        key = ("W", group, faults)
        if key not in self._weak_groups:
            rows = np.zeros((ADDED.size, BATCHES))
            for channel, own in zip(group, faults, strict=True):
                under, behind = self.channel_under(channel, own), channel in fed
                rows = rows + (
                    weak_ohm_density(self._loom, channel, under)
                    if behind
                    else self._ohm(channel, own)[None, :]
                )
            weights = self._loom.ohm_weights(group[0])
            self._weak_groups[key] = logsumexp(rows + weights[None, :], axis=1)
        return self._weak_groups[key]

    def _ohm(self, channel: int, faults: Faults) -> Floats:
        key = (channel, faults)
        if key not in self._ohms:
            self._ohms[key] = ohm_density(self._loom, channel, self.channel_under(channel, faults))
        return self._ohms[key]

    def _henry(self, channel: int, faults: Faults) -> Floats:
        key = (channel, faults)
        if key not in self._henries:
            self._henries[key] = henry_density(self._loom, channel, self.channel_under(channel, faults))
        return self._henries[key]

    def _source(self, faults: frozenset[Hypothesis]) -> float:
        """The supply's resistance, seen best by the load that draws the most."""
        seen = [f.source_ohm for f in self.features.values() if f.source_ohm is not None]
        best = min(seen, key=lambda e: e.u, default=None)
        if best is None or best.u > 0.3:
            return 0.0
        value = max(best.value, 0.004)
        supplies = (definition_of(h).supply_ohm for h in faults)
        middle, sigma = next((ohm for ohm in supplies if ohm is not None), _SOUND_SUPPLY_OHM)
        return float(normal(math.log(value), math.log(middle), math.hypot(sigma, best.u / value)))
