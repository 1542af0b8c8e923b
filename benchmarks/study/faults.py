"""Faults drawn at random, with how severe they are and whether physics lets anybody see them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.study.parts import WideDraw
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOGIC_KINDS, MOVING_KINDS, WINDING_KINDS, WOUND_KINDS
from loomproof.job.model import Job
from loomproof_sim.fault_text import inputs_beside, shifted_fault
from loomproof_sim.loom import load_spec
from loomproof_sim.plant.faults import Fault, apply_fault
from loomproof_sim.plant.spec import IntermittentSpec, LoomSpec

TEMPERATURE_SHARE = 0.15
"""What the loom's temperature can hide of a resistance: 35 K of copper."""


LEAK_SEEN = 12.0
"""A leak of this many times the load's resistance takes 0.9 V of 12 V from its resting pin."""


@dataclass(frozen=True)
class Planted:
    """One fault that is really there.

    `severity` is the row of the table; `visible`: past everything that a sound part, its tolerance and the loom's
    temperature could show, so that the physics leaves no excuse.
    """

    kind: FaultKind
    channels: tuple[int, ...]
    severity: str
    visible: bool
    feed: str | None = None
    faults: tuple[Fault, ...] = ()


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _share(ratio: float) -> str:
    for edge, word in ((0.06, "under 6 %"), (0.16, "6 to 16 %"), (0.37, "16 to 37 %")):
        if ratio < edge:
            return word + " of R"
    return "over 37 % of R"


