"""Odds of words: every table is a probability, and a score adds the logarithms of what was seen and of nothing else."""

import math
from dataclasses import fields, replace

import pytest

from loomproof.diagnose.faults.odds import NO_CIRCUIT, SHORTED, Odds, OddsTable, off_shape_odds, sound_odds
from loomproof.diagnose.faults.registry import FAULTS
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.evidence import Noticed, PullResult
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOGIC_KINDS, MOVING_KINDS, WINDING_KINDS
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=1, rest=Rest.UNKNOWN, conduct=Conduct.UNKNOWN)
"""A channel of which nothing is known but that its current is steady."""
NEVER = 1e-4
"""What no table names has this probability (judgement of this project, unchecked)."""
TABLES = {f"{kind}": what.odds for kind, what in FAULTS.items()}
TABLES |= {f"{kind} on {on}": table for kind, what in FAULTS.items() for on, table in what.odds_on.items()}
TABLES |= {"no circuit": NO_CIRCUIT, "shorted": SHORTED}
WORDS = {
    "rest": set(map(str, Rest)) - {str(Rest.UNKNOWN)},
    "conduct": set(map(str, Conduct)) - {str(Conduct.UNKNOWN)},
    "moved": set(map(str, HasMoved)),
    "off_shape": set(map(str, OffShape)),
    "noticed": {"something", "nothing"},
    "pull": {"matched", "none", "other", "several"},
}


def words_of(table: OddsTable) -> dict[str, Odds]:
    return {name: odds for name in WORDS if (odds := getattr(table, name)) is not None}


# -- the tables ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(TABLES))
def test_the_words_of_a_fault_are_a_probability(name):
    """They exclude each other and one of them is seen, so they sum to 1 (Kolmogorov's axioms).

    The shapes after a pulse are the exception: three shapes that are not due have 0.003 each, whichever is due.
    """
    for feature, odds in words_of(TABLES[name]).items():
        slack = 0.0115 if feature == "off_shape" else 1e-9
        assert sum(odds.values()) == pytest.approx(1.0, abs=slack), feature
        assert {str(word) for word in odds} <= WORDS[feature], feature
        assert all(0.0 < share < 1.0 for share in odds.values()), feature
    for feature in ("dropouts", "unsteady"):
        share = getattr(TABLES[name], feature)
        assert share is None or 0.0 < share < 1.0


@pytest.mark.parametrize("load", CATALOGUE.values(), ids=lambda load: load.key)
def test_what_a_sound_circuit_shows_is_a_probability_and_what_is_due_the_likeliest(load):
    table = sound_odds(load)
    due = {
        "rest": Rest.HELD_LOW if load.kind in LOGIC_KINDS else Rest.CONNECTED,
        "conduct": Conduct.FLOWS,
        "noticed": "something",
        "pull": "matched",
    }
    if load.kind in MOVING_KINDS:
        due["moved"] = HasMoved.YES
    if load.kind in WINDING_KINDS:
        shapes = {Suppression.NONE: "clamp", Suppression.DIODE: "diode", Suppression.RESISTOR: "resistor"}
        due["off_shape"] = shapes[load.suppression]
    assert set(words_of(table)) == set(due)
    for feature, odds in words_of(table).items():
        assert sum(odds.values()) == pytest.approx(1.0, abs=0.0115 if feature == "off_shape" else 1e-9)
        assert max(odds, key=lambda word, odds=odds: odds[word]) == due[feature]
        assert odds[due[feature]] >= 0.8
    assert 0.0 < table.dropouts < 0.01
    assert 0.0 < table.unsteady < 0.01


def test_what_is_easily_missed_is_noticed_less_surely():
    """A quiet load against one that clicks, spins or lights."""
    quiet = {load.key for load in CATALOGUE.values() if sound_odds(load).noticed["nothing"] == 0.2}
    loud = {load.key for load in CATALOGUE.values() if sound_odds(load).noticed["nothing"] == 0.03}
    assert quiet | loud == set(CATALOGUE)
    assert quiet
    assert loud


