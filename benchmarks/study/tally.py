"""From outcomes to counts and tables."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from scipy.stats import binomtest

from benchmarks.study.faults import Planted
from benchmarks.study.run import Number, Outcome, Said
from loomproof.facts.fault_kind import FaultKind

GROSS = frozenset(
    {FaultKind.OPEN, FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY, FaultKind.SHORT_ACROSS_LOAD}
)

FEWEST_FOR_JOINTS = 30


@dataclass(frozen=True)
class Share:
    """Hits among trials, with the 95 % interval of Wilson."""

    hits: int
    total: int

    @property
    def interval(self) -> tuple[float, float]:
        if not self.total:
            return 0.0, 1.0
        found = binomtest(self.hits, self.total).proportion_ci(method="wilson")
        return float(found.low), float(found.high)

    @property
    def part(self) -> float:
        return self.hits / self.total if self.total else float("nan")

    def __str__(self) -> str:
        if not self.total:
            return "none drawn"
        low, high = self.interval
        return f"{_percent(self.part)} ({self.hits} of {self.total}; {_percent(low)} to {_percent(high)})"


def _percent(value: float) -> str:
    digits = 2 if value < 0.02 or value > 0.98 else 1
    return f"{100 * value:.{digits}f} %"


def verdict_of(outcome: Outcome, planted: Planted) -> str:
    """The worst word of a fault's channels (of all channels, for the supply)."""
    if outcome.error:
        return "not tested"
    channels = planted.channels or tuple(outcome.words)
    words = {outcome.words[c] for c in channels}
    return next((w for w in ("fail", "unsure", "not tested", "pass") if w in words), "pass")


def names(said: Said, planted: Planted, *, twins: bool) -> bool:
    """Whether a finding names this fault, at its place; `twins`: or one that it says looks the same."""
    kinds = {said.kind, *(said.twins if twins else ())}
    if planted.kind.value not in kinds:
        return False
    if planted.kind is FaultKind.WEAK_SUPPLY:
        return True
    if planted.feed is not None and said.feed == planted.feed and set(said.channels) <= set(planted.channels):
        return said.kind == planted.kind.value or len(planted.channels) == 1
    return set(said.channels) == set(planted.channels)


def first_named(outcome: Outcome, *, twins: bool) -> bool:
    """Every planted fault is among as many first findings as there are faults."""
    first = outcome.found[: len(outcome.planted)]
    return all(any(names(said, p, twins=twins) for said in first) for p in outcome.planted)


def share(items: Iterable[bool]) -> Share:
    """Hits of a sequence of yes and no."""
    flags = list(items)
    return Share(sum(flags), len(flags))


@dataclass(frozen=True)
class Study:
    """Many outcomes."""

    outcomes: Sequence[Outcome]

    def __post_init__(self) -> None:
        assert self.outcomes

    @property
    def whole(self) -> list[Outcome]:
        return [o for o in self.outcomes if not o.error]

    @property
    def broken(self) -> list[Outcome]:
        return [o for o in self.outcomes if o.error]

    @property
    def sound(self) -> list[Outcome]:
        return [o for o in self.whole if not o.planted]

    def with_faults(self, count: int) -> list[Outcome]:
        return [o for o in self.whole if len(o.planted) == count]

    def planted(self, keep: Callable[[Planted], bool]) -> list[tuple[Outcome, Planted]]:
        return [(o, p) for o in self.whole for p in o.planted if keep(p)]

    def false_channels(self, word: str = "fail") -> Share:
        return share(w == word for o in self.sound for w in o.words.values())

    def false_looms(self) -> Share:
        return share(bool(o.found) or "fail" in o.words.values() for o in self.sound)

    def beside(self) -> Share:
        """Sound channels of faulty looms (a weak supply touches them all) that were failed."""
        looms = [o for o in self.whole if o.planted and all(p.channels for p in o.planted)]
        return share(w == "fail" for o in looms for c, w in o.words.items() if c not in o.touched)

    def gross_flagged(self) -> Share:
        return share(
            verdict_of(o, p) in {"fail", "unsure"}
            for o, p in self.planted(lambda p: p.kind in GROSS and p.severity != "soft")
        )

    def stuck_found(self) -> Share:
        """By the current alone, with nobody listening."""
        rows = self.planted(lambda p: p.kind is FaultKind.STUCK_ARMATURE)
        return share(o.moving[p.channels[0]] == "no" for o, p in rows if p.channels[0] in o.moving)

    def stuck_false(self, *, usual: bool = False) -> Share:
        """Free armatures of which the current says that they do not move; `usual`: of usual stroke only."""
        return share(
            w == "no"
            for o in self.whole
            for c, w in o.moving.items()
            if c not in o.touched and (o.strokes.get(c, True) or not usual)
        )

    def stuck_false_usual(self) -> Share:
        """Those whose stroke is not smaller than the smallest usual one."""
        return self.stuck_false(usual=True)

    def stuck_doubt(self) -> Share:
        return share(
            w == "cannot tell" for o in self.whole for c, w in o.moving.items() if c not in o.touched
        )

    def passed_as_sound(self) -> Share:
        return share(verdict_of(o, p) == "pass" for o, p in self.planted(lambda p: p.visible))

    def named(self, faults: int, *, twins: bool) -> Share:
        looms = [o for o in self.with_faults(faults) if all(p.visible for p in o.planted)]
        return share(first_named(o, twins=twins) for o in looms)

    def passed_whole(self, least: int = 1, most: int = 16) -> Share:
        """Sound looms of so many channels of which every channel is passed."""
        looms = [o for o in self.sound if least <= len(o.words) <= most]
        return share(all(w == "pass" for w in o.words.values()) for o in looms)


