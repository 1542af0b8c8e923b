"""What every channel's resistance should be, by the job, its sisters and the loom's temperature; and weak feeds.

A joint that all loads of a feed share vanishes when each is compared with its sisters. So each feed is tried as a
whole: would all evidence of the loom be likelier if so many ohm were taken off every load of the feed?
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.expected.temperature import copper_factor
from loomproof.diagnose.predict.odds import Predicted, ValueShift
from loomproof.diagnose.predict.part_set import FEW_OHM_SPREADS, OHM_SPREADS, USUAL_TAIL, Part, PartSet
from loomproof.diagnose.predict.warmth import TYPE_OUTLIER, LoomWarmth
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import LoomEvidence
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS, WINDING_KINDS, Nature
from loomproof.job.model import Job

Floats = NDArray[np.float64]

JOINTS_OHM, JOINTS_U_OHM = 0.022, 0.013
"""All crimps and pins of one circuit, sound: mean and standard deviation; common practice, no source."""
_WIRE_SHARE = 0.1  # lengths and sections of wires are nominal; common practice, no source
_LEFT_OUT = {
    Nature.WINDING: (1.2, 0.0),
    Nature.SPARK_PRIMARY: (1.4, 0.0),
    Nature.ROTOR: (1.0, 0.04),
    Nature.FILAMENT: (1.0, 0.015),
    Nature.INPUT: (1.0, 0.01),
}
"""By how much a resistance strays further than its stated uncertainty says, and what comes on top, relative.

From the errors against the truth of some hundred simulated looms, never used to publish: a rotor that turns already
reads 3 % high, a saturating primary behind a ripple 1.4 times further than stated.
"""
_COARSE_TAIL = (0.03, 6.0)
"""A saturating primary's resistance is the one number that is now and then far off; the same looms."""
_MOST_JOINT = 1.5  # of the stated resistance; beyond it, it is as good as open
_FEED_STEPS = 14
_FEED_LEAST = 0.06


@dataclass(frozen=True)
class MeasuredOhm:
    """One channel's resistance, measured and stated; ohm."""

    channel: int
    load: LoadType
    measured: Estimate
    stated: float
    wire: float
    feed: str | None

    @property
    def beside(self) -> float:
        """What lies in series with the load."""
        return self.wire + JOINTS_OHM

    @property
    def sigma(self) -> float:
        """What blurs the load's own resistance."""
        times, share = _LEFT_OUT[LOAD_TRAITS[self.load.kind].nature]
        measured = math.hypot(times * self.measured.u, share * self.measured.value)
        return math.hypot(measured, JOINTS_U_OHM, _WIRE_SHARE * self.wire)

    def log_ratio(self, less_ohm: Floats | float = 0.0) -> Floats:
        """Logarithm of the load's own over its stated resistance, so many ohm taken off."""
        own = np.maximum(self.measured.value - self.beside - np.asarray(less_ohm), 0.02 * self.stated)
        return np.asarray(np.log(own / self.stated))

    @property
    def part(self) -> Part:
        """As one of its set."""
        own = max(self.measured.value - self.beside, 0.02 * self.stated)
        return Part(self.channel, float(self.log_ratio()), self.sigma / own)


@dataclass(frozen=True)
class OhmSet:
    """The circuits of one type and their parts."""

    circuits: tuple[MeasuredOhm, ...]
    parts: PartSet
    coarse: PartSet
    per_k: float

    def place(self, channel: int) -> int:
        """Of a channel within the set."""
        return next(k for k, c in enumerate(self.circuits) if c.channel == channel)


@dataclass(frozen=True)
class WeakFeed:
    """How much likelier a weak feed is than a sound one (Bayes factor, natural logarithm), by so many loads; how weak."""

    feed: str
    log_odds: float
    loads: int
    joint_ohm: float


