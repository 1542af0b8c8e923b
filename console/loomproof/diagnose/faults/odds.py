"""Probabilities of what is seen in words: for a sound circuit here, under each fault in the fault's own file.

They are rough on purpose (nothing is ever impossible: a tired operator mishears, a contact moves), and they
are judgment: common practice, no source. What decides is how much one fault's differ from another's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from loomproof.diagnose.expected.stated import OFF_SHAPE_DUE
from loomproof.diagnose.observed.features import NOTICED_TEXT, Conduct, Features, Rest
from loomproof.facts.evidence import Noticed
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS, MOVING_KINDS, WINDING_KINDS

_NEVER = 1e-4
_SELDOM = 0.05
Odds = Mapping[str, float]


@dataclass(frozen=True)
class OddsTable:
    """One table per feature. A missing table says nothing about its feature."""

    rest: Odds | None = None
    conduct: Odds | None = None
    moved: Odds | None = None
    off_shape: Odds | None = None
    noticed: Odds | None = None
    pull: Odds | None = None
    dropouts: float | None = None
    unsteady: float | None = None

    def under(self, fault: OddsTable) -> OddsTable:
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
        """What was seen in words although it is unlikely by this table."""
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
            rows.append((self.noticed, _noticed(seen.noticed), NOTICED_TEXT[seen.noticed]))
        if seen.pull is not None and seen.pull.outcome != "skipped":
            rows.append((self.pull, str(seen.pull.outcome), _PULL_TEXT[seen.pull.outcome]))
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


_PULL_TEXT = {
    "matched": "pulling its connector opened it and no other",
    "other": "pulling its connector opened another channel",
    "several": "pulling its connector opened several channels",
    "none": "pulling its connector opened nothing",
}


def _noticed(noticed: Noticed) -> str:
    return "nothing" if noticed is Noticed.NOTHING else "something"


_REST: Odds = {Rest.CONNECTED: 0.994, Rest.BETWEEN: 0.003, Rest.FLOATING: 0.002, Rest.GROUNDED: 0.001}
_INPUT_REST: Odds = {Rest.HELD_LOW: 0.96, Rest.HELD_HIGH: 0.01, Rest.FLOATING: 0.03}
DEAD: Odds = {"something": 0.02, "nothing": 0.98}
"""What the operator notices of a load that gets nothing."""
ANY_OFF_SHAPE: Odds = {str(s): 1.0 / len(OffShape) for s in OffShape}


def off_shape_odds(due: OffShape) -> Odds:
    """Odds of what is seen after the pulse where this shape is due."""
    return {str(s): 0.003 for s in OffShape} | {str(OffShape.CANNOT_TELL): 0.02, str(due): 0.96}


def sound_odds(load: LoadType) -> OddsTable:
    """What a sound circuit with this load shows."""
    moves, quiet = load.kind in MOVING_KINDS, LOAD_TRAITS[load.kind].easily_missed
    return OddsTable(
        rest=_INPUT_REST if load.kind in LOGIC_KINDS else _REST,
        conduct={Conduct.FLOWS: 0.998, Conduct.NONE: 0.001, Conduct.EXCESS: 0.001},
        moved={HasMoved.YES: 0.9, HasMoved.CANNOT_TELL: 0.098, HasMoved.NO: 0.002} if moves else None,
        off_shape=off_shape_odds(OFF_SHAPE_DUE[load.suppression]) if load.kind in WINDING_KINDS else None,
        noticed={"something": 0.8, "nothing": 0.2} if quiet else {"something": 0.97, "nothing": 0.03},
        pull={"matched": 0.993, "none": 0.004, "other": 0.001, "several": 0.002},
        dropouts=0.005,
        unsteady=0.003,
    )


NO_CIRCUIT = OddsTable(
    rest={Rest.FLOATING: 0.97, Rest.BETWEEN: 0.015, Rest.CONNECTED: 0.01, Rest.GROUNDED: 0.005},
    conduct={Conduct.NONE: 0.985, Conduct.FLOWS: 0.012, Conduct.EXCESS: 0.003},
    noticed=DEAD,
    pull={"none": 0.97, "matched": 0.01, "other": 0.01, "several": 0.01},
)
"""An open channel or feed."""

SHORTED = OddsTable(
    rest={Rest.CONNECTED: 0.97, Rest.BETWEEN: 0.02, Rest.FLOATING: 0.005, Rest.GROUNDED: 0.005},
    conduct={Conduct.EXCESS: 0.93, Conduct.FLOWS: 0.06, Conduct.NONE: 0.01},
    moved={HasMoved.YES: 0.02, HasMoved.CANNOT_TELL: 0.78, HasMoved.NO: 0.2},
    off_shape=ANY_OFF_SHAPE,
    noticed=DEAD,
    pull={"matched": 0.3, "none": 0.68, "other": 0.01, "several": 0.01},
)
"""The supply's full current through the driver, whatever the short's way round the load."""