@pytest.mark.parametrize("due", [shape for shape in OffShape if shape is not OffShape.CANNOT_TELL])
def test_the_shape_that_is_due_is_likely_and_one_that_cannot_be_told_no_wonder(due):
    odds = off_shape_odds(due)
    others = [odds[str(s)] for s in OffShape if s not in (due, OffShape.CANNOT_TELL)]
    assert odds[str(due)] == 0.96
    assert odds[str(OffShape.CANNOT_TELL)] == 0.02
    assert others == [0.003] * 3


# -- one table under another ----------------------------------------------------------------------------


def test_a_fault_says_something_of_what_it_names_and_leaves_the_rest():
    before = OddsTable(rest={"a": 1.0}, pull={"b": 1.0}, dropouts=0.5)
    after = before.under(OddsTable(pull={"c": 1.0}, unsteady=0.25))
    assert after == OddsTable(rest={"a": 1.0}, pull={"c": 1.0}, dropouts=0.5, unsteady=0.25)
    assert before.under(OddsTable()) == before
    assert {f.name for f in fields(OddsTable)} == {*WORDS, "dropouts", "unsteady"}


# -- scores -----------------------------------------------------------------------------------------------

WHOLE = OddsTable(
    rest={Rest.CONNECTED: 0.5},
    conduct={Conduct.FLOWS: 0.25, Conduct.NONE: 0.75},
    moved={HasMoved.YES: 0.2},
    off_shape={str(OffShape.CLAMP): 0.1, str(OffShape.CANNOT_TELL): 0.3},
    noticed={"something": 0.6, "nothing": 0.4},
    pull={"matched": 0.7, "other": 0.15, "skipped": 0.9},
    dropouts=0.05,
    unsteady=0.01,
)
STEADY = math.log(0.99)


def pulled(outcome, *moved):
    return PullResult(1, moved, outcome)


@pytest.mark.parametrize(
    ("changes", "shares"),
    [
        ({}, []),
        ({"rest": Rest.CONNECTED}, [0.5]),
        ({"rest": Rest.FLOATING}, [NEVER]),
        ({"conduct": Conduct.NONE}, [0.75]),
        ({"conduct": Conduct.EXCESS}, [NEVER]),
        ({"conduct": Conduct.FLOWS}, [0.25, 0.3]),
        ({"conduct": Conduct.FLOWS, "off_shape": OffShape.CLAMP}, [0.25, 0.1]),
        ({"conduct": Conduct.NONE, "off_shape": OffShape.CLAMP}, [0.75]),
        ({"conduct": Conduct.FLOWS, "moved": HasMoved.YES}, [0.25, 0.3, 0.2]),
        ({"conduct": Conduct.FLOWS, "moved": HasMoved.NO}, [0.25, 0.3, NEVER]),
        ({"conduct": Conduct.NONE, "moved": HasMoved.YES}, [0.75]),
        ({"noticed": Noticed.HEARD}, [0.6]),
        ({"noticed": Noticed.SEEN}, [0.6]),
        ({"noticed": Noticed.NOTHING}, [0.4]),
        ({"pull": pulled("matched", 1)}, [0.7]),
        ({"pull": pulled("several", 1, 2)}, [NEVER]),
        ({"pull": pulled("skipped")}, []),
        ({"pull": pulled("other", 2)}, [0.15]),
        ({"watched": True}, [0.95]),
        ({"watched": True, "dropouts": 1}, [0.05]),
        ({"watched": False, "dropouts": 1}, []),
    ],
    ids=str,
)
def test_a_score_is_the_sum_of_the_logarithms_of_what_was_seen(changes, shares):
    expected = STEADY + sum(map(math.log, shares))
    assert WHOLE.score(replace(SEEN, **changes)) == pytest.approx(expected, abs=1e-12)


def test_unsteady_current_is_as_likely_as_the_table_says():
    assert WHOLE.score(replace(SEEN, unsteady=True)) == pytest.approx(math.log(0.01))
    assert replace(WHOLE, unsteady=None).score(replace(SEEN, unsteady=True)) == 0.0