class Resistances:
    """Predictions for a whole loom.

    Args:
        job: the loom's.
        evidence: for a stated temperature.
        measured: each channel's resistance, in ohm.
    """

    def __init__(self, job: Job, evidence: LoomEvidence, measured: Mapping[int, Estimate]) -> None:
        self._job = job
        self._warmth = LoomWarmth(job.ambient_c, job.setting, evidence.temperature_c)
        self._guess = float(self._warmth.prior @ self._warmth.celsius)
        self.sets = tuple(self._set(c) for c in self._by_type(measured))

    def _by_type(self, measured: Mapping[int, Estimate]) -> list[tuple[MeasuredOhm, ...]]:
        found: dict[str, list[MeasuredOhm]] = {}
        for item in self._job.channels:
            seen, load = measured.get(item.channel), self._job.load_type(item.channel)
            ohm = direct_ohm(load)
            if not item.fitted or seen is None or ohm is None or seen.value <= 0.0:
                continue
            wire = series_ohm(self._job, item.channel) * copper_factor(self._guess)
            circuit = MeasuredOhm(item.channel, load, seen, ohm.value, wire, item.feed)
            found.setdefault(f"{item.load}|{item.override}", []).append(circuit)
        return [tuple(group) for group in found.values()]

    def _set(self, circuits: tuple[MeasuredOhm, ...]) -> OhmSet:
        load = circuits[0].load
        ohm = direct_ohm(load)
        assert ohm is not None
        per_k = load.temperature_coefficient_per_k
        factor = self._warmth.log_factor(per_k)
        measured = tuple(c.part for c in circuits)
        tolerance, warmth = ohm.tolerance_percent / 100.0, (float(factor[0]), float(factor[-1]))
        coarse_kind = LOAD_TRAITS[load.kind].nature is Nature.SPARK_PRIMARY
        tail = _COARSE_TAIL if coarse_kind else USUAL_TAIL
        parts = PartSet(measured, tolerance, OHM_SPREADS, *warmth, tail=tail)
        coarse = PartSet(measured, tolerance, FEW_OHM_SPREADS, *warmth, fineness=1.0)
        return OhmSet(circuits, parts, coarse, per_k)

    @cached_property
    def _by_set(self) -> tuple[Floats, ...]:
        """Likelihood of every temperature, by each set."""
        return tuple(self._warmth.likelihood(s.coarse, s.coarse.together, s.per_k, 0.0) for s in self.sets)

    def _thermometer(self, which: OhmSet) -> bool:
        return which.per_k > 0.0 and which.circuits[0].load.kind in WINDING_KINDS

    @cached_property
    def predicted(self) -> dict[int, Predicted]:
        """What every channel should measure, in ohm."""
        out: dict[int, Predicted] = {}
        copper = {
            k: self._warmth.likelihood(s.coarse, s.coarse.together, s.per_k, TYPE_OUTLIER)
            for k, s in enumerate(self.sets)
            if self._thermometer(s)
        }
        for k, own in enumerate(self.sets):
            known = np.log(self._warmth.prior)
            for j, row in copper.items():
                known = known + (np.log(row) if j != k else 0.0)
            weight = np.exp(known - known.max())
            weight /= weight.sum()
            level = self._warmth.levels(own.parts, weight, own.per_k)
            for circuit, row in zip(own.circuits, own.parts.predictions(level), strict=True):
                out[circuit.channel] = self._of(own, circuit, row)
        return out

    def _of(self, own: OhmSet, circuit: MeasuredOhm, row: Floats) -> Predicted:
        load_ohm = np.exp(own.parts.grid) * circuit.stated
        mass = row * own.parts.step
        return Predicted(
            load_ohm + circuit.beside,
            mass / mass.sum(),
            row / load_ohm,
            ValueShift(self._job.matters.joint_share(circuit.stated), _MOST_JOINT),
            circuit.stated,
            adds=True,
            alone=len(own.circuits) == 1,
        )

    def weak_feed(self, feed: str, but: Collection[int] = ()) -> WeakFeed | None:
        """How much likelier all evidence is with this feed weak than without; None: nothing that tells hangs on it.

        Args:
            feed: which.
            but: channels that are faulty by themselves, which say nothing of their feed.
        """
        hanging = [
            [c for c in own.circuits if self._hangs(c, feed) and c.channel not in but] for own in self.sets
        ]
        if not any(hanging):
            return None
        least = min(c.stated for circuits in hanging for c in circuits)
        joints = np.geomspace(_FEED_LEAST, _MOST_JOINT, _FEED_STEPS) * least
        sound = np.log(self._warmth.prior)
        weak = np.tile(sound, (_FEED_STEPS, 1))
        for own, before, circuits in zip(self.sets, self._by_set, hanging, strict=True):
            after = self._without(own, circuits, joints) if circuits else before
            sound, weak = sound + np.log(before), weak + np.log(after)
        each = np.logaddexp.reduce(weak, axis=1) - np.logaddexp.reduce(sound)
        odds = float(np.logaddexp.reduce(each)) - math.log(_FEED_STEPS)
        share = np.exp(each - each.max())
        return WeakFeed(feed, odds, sum(map(len, hanging)), float(share @ joints / share.sum()))

    @staticmethod
    def _hangs(circuit: MeasuredOhm, feed: str) -> bool:
        return circuit.feed == feed and circuit.load.kind not in LOGIC_KINDS

    def _without(self, own: OhmSet, circuits: Sequence[MeasuredOhm], joints: Floats) -> Floats:
        """Likelihood of every temperature by a set, each joint taken off these of its circuits."""
        which = [own.place(c.channel) for c in circuits]
        values = np.stack([c.log_ratio(joints) for c in circuits], axis=-1)
        parts = own.coarse
        moved = parts.log_likelihoods(values, which).sum(axis=-3)
        rest = parts.together - parts.each[which].sum(axis=0)
        # The Jacobian of each logarithm: a load that is small beside its joint takes in more ohm for each per cent.
        scale = sum(
            (np.log(np.exp(c.log_ratio()) / np.exp(c.log_ratio(joints))) for c in circuits),
            np.zeros(joints.size),
        )
        return self._warmth.likelihood(parts, rest[None] + moved, own.per_k, 0.0) * np.exp(scale)[:, None]
