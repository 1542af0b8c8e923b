"""Probabilities of what is seen in words, for a sound circuit and under each fault.

They are rough on purpose (nothing is ever impossible: a tired operator mishears, a contact moves), and they
are judgment: common practice, no source. What decides is how much one fault's differ from another's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from loomproof.diagnose.faults.features import Conduct, Features, Rest
from loomproof.facts.evidence import Noticed
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import Moved, OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS, MOVING_KINDS, WINDING_KINDS

_NEVER = 1e-4
_SELDOM = 0.05
Odds = Mapping[str, float]


@dataclass(frozen=True)
class WordTable:
    """One table per feature. A missing table says nothing about its feature."""

    rest: Odds | None = None
    conduct: Odds | None = None
    moved: Odds | None = None
    off_shape: Odds | None = None
    noticed: Odds | None = None
    pull: Odds | None = None
    dropouts: float | None = None
    unsteady: float | None = None

    def under(self, fault: WordTable) -> WordTable:
        """This table with everything that a fault says in its place."""
        said = {f.name: getattr(fault, f.name) for f in fields(fault) if getattr(fault, f.name) is not None}
        return replace(self, **said)

    def score(self, seen: Features, moved_elsewhere: int | None = None) -> float:
        """Log probability of a channel's words.

        Args:
            seen: the channel's features.
            moved_elsewhere: the channel that loses its load when this one's connector is pulled, under a
            swap.
        """
        total = _log(self.rest, seen.rest, silent=seen.rest is Rest.UNKNOWN)
        total += _log(self.conduct, seen.conduct, silent=seen.conduct is Conduct.UNKNOWN)
        flows = seen.conduct is Conduct.FLOWS
        if seen.moved is not None:
            total += _log(self.moved, seen.moved, silent=not flows)
        total += _log(self.off_shape, seen.off_shape, silent=not flows)
        total += _log(self.noticed, _noticed(seen.noticed), silent=seen.noticed is Noticed.NOT_ASKED)
        total += self._pull(seen, moved_elsewhere)
        if seen.watched:
            total += _binary(self.dropouts, yes=seen.dropouts > 0)
        return total + _binary(self.unsteady, yes=seen.unsteady)

    def surprises(self, seen: Features) -> list[str]:
        """What was seen in words and this table holds for unlikely."""
        flows = seen.conduct is Conduct.FLOWS
        rows: list[tuple[Odds | None, str | None, str]] = [
            (self.rest, None if seen.rest is Rest.UNKNOWN else str(seen.rest), f"the pin rests {seen.rest}"),
            (self.conduct, None if seen.conduct is Conduct.UNKNOWN else str(seen.conduct), str(seen.conduct)),
            (
                self.moved,
                str(seen.moved) if flows and seen.moved is not None else None,
                f"moved: {seen.moved}",
            ),
            (
                self.off_shape,
                str(seen.off_shape) if flows and seen.off_shape is not OffShape.CANNOT_TELL else None,
                f"after the pulse: {seen.off_shape}",
            ),
        ]
        if seen.noticed is not Noticed.NOT_ASKED:
            rows.append((self.noticed, _noticed(seen.noticed), _OPERATOR[seen.noticed]))
        if seen.pull is not None and seen.pull.outcome != "skipped":
            rows.append((self.pull, str(seen.pull.outcome), f"pulling its connector: {seen.pull.outcome}"))
        return [
            words
            for odds, word, words in rows
            if odds is not None and word is not None and odds.get(word, _NEVER) < _SELDOM
        ]

    def _pull(self, seen: Features, moved_elsewhere: int | None) -> float:
        pull = seen.pull
        if pull is None or pull.outcome == "skipped" or self.pull is None:
            return 0.0
        score = _log(self.pull, pull.outcome)
        if (
            pull.outcome == "other"
            and moved_elsewhere is not None
            and moved_elsewhere not in pull.moved_channels
        ):
            return math.log(_NEVER)
        return score


def _log(table: Odds | None, word: str, *, silent: bool = False) -> float:
    if table is None or silent:
        return 0.0
    return math.log(max(table.get(str(word), _NEVER), _NEVER))


def _binary(probability: float | None, *, yes: bool) -> float:
    if probability is None:
        return 0.0
    return math.log(probability if yes else 1.0 - probability)


_OPERATOR = {
    Noticed.HEARD: "the operator heard it",
    Noticed.SEEN: "the operator saw it",
    Noticed.NOTHING: "the operator noticed nothing",
}


def _noticed(noticed: Noticed) -> str:
    return "nothing" if noticed is Noticed.NOTHING else "something"


_DUE = {
    Suppression.NONE: OffShape.CLAMP,
    Suppression.DIODE: OffShape.DIODE,
    Suppression.RESISTOR: OffShape.RESISTOR,
}


def _after(due: OffShape) -> Odds:
    return {str(s): 0.003 for s in OffShape} | {str(OffShape.CANNOT_TELL): 0.02, str(due): 0.96}


def fault_table(kind: FaultKind, load: LoadType) -> WordTable:
    """What a fault says on a channel with this load; inputs are driven high, so their shorts look the other way."""
    if load.kind not in LOGIC_KINDS:
        return TABLES[kind]
    if kind in {FaultKind.FEED_OPEN, FaultKind.FEED_WEAK}:
        # An input lies between pin and ground; only what it commands hangs on the feed.
        dead = LOAD_TRAITS[load.kind].sparks and kind is FaultKind.FEED_OPEN
        return WordTable(noticed=_DEAD) if dead else WordTable()
    return LOGIC_TABLES.get(kind, TABLES[kind])


def sound_table(load: LoadType) -> WordTable:
    """What a sound circuit with this load shows."""
    moves, quiet = load.kind in MOVING_KINDS, LOAD_TRAITS[load.kind].easily_missed
    return WordTable(
        rest=_LOGIC_REST if load.kind in LOGIC_KINDS else _REST,
        conduct={Conduct.FLOWS: 0.998, Conduct.NONE: 0.001, Conduct.EXCESS: 0.001},
        moved={Moved.YES: 0.9, Moved.CANNOT_TELL: 0.098, Moved.NO: 0.002} if moves else None,
        off_shape=_after(_DUE[load.suppression]) if load.kind in WINDING_KINDS else None,
        noticed={"something": 0.8, "nothing": 0.2} if quiet else {"something": 0.97, "nothing": 0.03},
        pull={"matched": 0.993, "none": 0.004, "other": 0.001, "several": 0.002},
        dropouts=0.005,
        unsteady=0.003,
    )


_REST: Odds = {Rest.CONNECTED: 0.994, Rest.BETWEEN: 0.003, Rest.FLOATING: 0.002, Rest.GROUNDED: 0.001}
_LOGIC_REST: Odds = {Rest.HELD_LOW: 0.96, Rest.HELD_HIGH: 0.01, Rest.FLOATING: 0.03}
_DEAD = {"something": 0.02, "nothing": 0.98}
_ANY_AFTER: Odds = {str(s): 1.0 / len(OffShape) for s in OffShape}
_SHORTED = WordTable(
    rest={Rest.CONNECTED: 0.97, Rest.BETWEEN: 0.02, Rest.FLOATING: 0.005, Rest.GROUNDED: 0.005},
    conduct={Conduct.EXCESS: 0.93, Conduct.FLOWS: 0.06, Conduct.NONE: 0.01},
    moved={Moved.YES: 0.02, Moved.CANNOT_TELL: 0.78, Moved.NO: 0.2},
    off_shape=_ANY_AFTER,
    noticed=_DEAD,
    pull={"matched": 0.3, "none": 0.68, "other": 0.01, "several": 0.01},
)
_NO_CIRCUIT = WordTable(
    rest={Rest.FLOATING: 0.97, Rest.BETWEEN: 0.015, Rest.CONNECTED: 0.01, Rest.GROUNDED: 0.005},
    conduct={Conduct.NONE: 0.985, Conduct.FLOWS: 0.012, Conduct.EXCESS: 0.003},
    noticed=_DEAD,
    pull={"none": 0.97, "matched": 0.01, "other": 0.01, "several": 0.01},
)

TABLES: Mapping[FaultKind, WordTable] = {
    FaultKind.OPEN: _NO_CIRCUIT,
    FaultKind.FEED_OPEN: _NO_CIRCUIT,
    FaultKind.SHORT_TO_GROUND: WordTable(
        # Through some ohm the pin rests in between, by chance at the bias, and the load still gets its pulse.
        rest={Rest.GROUNDED: 0.8, Rest.BETWEEN: 0.15, Rest.FLOATING: 0.03, Rest.CONNECTED: 0.02},
        conduct={Conduct.NONE: 0.5, Conduct.FLOWS: 0.48, Conduct.EXCESS: 0.02},
        moved={Moved.YES: 0.2, Moved.CANNOT_TELL: 0.5, Moved.NO: 0.3},
        off_shape=_ANY_AFTER,
        noticed={"something": 0.15, "nothing": 0.85},
        pull={"none": 0.5, "matched": 0.48, "other": 0.01, "several": 0.01},
    ),
    FaultKind.SHORT_TO_SUPPLY: _SHORTED,
    FaultKind.SHORT_ACROSS_LOAD: _SHORTED,
    FaultKind.SUPPRESSION_REVERSED: _SHORTED,
    FaultKind.ADDED_RESISTANCE: WordTable(
        conduct={Conduct.FLOWS: 0.97, Conduct.NONE: 0.029, Conduct.EXCESS: 0.001},
        moved={Moved.YES: 0.8, Moved.CANNOT_TELL: 0.12, Moved.NO: 0.08},
        noticed={"something": 0.85, "nothing": 0.15},
    ),
    FaultKind.FEED_WEAK: WordTable(
        moved={Moved.YES: 0.8, Moved.CANNOT_TELL: 0.12, Moved.NO: 0.08},
        noticed={"something": 0.85, "nothing": 0.15},
    ),
    FaultKind.SHORTED_TURNS: WordTable(
        conduct={Conduct.FLOWS: 0.9, Conduct.EXCESS: 0.099, Conduct.NONE: 0.001},
        moved={Moved.YES: 0.3, Moved.CANNOT_TELL: 0.4, Moved.NO: 0.3},
        # The shorted ring lets the flux, and with it the pin, come down slowly: it looks like a resistor.
        off_shape={str(s): 0.05 for s in OffShape} | {str(OffShape.CLAMP): 0.2, str(OffShape.RESISTOR): 0.65},
        noticed={"something": 0.5, "nothing": 0.5},
    ),
    FaultKind.STUCK_ARMATURE: WordTable(
        moved={Moved.NO: 0.88, Moved.CANNOT_TELL: 0.115, Moved.YES: 0.005},
        noticed={"something": 0.03, "nothing": 0.97},
    ),
    FaultKind.SUPPRESSION_MISSING: WordTable(off_shape=_after(OffShape.CLAMP)),
    FaultKind.WRONG_LOAD: WordTable(
        conduct={Conduct.FLOWS: 0.78, Conduct.EXCESS: 0.2, Conduct.NONE: 0.02},
        moved={Moved.YES: 0.5, Moved.CANNOT_TELL: 0.35, Moved.NO: 0.15},
        off_shape={str(s): 0.08 for s in OffShape} | {str(OffShape.CLAMP): 0.68},
        noticed={"something": 0.6, "nothing": 0.4},
    ),
    FaultKind.INTERMITTENT: WordTable(
        rest={Rest.CONNECTED: 0.88, Rest.FLOATING: 0.1, Rest.BETWEEN: 0.01, Rest.GROUNDED: 0.01},
        conduct={Conduct.FLOWS: 0.85, Conduct.NONE: 0.149, Conduct.EXCESS: 0.001},
        moved={Moved.YES: 0.7, Moved.CANNOT_TELL: 0.2, Moved.NO: 0.1},
        noticed={"something": 0.8, "nothing": 0.2},
        pull={"matched": 0.8, "none": 0.15, "other": 0.02, "several": 0.03},
        dropouts=0.97,
        unsteady=0.4,
    ),
    FaultKind.SWAPPED: WordTable(pull={"other": 0.986, "none": 0.004, "matched": 0.005, "several": 0.005}),
    FaultKind.BRIDGED: WordTable(
        conduct={Conduct.FLOWS: 0.93, Conduct.EXCESS: 0.068, Conduct.NONE: 0.002},
        moved={Moved.YES: 0.65, Moved.CANNOT_TELL: 0.28, Moved.NO: 0.07},
        off_shape={str(s): 0.12 for s in OffShape} | {str(OffShape.CLAMP): 0.52},
        noticed={"something": 0.9, "nothing": 0.1},
        pull={"none": 0.6, "several": 0.35, "matched": 0.04, "other": 0.01},
    ),
    FaultKind.WEAK_SUPPLY: WordTable(),
}

LOGIC_TABLES: Mapping[FaultKind, WordTable] = {
    FaultKind.INTERMITTENT: replace(
        TABLES[FaultKind.INTERMITTENT], rest={Rest.HELD_LOW: 0.88, Rest.FLOATING: 0.11, Rest.HELD_HIGH: 0.01}
    ),
    FaultKind.WRONG_LOAD: WordTable(
        # One that hangs on a feed pulls the pin up, and a logic output only sources.
        rest={Rest.HELD_LOW: 0.68, Rest.HELD_HIGH: 0.3, Rest.FLOATING: 0.02},
        conduct={Conduct.NONE: 0.45, Conduct.FLOWS: 0.35, Conduct.EXCESS: 0.2},
        noticed={"something": 0.2, "nothing": 0.8},
    ),
    FaultKind.SHORT_TO_GROUND: WordTable(
        rest={Rest.HELD_LOW: 0.99, Rest.HELD_HIGH: 0.005, Rest.FLOATING: 0.005},
        conduct={Conduct.EXCESS: 0.95, Conduct.FLOWS: 0.04, Conduct.NONE: 0.01},
        noticed=_DEAD,
    ),
    FaultKind.SHORT_TO_SUPPLY: WordTable(
        rest={Rest.HELD_HIGH: 0.98, Rest.HELD_LOW: 0.01, Rest.FLOATING: 0.01},
        conduct={Conduct.NONE: 0.9, Conduct.FLOWS: 0.08, Conduct.EXCESS: 0.02},
        noticed=_DEAD,
    ),
}