def test_a_table_that_says_nothing_scores_nothing():
    everything = replace(
        SEEN,
        rest=Rest.FLOATING,
        conduct=Conduct.FLOWS,
        moved=HasMoved.NO,
        noticed=Noticed.HEARD,
        pull=pulled("other", 2),
        watched=True,
        dropouts=3,
        unsteady=True,
    )
    assert OddsTable().score(everything) == 0.0
    assert OddsTable().score(everything, 5) == 0.0
    assert OddsTable().surprises(everything) == []


@pytest.mark.parametrize(
    ("pull", "moved_elsewhere", "share"),
    [
        (pulled("other", 2), 2, 0.15),
        (pulled("other", 2, 3), 3, 0.15),
        (pulled("other", 2), 3, NEVER),
        (pulled("other", 2), None, 0.15),
        (pulled("matched", 1), 3, 0.7),
        (pulled("skipped"), 3, 1.0),
    ],
)
def test_a_pull_that_opens_another_channel_than_the_swap_names_is_against_it(pull, moved_elsewhere, share):
    seen = replace(SEEN, pull=pull)
    assert WHOLE.score(seen, moved_elsewhere) == pytest.approx(STEADY + math.log(share))


def test_no_share_is_taken_below_the_least():
    table = OddsTable(rest={Rest.CONNECTED: 1e-9})
    assert table.score(replace(SEEN, rest=Rest.CONNECTED)) == pytest.approx(math.log(NEVER))


# -- surprises ----------------------------------------------------------------------------------------------


def test_what_is_seen_less_often_than_once_in_twenty_is_a_surprise():
    for share, surprising in ((0.0499, True), (0.05, False), (0.0501, False)):
        table = OddsTable(
            rest={Rest.CONNECTED: share},
            conduct={Conduct.FLOWS: share},
            moved={HasMoved.YES: share},
            off_shape={str(OffShape.CLAMP): share},
            noticed={"something": share},
            pull={"matched": share},
        )
        seen = replace(
            SEEN,
            rest=Rest.CONNECTED,
            conduct=Conduct.FLOWS,
            moved=HasMoved.YES,
            off_shape=OffShape.CLAMP,
            noticed=Noticed.HEARD,
            pull=pulled("matched", 1),
        )
        words = [
            "the pin rests at the supply",
            "current flows",
            f"moved: {HasMoved.YES}",
            "after the pulse: clamp",
            "the operator heard it",
            "pulling its connector opened it and no other",
        ]
        assert table.surprises(seen) == (words if surprising else [])


def test_what_no_table_names_is_a_surprise_and_what_was_not_looked_at_is_none():
    table = OddsTable(rest={}, conduct={}, moved={}, off_shape={}, noticed={}, pull={})
    assert table.surprises(SEEN) == []
    assert table.surprises(replace(SEEN, pull=pulled("skipped"))) == []
    assert table.surprises(replace(SEEN, rest=Rest.BETWEEN)) == ["the pin rests in between"]
    assert table.surprises(replace(SEEN, noticed=Noticed.NOTHING)) == ["the operator noticed nothing"]
    no_current = replace(SEEN, conduct=Conduct.NONE, moved=HasMoved.YES, off_shape=OffShape.CLAMP)
    assert table.surprises(no_current) == ["no current"]
    flowing = replace(SEEN, conduct=Conduct.FLOWS)
    assert table.surprises(flowing) == ["current flows"]
    outcomes = {
        "matched": "pulling its connector opened it and no other",
        "other": "pulling its connector opened another channel",
        "several": "pulling its connector opened several channels",
        "none": "pulling its connector opened nothing",
    }
    for outcome, words in outcomes.items():
        assert table.surprises(replace(SEEN, pull=pulled(outcome, 2))) == [words]


# -- priors ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", FAULTS)
def test_a_ring_of_more_channels_is_rarer_by_its_share_each(kind):
    what = FAULTS[kind]
    assert what.log_prior(1) == what.log_prior(2) == pytest.approx(math.log(what.prior))
    step = math.log(what.share_per_more)
    assert what.log_prior(3) == pytest.approx(math.log(what.prior) + step)
    assert what.log_prior(5) == pytest.approx(math.log(what.prior) + 3 * step)
