"""The fewest moves of terminals in the header that put every wire where the job wants it (pure).

A terminal in the wrong cavity has to come out and go in once. A ring of n terminals, each in the next one's
cavity, has no empty cavity to begin with: one terminal is taken out and held, n - 1 are moved one after the
other into the cavity that has just become empty, and the held one goes in last: n + 1 handlings. Fewer there
cannot be: every terminal of the ring must go into another cavity (n times), and the first that comes out finds
its own cavity still taken. Where a connector has several wires that cannot be told apart, they are shared out
so that as many rings as possible close.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import permutations, product
from math import factorial, prod

MOST_SHARINGS = 5040
"""Ways of sharing out alike wires that are tried; beyond that the first is taken."""

Channels = frozenset[int]


class MoveKind(StrEnum):
    """What is done with a terminal."""

    TAKE_OUT = "take out and hold"
    MOVE = "move"
    PUT_IN = "put in"


@dataclass(frozen=True, slots=True)
class Move:
    """One handling of one terminal, named by the channels of the cavities it leaves and enters."""

    kind: MoveKind
    source: int
    target: int | None = None


@dataclass(frozen=True, slots=True)
class MendPlan:
    """What to do in the header.

    Attributes:
        moves: in this order.
        rings: the channels of each closed ring, each wire belonging in the cavity of the channel after it.
        chains: the same where the last cavity's own wire was found nowhere: it must be traced first.
        unclear: channels whose wires cannot be placed from what is known.
    """

    moves: tuple[Move, ...] = ()
    rings: tuple[tuple[int, ...], ...] = ()
    chains: tuple[tuple[int, ...], ...] = ()
    unclear: tuple[int, ...] = ()

    @property
    def needed(self) -> bool:
        """Whether anything is to be done or traced."""
        return bool(self.moves or self.unclear)


def plan_moves(expected: Mapping[str, Channels], found: Mapping[str, Channels]) -> MendPlan:
    """Plan the moves.

    Args:
        expected: channels whose wires belong at each place.
        found: channels that moved when that place was pulled; places that say nothing are left out.
    """
    seen: dict[int, int] = {}
    for channels in found.values():
        for channel in channels:
            seen[channel] = seen.get(channel, 0) + 1
    doubled = {channel for channel, times in seen.items() if times > 1}
    wrong: dict[str, list[int]] = {}
    vacant: dict[str, list[int]] = {}
    unclear: set[int] = set(doubled)
    for place, channels in found.items():
        strangers = sorted(channels - expected[place] - doubled)
        room = sorted(expected[place] - channels)
        if len(strangers) > len(room):
            unclear.update(strangers)
        elif strangers:
            wrong[place], vacant[place] = strangers, room
    target = _best_targets(wrong, vacant)
    rings, chains = _trails(target)
    moves = [move for ring in rings for move in _ring_moves(ring)]
    moves += [move for chain in chains for move in _chain_moves(chain)]
    return MendPlan(tuple(moves), tuple(rings), tuple(chains), tuple(sorted(unclear)))


def _best_targets(wrong: Mapping[str, list[int]], vacant: Mapping[str, list[int]]) -> dict[int, int]:
    """Into which cavity each wrong wire goes: the sharing with the most rings, then the fewest chains."""
    places = sorted(wrong)
    ways = prod(factorial(len(vacant[p])) // factorial(len(vacant[p]) - len(wrong[p])) for p in places)
    if ways > MOST_SHARINGS:
        return {c: t for p in places for c, t in zip(wrong[p], vacant[p], strict=False)}
    best: dict[int, int] = {}
    best_score: tuple[int, int] | None = None
    for choice in product(*(permutations(vacant[p], len(wrong[p])) for p in places)):
        target = {
            c: t for p, row in zip(places, choice, strict=True) for c, t in zip(wrong[p], row, strict=True)
        }
        rings, chains = _trails(target)
        score = (len(rings), -len(chains))
        if best_score is None or score > best_score:
            best, best_score = target, score
    return best


def _trails(target: Mapping[int, int]) -> tuple[list[tuple[int, ...]], list[tuple[int, ...]]]:
    """Split `wire's cavity -> right cavity` into closed rings and open chains."""
    rings: list[tuple[int, ...]] = []
    chains: list[tuple[int, ...]] = []
    entered = set(target.values())
    done: set[int] = set()
    for first in sorted(c for c in target if c not in entered):
        chains.append(_follow(first, target, done))
    for first in sorted(target):
        if first not in done:
            rings.append(_follow(first, target, done))
    return rings, chains


def _follow(first: int, target: Mapping[int, int], done: set[int]) -> tuple[int, ...]:
    trail = [first]
    done.add(first)
    while (after := target.get(trail[-1])) is not None and after not in done:
        trail.append(after)
        done.add(after)
    return tuple(trail)


def _ring_moves(ring: tuple[int, ...]) -> list[Move]:
    """Hold the first; whoever belongs into the cavity that is empty now moves there; the first goes in last."""
    held, belongs = ring[0], ring[1]
    moves = [Move(MoveKind.TAKE_OUT, held)]
    moves += [Move(MoveKind.MOVE, ring[i], ring[(i + 1) % len(ring)]) for i in range(len(ring) - 1, 0, -1)]
    return [*moves, Move(MoveKind.PUT_IN, held, belongs)]


def _chain_moves(chain: tuple[int, ...]) -> list[Move]:
    """The last cavity is emptied for tracing; then each wire moves up."""
    moves = [Move(MoveKind.TAKE_OUT, chain[-1])]
    return moves + [Move(MoveKind.MOVE, chain[i], chain[i + 1]) for i in range(len(chain) - 2, -1, -1)]