class Planter:
    """Draws faults that fit a job."""

    def __init__(self, job: Job, rng: np.random.Generator, draw: WideDraw) -> None:
        self.job, self.rng, self.draw = job, rng, draw

    def ohm(self, channel: int) -> float:
        quantity = self.job.load_type(channel).resistance_ohm
        return quantity.value if quantity else 10.0

    def tolerance(self, channel: int) -> float:
        quantity = self.job.load_type(channel).resistance_ohm
        return quantity.tolerance_percent / 100.0 if quantity else 0.5

    def choose(self, taken: frozenset[int], kinds: Sequence[str] = tuple(FaultKind)) -> Planted | None:
        """One fault of these kinds on channels that are not yet taken; None if the kind drawn does not fit."""
        kind = FaultKind(str(self.rng.choice(list(kinds))))
        free = [c.channel for c in self.job.channels if c.channel not in taken]
        maker = getattr(self, f"_{kind.value}", None)
        if maker is not None:
            made: Planted | None = maker(free)
            return made
        return self._single(kind, free)

    def _any(self, channels: Sequence[int]) -> int | None:
        return int(self.rng.choice(list(channels))) if channels else None

    def _of(self, free: Sequence[int], *kinds: LoadKind, logic: bool = False) -> list[int]:
        found = []
        for c in free:
            kind = self.job.load_type(c).kind
            if (not kinds or kind in kinds) and (logic or kind not in LOGIC_KINDS):
                found.append(c)
        return found

    def _make(
        self, kind: FaultKind, channel: int | None, severity: str, visible: bool, **more: object
    ) -> Planted | None:
        if channel is None:
            return None
        fault = Fault(kind, channel, **more)  # type: ignore[arg-type]
        return Planted(kind, (channel,), severity, visible, faults=(fault,))

    def _single(self, kind: FaultKind, free: Sequence[int]) -> Planted | None:
        """Open: no severity."""
        return self._make(kind, self._any(self._of(free, logic=True)), "", True)

    def _short_to_ground(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free, logic=True))
        if channel is None:
            return None
        logic = self.job.load_type(channel).kind in LOGIC_KINDS
        ohm = _log(self.rng, 0.003, 3.0 if logic else 0.03 * self.ohm(channel))
        return self._make(FaultKind.SHORT_TO_GROUND, channel, "", True, ohm=ohm)

    def _leak_to_ground(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free, logic=True))
        if channel is None:
            return None
        share = _log(self.rng, 0.04, 20.0)
        logic = self.job.load_type(channel).kind in LOGIC_KINDS
        # Of the supply, a pin below a load rests at share / (1 + share): half a volt below it can be seen.
        visible = share < (1.0 if logic else LEAK_SEEN)
        word = "under R" if share < 1.0 else "1 to 20 R"
        return self._make(FaultKind.LEAK_TO_GROUND, channel, word, visible, ohm=share * self.ohm(channel))

    def _short_to_supply(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free, logic=True))
        return self._shorted(FaultKind.SHORT_TO_SUPPLY, channel)

    def _short_across_load(self, free: Sequence[int]) -> Planted | None:
        return self._shorted(FaultKind.SHORT_ACROSS_LOAD, self._any(self._of(free)))

    def _shorted(self, kind: FaultKind, channel: int | None) -> Planted | None:
        if channel is None:
            return None
        ohm = _log(self.rng, 0.01, 0.5)
        soft = ohm > 0.1 * self.ohm(channel)
        return self._make(kind, channel, "soft" if soft else "hard", not soft, ohm=ohm)

    def _added_resistance(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free))
        if channel is None:
            return None
        share = _log(self.rng, 0.03, 1.5)
        visible = share > 2.0 * self.tolerance(channel) + TEMPERATURE_SHARE and self._steady(channel)
        return self._make(
            FaultKind.ADDED_RESISTANCE, channel, _share(share), visible, ohm=share * self.ohm(channel)
        )

    def _steady(self, channel: int) -> bool:
        """A lamp may still be warm and a coil's resistance is coarse: what is added there hides longer."""
        return self.job.load_type(channel).kind in WINDING_KINDS | LOGIC_KINDS

    def _shorted_turns(self, free: Sequence[int]) -> Planted | None:
        share = _log(self.rng, 0.03, 0.3)
        word = "3 to 10 % of turns" if share < 0.1 else "10 to 30 % of turns"
        return self._make(
            FaultKind.SHORTED_TURNS,
            self._any(self._of(free, *WOUND_KINDS)),
            word,
            share > 0.1,
            fraction=share,
        )

    def _stuck_armature(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free, *MOVING_KINDS))
        word = str(self.job.load_type(channel).kind) if channel else ""
        return self._make(FaultKind.STUCK_ARMATURE, channel, word, True)

    def _suppression_missing(self, free: Sequence[int]) -> Planted | None:
        fits = [c for c in free if self.job.load_type(c).suppression is not Suppression.NONE]
        return self._make(FaultKind.SUPPRESSION_MISSING, self._any(fits), "", True)

    def _suppression_reversed(self, free: Sequence[int]) -> Planted | None:
        fits = [c for c in free if self.job.load_type(c).suppression is Suppression.DIODE]
        return self._make(FaultKind.SUPPRESSION_REVERSED, self._any(fits), "", True)

    def _wrong_load(self, free: Sequence[int]) -> Planted | None:
        channel = self._any(self._of(free))
        if channel is None:
            return None
        here = self.job.load_type(channel)
        others = [
            t
            for t in CATALOGUE.values()
            if t.key != here.key and t.kind not in LOGIC_KINDS and t.resistance_ohm
        ]
        other = self._other = others[int(self.rng.integers(len(others)))]
        there = other.resistance_ohm
        assert there is not None
        ratio = there.value / self.ohm(channel)
        room = 2.0 * (self.tolerance(channel) + there.tolerance_percent / 100.0) + TEMPERATURE_SHARE
        alike = abs(np.log(ratio)) < np.log1p(room)
        return self._make(
            FaultKind.WRONG_LOAD,
            channel,
            "alike in resistance" if alike else "unlike",
            not alike,
            load=load_spec(other, self.draw),
        )

    def _wrong_set(self, free: Sequence[int]) -> Planted | None:
        """Every load of one type is of another."""
        sets = {tuple(sorted({c, *self.job.sisters(c)})) for c in self._of(free)}
        fits = sorted(whole for whole in sets if len(whole) > 2 and set(whole) <= set(free))
        if not fits:
            return None
        whole = fits[int(self.rng.integers(len(fits)))]
        one = self._wrong_load(whole)
        if one is None:
            return None
        other = self._other
        loads = tuple((channel, load_spec(other, self.draw)) for channel in whole)
        fault = Fault(FaultKind.WRONG_SET, whole[0], loads=loads)
        return Planted(FaultKind.WRONG_SET, whole, one.severity, one.visible, faults=(fault,))

    def _ground_open(self, free: Sequence[int]) -> Planted | None:
        inputs = [c for c in free if self.job.load_type(c).kind in LOGIC_KINDS]
        groups = sorted({inputs_beside(self.job, c) for c in inputs})
        fits = [group for group in groups if len(group) > 1 and set(group) <= set(free)]
        if not fits:
            return None
        shared = fits[int(self.rng.integers(len(fits)))]
        fault = Fault(FaultKind.GROUND_OPEN, shared[0], inputs=shared)
        return Planted(FaultKind.GROUND_OPEN, shared, "", True, faults=(fault,))

    def _two_on_one_wire(self, free: Sequence[int]) -> Planted | None:
        fits = self._of(free)
        if len(fits) < 2:
            return None
        a, b = (int(c) for c in self.rng.choice(fits, 2, replace=False))
        fault = Fault(FaultKind.TWO_ON_ONE_WIRE, a, b)
        return Planted(FaultKind.TWO_ON_ONE_WIRE, tuple(sorted((a, b))), "", True, faults=(fault,))

    def _shifted(self, free: Sequence[int]) -> Planted | None:
        """Every wire of the header one cavity on or back."""
        there = tuple(sorted(c.channel for c in self.job.channels))
        if set(free) != set(there):
            return None
        fault = shifted_fault(self.job, self.job.connectors[0].id, int(self.rng.choice([1, -1])))
        return Planted(FaultKind.SHIFTED, there, "", True, faults=(fault,))

    def _cycle(self, channels: Sequence[int]) -> tuple[Fault, ...]:
        """Each load sits on the next channel of the cycle: one exchange after another."""
        first, *others = channels
        return tuple(Fault(FaultKind.SWAPPED, first, c) for c in others)

    def _swapped(self, free: Sequence[int]) -> Planted | None:
        fits = self._of(free, logic=True)
        length = 2 if self.rng.random() < 0.6 else int(self.rng.integers(3, 6))
        if len(fits) < length:
            return None
        chosen = [int(c) for c in self.rng.choice(fits, length, replace=False)]
        kinds = {self.job.load_type(c).key for c in chosen}
        word = "pair, " if length == 2 else f"cycle of {length}, "
        word = "cycle of 3 to 5, " if length > 2 else word
        word += "same type" if len(kinds) == 1 else "unlike types"
        return Planted(FaultKind.SWAPPED, tuple(sorted(chosen)), word, True, faults=self._cycle(chosen))

    def _bridged(self, free: Sequence[int]) -> Planted | None:
        fits = self._of(free, logic=True)
        if len(fits) < 2:
            return None
        a, b = (int(c) for c in self.rng.choice(fits, 2, replace=False))
        ratio = max(self.ohm(a), self.ohm(b)) / min(self.ohm(a), self.ohm(b))
        fault = Fault(FaultKind.BRIDGED, a, b, ohm=_log(self.rng, 0.01, 1.0))
        word = "loads within 10 times" if ratio < 10 else "loads over 10 times apart"
        return Planted(FaultKind.BRIDGED, tuple(sorted((a, b))), word, True, faults=(fault,))

    def _fed(self, free: Sequence[int]) -> tuple[str, tuple[int, ...]] | None:
        found = []
        for feed in self.job.feeds:
            fed = tuple(c.channel for c in self.job.channels if c.feed == feed.id)
            real = [c for c in fed if self.job.load_type(c).kind not in LOGIC_KINDS]
            if real and set(fed) <= set(free):
                found.append((feed.id, fed))
        return found[int(self.rng.integers(len(found)))] if found else None

    def _feed_open(self, free: Sequence[int]) -> Planted | None:
        fed = self._fed(free)
        if fed is None:
            return None
        word = "one load" if len(fed[1]) == 1 else "several loads"
        fault = Fault(FaultKind.FEED_OPEN, feed=fed[0])
        return Planted(FaultKind.FEED_OPEN, fed[1], word, True, fed[0], (fault,))

    def _feed_weak(self, free: Sequence[int]) -> Planted | None:
        fed = self._fed(free)
        if fed is None:
            return None
        loads = [c for c in fed[1] if self.job.load_type(c).kind not in LOGIC_KINDS]
        least = min(loads, key=self.ohm)
        share = _log(self.rng, 0.05, 1.5)
        visible = share > 2.0 * self.tolerance(least) + TEMPERATURE_SHARE and self._steady(least)
        fault = Fault(FaultKind.FEED_WEAK, feed=fed[0], ohm=share * self.ohm(least))
        return Planted(FaultKind.FEED_WEAK, tuple(fed[1]), _share(share), visible, fed[0], (fault,))

    def _weak_supply(self, free: Sequence[int]) -> Planted | None:
        if len(free) < len(self.job.channels):
            return None
        ohm = _log(self.rng, 0.2, 1.5)
        heavy = min(self.ohm(c) for c in free if self.job.load_type(c).kind not in LOGIC_KINDS)
        seen = ohm > 0.4 and heavy < 16.0
        word = "under 0.4 ohm" if ohm < 0.4 else "over 0.4 ohm"
        return Planted(FaultKind.WEAK_SUPPLY, (), word, seen, faults=(Fault(FaultKind.WEAK_SUPPLY, ohm=ohm),))

    def _intermittent(self, free: Sequence[int]) -> Planted | None:
        contact = IntermittentSpec(_log(self.rng, 2.0, 20.0), _log(self.rng, 5e-4, 5e-3))
        channel = self._any(self._of(free, logic=True))
        return self._make(FaultKind.INTERMITTENT, channel, "", True, contact=contact)


def plant_faults(loom: LoomSpec, planted: Sequence[Planted]) -> LoomSpec:
    """The loom with all of them in it."""
    for one in planted:
        for fault in one.faults:
            loom = apply_fault(loom, fault)
    return loom
