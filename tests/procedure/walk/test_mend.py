"""The moves that mend a header, against a search of everything hands could do."""

import itertools
from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.procedure.walk.mend import MoveKind, plan_moves


def alone(channels):
    return {f"p{c}": frozenset({c}) for c in channels}


def carry_out(moves, terminals):
    """Do the moves by hand; a terminal is named by the place its wire leads to."""
    cavities, held = dict(terminals), None
    for move in moves:
        if move.kind is MoveKind.TAKE_OUT:
            assert held is None, "two hands are full"
            held = cavities.pop(move.source)
        elif move.kind is MoveKind.MOVE:
            assert move.target not in cavities, "the cavity is taken"
            cavities[move.target] = cavities.pop(move.source)
        else:
            assert move.target not in cavities, "the cavity is taken"
            assert held is not None
            cavities[move.target], held = held, None
    return cavities, held


def fewest_handlings(start, goal):
    """Breadth first over every state of cavities and one spare hand."""
    first = (tuple(sorted(start.items())), None)
    seen, queue = {first}, deque([(first, 0)])
    while queue:
        (items, held), steps = queue.popleft()
        cavities = dict(items)
        if cavities == goal and held is None:
            return steps
        empty = [c for c in goal if c not in cavities]
        after = []
        for cavity, terminal in cavities.items():
            rest = {k: v for k, v in cavities.items() if k != cavity}
            if held is None:
                after.append((rest, terminal))
            after += [({**rest, free: terminal}, held) for free in empty]
        if held is not None:
            after += [({**cavities, free: held}, None) for free in empty]
        for state, hand in after:
            key = (tuple(sorted(state.items())), hand)
            if key not in seen:
                seen.add(key)
                queue.append((key, steps + 1))
    raise AssertionError("no way")


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_every_permutation_is_mended_in_the_fewest_handlings(count):
    channels = range(1, count + 1)
    goal = {c: f"p{c}" for c in channels}
    for order in itertools.permutations(channels):
        # Channel order[i]'s wire leads to place i + 1.
        found = {f"p{i}": frozenset({c}) for i, c in zip(channels, order, strict=True)}
        plan = plan_moves(alone(channels), found)
        start = {c: f"p{i}" for i, c in zip(channels, order, strict=True)}
        assert carry_out(plan.moves, start) == (goal, None)
        assert len(plan.moves) == fewest_handlings(start, goal)


@pytest.mark.parametrize(
    "order", [(2, 3, 4, 5, 6, 1), (2, 1, 4, 3, 6, 5), (2, 3, 1, 5, 6, 4), (2, 1, 4, 5, 6, 3)]
)
def test_each_kind_of_permutation_of_six(order):
    channels = range(1, 7)
    found = {f"p{i}": frozenset({c}) for i, c in zip(channels, order, strict=True)}
    plan = plan_moves(alone(channels), found)
    start = {c: f"p{i}" for i, c in zip(channels, order, strict=True)}
    goal = {c: f"p{c}" for c in channels}
    assert carry_out(plan.moves, start) == (goal, None)
    assert len(plan.moves) == fewest_handlings(start, goal)


@given(st.permutations(range(1, 17)))
def test_a_ring_of_n_takes_n_moves_and_one_held(order):
    channels = range(1, 17)
    found = {f"p{i}": frozenset({c}) for i, c in zip(channels, order, strict=True)}
    plan = plan_moves(alone(channels), found)
    assert len(plan.moves) == sum(len(ring) + 1 for ring in plan.rings)
    assert sum(len(ring) for ring in plan.rings) == sum(c != i for i, c in zip(channels, order, strict=True))


def test_alike_wires_of_one_connector_are_shared_out_so_that_most_rings_close():
    # Place a has channels 1 and 2, places b and c one each; b's and c's wires sit in a's cavities.
    expected = {"a": frozenset({1, 2}), "b": frozenset({3}), "c": frozenset({4})}
    found = {"a": frozenset({3, 4}), "b": frozenset({2}), "c": frozenset({1})}
    plan = plan_moves(expected, found)
    assert sorted(sorted(ring) for ring in plan.rings) in ([[1, 4], [2, 3]], [[1, 3], [2, 4]])
    assert len(plan.moves) == 6


def test_a_wire_that_answers_nowhere_is_traced_first():
    plan = plan_moves(alone([1, 2]), {"p1": frozenset({2}), "p2": frozenset()})
    assert plan.chains == ((2, 1),)
    assert [(m.kind, m.source, m.target) for m in plan.moves] == [
        (MoveKind.TAKE_OUT, 1, None),
        (MoveKind.MOVE, 2, 1),
    ]


def test_joined_wires_are_not_moved():
    plan = plan_moves(alone([1, 2]), {"p1": frozenset({1, 2}), "p2": frozenset()})
    assert not plan.moves
    assert plan.unclear == (2,)


def test_nothing_to_do_on_a_sound_loom():
    assert not plan_moves(alone([1, 2, 3]), alone([1, 2, 3])).needed
