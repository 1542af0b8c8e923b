"""Swaps drawn from pull checks, shared causes, and the words of every fault."""

from dataclasses import replace

import pytest

from loomproof.diagnose.explain.candidates import log_prior
from loomproof.diagnose.explain.find import find
from loomproof.diagnose.faults.definition import Hypothesis
from loomproof.diagnose.faults.registry import FAULTS
from loomproof.diagnose.faults.swapped import swap_cycles
from loomproof.diagnose.faults.words import place, sentence
from loomproof.diagnose.observed.features import Conduct, Features, Rest
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import Noticed, PullResult
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import OffShape


def features(channel, outcome, lost):
    return Features(
        channel=channel,
        rest=Rest.CONNECTED,
        conduct=Conduct.FLOWS,
        resistance=None,
        inductance=None,
        moved=None,
        off_shape=OffShape.CANNOT_TELL,
        noticed=Noticed.NOT_ASKED,
        pull=PullResult(channel, lost, outcome),
        dropouts=0,
        watched=False,
        steady=None,
        inrush=None,
        source_ohm=None,
        unsteady=False,
    )


@pytest.mark.parametrize(
    ("pulls", "cycles"),
    [
        ({1: ("matched", (1,)), 2: ("matched", (2,))}, []),
        ({1: ("other", (2,)), 2: ("other", (1,))}, [(1, 2)]),
        ({1: ("other", (2,)), 2: ("other", (3,)), 3: ("other", (1,))}, [(1, 2, 3)]),
        ({1: ("other", (3,)), 2: ("other", (1,)), 3: ("other", (2,))}, [(1, 3, 2)]),
        ({1: ("other", (2,)), 2: ("none", ())}, [(1, 2)]),
        ({1: ("several", (2, 3)), 2: ("matched", (2,)), 3: ("matched", (3,))}, []),
        (
            {1: ("other", (2,)), 2: ("other", (1,)), 3: ("other", (4,)), 4: ("other", (3,))},
            [(1, 2), (3, 4)],
        ),
    ],
)
def test_cycles_that_the_pull_checks_draw(pulls, cycles):
    found = swap_cycles({c: features(c, *pull) for c, pull in pulls.items()})
    assert [h.channels for h in found] == cycles
    assert all(h.kind is FaultKind.SWAPPED for h in found)


def test_a_longer_rotation_is_less_expected_than_a_pair():
    pair, three = Hypothesis(FaultKind.SWAPPED, (1, 2)), Hypothesis(FaultKind.SWAPPED, (1, 2, 3))
    assert log_prior(three) < log_prior(pair) < 0.0


@pytest.mark.parametrize("kind", list(FaultKind))
def test_the_first_words_say_where_what_and_what_to_do(bench, kind):
    job = bench.jobs["boat"]
    feed = job.feeds[0]
    fed = tuple(c.channel for c in job.channels if c.feed == feed.id and c.fitted)
    fault = {
        FaultKind.WEAK_SUPPLY: Hypothesis(kind, ()),
        FaultKind.FEED_OPEN: Hypothesis(kind, fed, feed.id),
        FaultKind.FEED_WEAK: Hypothesis(kind, fed, feed.id),
        FaultKind.SWAPPED: Hypothesis(kind, (1, 2)),
        FaultKind.BRIDGED: Hypothesis(kind, (1, 2)),
        FaultKind.TWO_ON_ONE_WIRE: Hypothesis(kind, (1, 2)),
        FaultKind.GROUND_OPEN: Hypothesis(kind, (1, 2)),
        FaultKind.WRONG_SET: Hypothesis(kind, (1, 2)),
        FaultKind.SHIFTED: Hypothesis(kind, (1, 2), cavities_on=1),
    }.get(kind, Hypothesis(kind, (3,)))
    text = sentence(job, fault, "", ())
    assert FAULTS[kind].advice.remedy in text
    if fault.feed:
        assert feed.id in text
        assert feed.name in text
    elif kind in {FaultKind.WRONG_SET, FaultKind.SHIFTED, FaultKind.GROUND_OPEN}:
        assert "channels 1, 2" in text
    elif fault.channels:
        assert all(job.channel(c).cavity in text for c in fault.channels)
        assert all(job.location_of(c).name.lower() in text.lower() for c in fault.channels)
    else:
        assert text.startswith("Supply:")


def test_a_place_is_told_by_channel_cavity_and_colour(bench):
    job = bench.jobs["boat"]
    entry = job.channel(1)
    text = place(job, 1)
    assert text.startswith(f"channel 1, cavity {entry.cavity}")
    assert entry.wire is None or str(entry.wire) in text


def test_all_loads_of_a_feed_dead_is_one_finding_and_all_but_one_is_not(bench):
    lab = bench("boat", "feed_open:F3", seed=31)
    evidence = lab.evidence()
    whole = find(lab.job, evidence, judge(lab.job, evidence))
    assert [(f.fault, f.feed) for f in whole] == [(FaultKind.FEED_OPEN, "F3")]
    healthy = bench("boat", seed=31).evidence()
    fed = whole[0].channels
    assert len(fed) > 1
    spared = replace(evidence, channels={**evidence.channels, fed[0]: healthy.of(fed[0])})
    kinds = {f.fault for f in find(lab.job, spared, judge(lab.job, spared))}
    assert kinds == {FaultKind.OPEN}


def test_a_finding_tells_what_speaks_against_it_and_what_would_settle_it(bench):
    lab = bench("inline", "open:3", seed=31)
    evidence = bench.change(lab.evidence(), 3, noticed=Noticed.HEARD)
    findings = find(lab.job, evidence, judge(lab.job, evidence))
    (finding,) = [f for f in findings if 3 in f.channels]
    assert "the operator heard it, which is rare with this fault" in " ".join(finding.evidence_against)
    assert finding.next_measurement
