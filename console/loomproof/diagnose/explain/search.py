"""The fewest faults that explain a loom: hill climbing over sets of hypotheses, and how sure each of them is."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import softmax

from loomproof.diagnose.explain.likelihood import Scorer
from loomproof.diagnose.faults.definition import Hypothesis, Scope
from loomproof.diagnose.faults.registry import definition_of

_MAX_FAULTS = 12
_MAX_ROUNDS = 60
_LEAST_GAIN = 1e-6


@dataclass(frozen=True)
class Explained:
    """One fault of the best explanation.

    `probability` is its share among the alternatives for the same channels, none at all included; `rivals`
    are those alternatives with their shares, best first.
    """

    fault: Hypothesis
    probability: float
    rivals: tuple[tuple[Hypothesis | None, float], ...]


def explain(scorer: Scorer, pool: Sequence[Hypothesis]) -> frozenset[Hypothesis]:
    """Best set of faults by adding, removing and exchanging one at a time, from nothing.

    A shared cause taken first can stand in the way of the several single faults that explain more, so where one
    was taken the search is made again from the best set of single faults.
    """
    best = _climb(scorer, pool, frozenset())
    if any(len(fault.channels) > 1 for fault in best):
        singles = _climb(scorer, [h for h in pool if len(h.channels) <= 1], frozenset())
        best = max(best, _climb(scorer, pool, singles), key=scorer.score)
    return best


def _climb(
    scorer: Scorer, pool: Sequence[Hypothesis], current: frozenset[Hypothesis]
) -> frozenset[Hypothesis]:
    best = scorer.score(current)
    for _ in range(_MAX_ROUNDS):
        options = _neighbours(current, pool)
        scored = [(scorer.score(option), option) for option in options]
        top, option = max(scored, key=lambda pair: pair[0], default=(best, current))
        if top <= best + _LEAST_GAIN:
            return current
        best, current = top, option
    return current


def _neighbours(current: frozenset[Hypothesis], pool: Sequence[Hypothesis]) -> list[frozenset[Hypothesis]]:
    out = [current - {fault} for fault in current]
    fresh = [h for h in pool if h not in current and _possible(current, h)]
    if len(current) < _MAX_FAULTS:
        out += [current | {h} for h in fresh]
    for gone in current:
        rest = current - {gone}
        touched = set(gone.channels)
        # A shared cause may take the place of several single ones, so exchange those inside it all at once.
        out += [rest | {h} for h in fresh if touched & set(h.channels)]
    for shared in (h for h in fresh if len(h.channels) > 1):
        inside = frozenset(f for f in current if f.channels and set(f.channels) <= set(shared.channels))
        if len(inside) > 1:
            out.append((current - inside) | {shared})
    return out


def _possible(current: frozenset[Hypothesis], new: Hypothesis) -> bool:
    """A channel is in one swap and one bridge at most, and has each kind of fault once."""
    if definition_of(new).scope is not Scope.PAIR:
        return True
    return not any(f.kind is new.kind and set(f.channels) & set(new.channels) for f in current)


def weigh(
    scorer: Scorer, chosen: frozenset[Hypothesis], pool: Sequence[Hypothesis], failed: Collection[int] = ()
) -> list[Explained]:
    """How sure each chosen fault is: its share among what could stand in its place, the others as they are.

    Args:
        scorer: the loom's.
        chosen: the faults of the best explanation.
        pool: what could stand in their place.
        failed: channels with a failed property; that nothing at all is wrong there is no alternative.
    """
    out = []
    for fault in sorted(chosen, key=lambda h: (h.channels, h.kind)):
        rest = chosen - {fault}
        stand_ins: list[Hypothesis | None] = [fault]
        if not set(fault.channels) & set(failed):
            stand_ins.append(None)
        stand_ins += [h for h in pool if _rivals(h, fault, rest)]
        scores = np.array([scorer.score(rest | {h} if h is not None else rest) for h in stand_ins])
        shares = softmax(scores)
        order = np.argsort(-shares)
        rivals = tuple(
            (stand_ins[int(k)], float(shares[int(k)])) for k in order if stand_ins[int(k)] != fault
        )
        out.append(Explained(fault, float(shares[0]), rivals))
    return out


def _rivals(other: Hypothesis, fault: Hypothesis, rest: frozenset[Hypothesis]) -> bool:
    touches = bool(set(other.channels) & set(fault.channels))
    return other != fault and other not in rest and touches and _possible(rest, other)
