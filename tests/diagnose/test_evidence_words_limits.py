"""What speaks for a fault, word by word and digit by digit."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from loomproof.diagnose.explain.evidence_words import evidence_against, evidence_for
from loomproof.diagnose.faults.definition import Hypothesis
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import PullResult
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=3, rest=Rest.CONNECTED, conduct=Conduct.FLOWS)
OPEN = Hypothesis(FaultKind.OPEN, (3,))


def words(**seen):
    (text,) = evidence_for(OPEN, {3: replace(SEEN, **seen)})
    first, rest = "channel 3: its pin rests at the supply", text.split(", ")
    assert rest[:2] == [first, "current flows"]
    return rest[2:]


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        # Expanded with k = 2 and rounded to two digits (GUM 7.2.6)
        (14.0, 0.1, "(14.00 ± 0.20) ohm"),
        (14.0, 0.049, "(14.000 ± 0.098) ohm"),
        (14.0, 0.05, "(14.00 ± 0.10) ohm"),
        (140.0, 0.6, "(140.0 ± 1.2) ohm"),
        (140.0, 6.0, "(140 ± 12) ohm"),
        (1400.0, 60.0, "(1400 ± 120) ohm"),
        (14.0, 0.0, "(14.000 ± 0.000) ohm"),
    ],
)
def test_a_resistance_has_its_expanded_uncertainty(value, u, text):
    assert words(resistance=Estimate(value, u)) == [text]


def test_an_inductance_is_in_millihenry():
    assert words(inductance=Estimate(14e-3, 0.1e-3)) == ["(14.00 ± 0.20) mH"]


def test_what_moved_and_what_let_go():
    assert words(moved=HasMoved.NO) == [f"moved: {HasMoved.NO}"]
    assert words(dropouts=1) == ["1 dropout"]
    assert words(dropouts=2) == ["2 dropouts"]
    assert words() == []


@pytest.mark.parametrize(
    ("outcome", "moved", "text"),
    [
        ("matched", (3,), ["pulling its connector opened it and no other"]),
        ("none", (), ["pulling its connector opened no channel"]),
        ("other", (5,), ["pulling its connector opened channel 5"]),
        ("several", (5, 6), ["pulling its connector opened channels 5", "6"]),
        ("skipped", (), []),
    ],
)
def test_what_a_pull_opened(outcome, moved, text):
    assert words(pull=PullResult(3, moved, outcome)) == text


def test_each_channel_of_a_fault_speaks_for_itself():
    both = Hypothesis(FaultKind.SWAPPED, (3, 4))
    found = evidence_for(both, {3: SEEN, 4: replace(SEEN, channel=4, conduct=Conduct.NONE)})
    assert found == (
        "channel 3: its pin rests at the supply, current flows",
        "channel 4: its pin rests at the supply, no current",
    )


def test_what_is_rare_with_a_fault_speaks_against_it_where_it_was_seen():
    table = OddsTable(rest={Rest.CONNECTED: 0.01}, conduct={Conduct.FLOWS: 0.01, Conduct.NONE: 0.9})
    scorer = SimpleNamespace(
        channel_under=lambda channel, faults: SimpleNamespace(
            odds=table if channel in faults[0].channels else OddsTable()
        ),
        features={3: SEEN, 4: replace(SEEN, rest=Rest.UNKNOWN, conduct=Conduct.NONE)},
    )
    both = Hypothesis(FaultKind.SWAPPED, (3, 4))
    assert evidence_against(scorer, both) == (
        "channel 3: the pin rests at the supply, current flows, which is rare with this fault",
    )