def reliability(study: Study) -> list[tuple[str, float, Share]]:
    """First findings of looms with at most one fault, by stated likelihood: how likely on average, how often true."""
    rows = []
    first = [(o.found[0].likelihood, _true(o)) for o in study.whole if o.found and len(o.planted) < 2]
    for low, high in pairwise((0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0 + 1e-9)):
        here = [(stated, true) for stated, true in first if low <= stated < high]
        if here:
            mean = sum(stated for stated, _ in here) / len(here)
            rows.append((f"{low:g} to {min(high, 1.0):g}", mean, share(true for _, true in here)))
    return rows


def _true(outcome: Outcome) -> bool:
    """Whether the first finding by itself is the fault that is there, at its place."""
    return any(names(outcome.found[0], p, twins=False) for p in outcome.planted)


def odds_found(study: Study) -> list[tuple[str, Share]]:
    """Numbers by the odds stated for them: how many lie on channels with a fault."""
    numbers = [n for o in study.whole for n in o.numbers]
    rows = []
    for low, high in pairwise((-99.0, -3.0, -1.0, 0.0, 1.0, 2.0, 3.0, 5.0, 99.0)):
        here = [n.faulty for n in numbers if low < n.log_odds <= high]
        words = f"over {low:g}" if high > 50 else f"up to {high:g}" if low < -50 else f"{low:g} to {high:g}"
        rows.append((words, share(here)))
    return rows


def smallest_joints(study: Study) -> list[tuple[str, float, float, Share]]:
    """By what is known: the joint no longer passed on 99 of 100 sound channels, the one stated, where that fails.

    Shares of the stated resistance; a joint adds to what was measured, which then lies above the limit or not.
    """
    groups: dict[str, list[Number]] = defaultdict(list)
    for o in study.sound:
        for n in o.numbers:
            if n.group:
                groups[n.group].append(n)
    rows = []
    for group, numbers in sorted(groups.items()):
        if len(numbers) >= FEWEST_FOR_JOINTS:
            rooms = sorted(n.room for n in numbers)
            stated = sorted(n.stated for n in numbers)[len(numbers) // 2]
            unseen = share(n.room >= n.stated for n in numbers)
            rows.append((group, rooms[math.ceil(0.99 * len(rooms)) - 1], stated, unseen))
    return rows


def detection_rows(study: Study) -> list[tuple[str, str, Share, Share, Share, Share]]:
    """Per kind and severity: failed, failed or doubted, named first (exactly; beside its twins), single faults."""
    groups: dict[tuple[str, str], list[tuple[Outcome, Planted]]] = defaultdict(list)
    for o, p in study.planted(lambda _: True):
        groups[p.kind.value, p.severity].append((o, p))
    rows = []
    order = [k.value for k in FaultKind]
    for (kind, severity), both in sorted(
        groups.items(), key=lambda item: (order.index(item[0][0]), item[0][1])
    ):
        single = [o for o, p in both if len(o.planted) == 1]
        rows.append(
            (
                kind.replace("_", " "),
                severity,
                share(verdict_of(o, p) == "fail" for o, p in both),
                share(verdict_of(o, p) in {"fail", "unsure"} for o, p in both),
                share(first_named(o, twins=False) for o in single),
                share(first_named(o, twins=True) for o in single),
            )
        )
    return rows


def confusion(study: Study) -> dict[str, dict[str, int]]:
    """Kind that was there (single faults and sound looms) against the kind named first."""
    out: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for o in study.whole:
        if len(o.planted) > 1:
            continue
        there = o.planted[0].kind.value if o.planted else "nothing"
        out[there][o.found[0].kind if o.found else "nothing"] += 1
    return out
