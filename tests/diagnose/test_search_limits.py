"""The search for the fewest faults, on scores made by hand."""

import math
from typing import NamedTuple

import pytest

from loomproof.diagnose.explain.search import explain, weigh
from loomproof.facts.fault_kind import FaultKind


class Fault(NamedTuple):
    """All that the search looks at."""

    channels: tuple[int, ...]
    kind: FaultKind


class Scores:
    """The sum of each fault's worth, and what sets of them are worth together."""

    def __init__(self, worth, together=None):
        self.worth = worth
        self.together = together or {}

    def score(self, faults):
        twice = (
            -50.0 if FEED in faults and len(faults) > 1 else 0.0
        )  # a dead feed leaves nothing else to be seen
        return sum(self.worth[fault] for fault in faults) + self.together.get(frozenset(faults), 0.0) + twice


OPEN_1, OPEN_2, OPEN_3 = (Fault((channel,), FaultKind.OPEN) for channel in (1, 2, 3))
WEAK_1 = Fault((1,), FaultKind.ADDED_RESISTANCE)
FEED = Fault((1, 2, 3), FaultKind.FEED_OPEN)
SWAP_12, SWAP_23 = Fault((1, 2), FaultKind.SWAPPED), Fault((2, 3), FaultKind.SWAPPED)
BRIDGE_12 = Fault((1, 2), FaultKind.BRIDGED)


def test_every_fault_that_explains_something_is_taken_and_no_other():
    scores = Scores({OPEN_1: 5.0, OPEN_2: 1.0, WEAK_1: -1.0})
    assert explain(scores, [OPEN_1, OPEN_2, WEAK_1]) == {OPEN_1, OPEN_2}
    assert explain(scores, [WEAK_1]) == frozenset()
    assert explain(scores, []) == frozenset()


@pytest.mark.parametrize(("worth", "taken"), [(0.0, False), (1e-6, False), (3e-6, True)])
def test_a_fault_must_gain_more_than_a_millionth(worth, taken):
    assert bool(explain(Scores({OPEN_1: worth}), [OPEN_1])) is taken


def test_a_shared_cause_takes_the_place_of_several():
    """Worth 9 together and no more: a feed worth 3.9 stays out, one worth 9.5 takes their place."""
    scores = Scores({OPEN_1: 4.0, OPEN_2: 4.0, OPEN_3: 1.0, FEED: 3.9})
    assert explain(scores, [OPEN_1, OPEN_2, OPEN_3, FEED]) == {OPEN_1, OPEN_2, OPEN_3}
    scores = Scores({OPEN_1: 4.0, OPEN_2: 4.0, OPEN_3: 1.0, FEED: 9.5})
    assert explain(scores, [OPEN_1, OPEN_2, OPEN_3, FEED]) == {FEED}


def test_several_single_faults_beat_a_shared_cause_that_was_taken_first():
    scores = Scores({OPEN_1: 4.0, OPEN_2: 4.0, OPEN_3: 4.0, FEED: 5.0})
    assert explain(scores, [OPEN_1, OPEN_2, OPEN_3, FEED]) == {OPEN_1, OPEN_2, OPEN_3}


def test_one_fault_is_exchanged_for_a_better_one_on_the_same_channel():
    scores = Scores({OPEN_1: 3.0, WEAK_1: 2.0, OPEN_2: 1.0}, {frozenset({WEAK_1, OPEN_2}): 4.0})
    pool = [OPEN_1, WEAK_1, OPEN_2]
    scores.together[frozenset({OPEN_1, WEAK_1})] = -9.0
    scores.together[frozenset({OPEN_1, WEAK_1, OPEN_2})] = -9.0
    assert explain(scores, pool) == {WEAK_1, OPEN_2}


@pytest.mark.parametrize(("other", "both"), [(SWAP_23, False), (BRIDGE_12, True), (OPEN_2, True)])
def test_a_channel_is_in_one_swap_at_most(other, both):
    scores = Scores({SWAP_12: 5.0, other: 4.0})
    found = explain(scores, [SWAP_12, other])
    assert found == ({SWAP_12, other} if both else {SWAP_12})


def test_no_more_than_twelve_faults_are_taken():
    pool = [Fault((channel,), FaultKind.OPEN) for channel in range(1, 16)]
    assert len(explain(Scores({fault: 1.0 + fault.channels[0] / 100 for fault in pool}), pool)) == 12


# -- how sure -----------------------------------------------------------------------------------------


def test_the_shares_are_those_of_the_alternatives_on_the_same_channels():
    """exp(2) : exp(1) : exp(0) for the fault, its rival and none: 0.6652, 0.2447, 0.0900 (softmax, by hand)."""
    scores = Scores({OPEN_1: 2.0, WEAK_1: 1.0, OPEN_2: 7.0})
    (found,) = weigh(scores, frozenset({OPEN_1}), [OPEN_1, WEAK_1, OPEN_2])
    assert found.fault == OPEN_1
    assert found.probability == pytest.approx(0.6652, abs=5e-5)
    assert [rival for rival, _ in found.rivals] == [WEAK_1, None]
    assert [share for _, share in found.rivals] == pytest.approx([0.2447, 0.0900], abs=5e-5)


def test_nothing_at_all_is_no_alternative_where_a_property_failed():
    scores = Scores({OPEN_1: 2.0, WEAK_1: 1.0})
    (found,) = weigh(scores, frozenset({OPEN_1}), [OPEN_1, WEAK_1], failed=[1])
    assert found.probability == pytest.approx(1 / (1 + math.exp(-1.0)))
    assert [rival for rival, _ in found.rivals] == [WEAK_1]
    (elsewhere,) = weigh(scores, frozenset({OPEN_1}), [OPEN_1, WEAK_1], failed=[2])
    assert len(elsewhere.rivals) == 2


def test_each_fault_is_weighed_with_the_others_as_they_are_in_the_order_of_channels():
    scores = Scores({OPEN_2: 1.0, OPEN_1: 1.0, WEAK_1: 0.0}, {frozenset({OPEN_1, OPEN_2}): 2.0})
    first, second = weigh(scores, frozenset({OPEN_2, OPEN_1}), [OPEN_1, OPEN_2, WEAK_1])
    assert (first.fault, second.fault) == (OPEN_1, OPEN_2)
    assert first.probability == pytest.approx(math.exp(4) / (math.exp(4) + math.exp(1) + math.exp(1)))
    assert second.probability == pytest.approx(math.exp(4) / (math.exp(4) + math.exp(1)))


def test_a_swap_is_no_rival_where_another_swap_stands():
    scores = Scores({SWAP_12: 1.0, OPEN_3: 1.0, SWAP_23: 0.5})
    found = {e.fault: e for e in weigh(scores, frozenset({SWAP_12, OPEN_3}), [SWAP_12, OPEN_3, SWAP_23])}
    assert [rival for rival, _ in found[OPEN_3].rivals] == [None]
    assert {rival for rival, _ in found[SWAP_12].rivals} == {None, SWAP_23}
