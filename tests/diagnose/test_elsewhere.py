"""Wires at the wrong output: a plug one cavity on, rings, and loads that change places with inputs."""

from dataclasses import replace

import pytest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import Noticed
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Verdict, channel_verdict
from loomproof.job.shift import feeds_shifted, wires_shifted


def said(lab):
    evidence = lab.evidence()
    verdicts = judge(lab.job, evidence)
    return verdicts, find(lab.job, evidence, verdicts)


def test_which_wire_sits_where_when_everything_is_one_cavity_on(bench):
    job = bench.jobs["classroom"]
    wires = wires_shifted(job, "H1", 1)
    assert [wires[c] for c in (1, 2, 6, 7, 8, 12)] == [None, 1, 5, None, 7, 11]
    back = wires_shifted(job, "H1", -1)
    assert [back[c] for c in (1, 5, 6, 7, 12)] == [2, 6, None, 8, None]
    assert set(wires_shifted(job, "H2", 1)) == {13, 14, 15, 16}


def test_a_feed_that_enters_beside_a_channel_lands_on_it(bench):
    job = bench.jobs["classroom"]
    moved = tuple(f.model_copy(update={"cavity": "H1-10"}) if f.id == "F2" else f for f in job.feeds)
    job = job.model_copy(update={"feeds": moved})
    assert feeds_shifted(job, "H1", 1) == {7: "F2"}
    assert feeds_shifted(job, "H1", -1) == {}


@pytest.mark.parametrize(
    ("job", "fault", "way"),
    [
        ("inline", "shifted:H1", "toward higher numbers"),
        ("inline", "shifted:H1:-1", "toward lower numbers"),
        ("classroom", "shifted:H1", "toward higher numbers"),
        ("boat", "shifted:H1", ""),  # the feeds enter there, too: everything is dead, on or back
    ],
)
def test_everything_one_cavity_on_is_one_finding(bench, job, fault, way):
    _, findings = said(bench(job, fault, seed=3))
    first = findings[0]
    assert first.fault is FaultKind.SHIFTED, [f.sentence for f in findings]
    assert first.likelihood > 0.9
    assert way in first.sentence
    assert "one cavity on" in first.sentence
    assert not {f.fault for f in findings} & {FaultKind.FEED_OPEN, FaultKind.FEED_WEAK, FaultKind.SWAPPED}


@pytest.mark.parametrize("others", [(2, 3, 4, 5), (2, 11, 13, 14), (3, 6, 7)])
def test_a_ring_of_many_is_one_finding_without_an_impossible_size(bench, others):
    _, findings = said(bench("inline", *(f"swapped:1:{c}" for c in others), seed=3))
    assert [(f.fault, set(f.channels)) for f in findings] == [(FaultKind.SWAPPED, {1, *others})]
    assert "-" not in findings[0].sentence.split("What to do")[1]


@pytest.mark.parametrize(
    ("job", "kind", "pair"),
    [
        ("inline", FaultKind.SWAPPED, (15, 16)),
        ("inline", FaultKind.SWAPPED, (3, 16)),
        ("classroom", FaultKind.SWAPPED, (6, 7)),
        ("boat", FaultKind.SWAPPED, (11, 12)),
        ("inline", FaultKind.BRIDGED, (15, 16)),
        ("inline", FaultKind.BRIDGED, (2, 16)),
        ("boat", FaultKind.BRIDGED, (10, 12)),
    ],
)
def test_an_input_and_a_load_that_touch_or_change_places_are_named(bench, job, kind, pair):
    verdicts, findings = said(bench(job, f"{kind}:{pair[0]}:{pair[1]}", seed=3))
    assert [(f.fault, f.channels) for f in findings] == [(kind, pair)], [f.sentence for f in findings]
    assert all(channel_verdict(verdicts, c) is not Verdict.PASS for c in pair)
    failed = {v.channel for v in verdicts if v.verdict is Verdict.FAIL}
    assert failed <= set(pair)


@pytest.mark.parametrize("ohm", [0.02, 5, 50])
def test_two_inputs_that_touch_are_one_bridge(bench, ohm):
    _, findings = said(bench("classroom", f"bridged:7:8:{ohm}", seed=3))
    assert [(f.fault, f.channels) for f in findings] == [(FaultKind.BRIDGED, (7, 8))]


def test_a_coil_with_its_igniter_inside_in_place_of_a_bare_one_is_not_a_short(bench):
    lab = bench("inline", "wrong_load:8:coil_igniter", seed=3)
    evidence = lab.evidence()
    (found,) = find(lab.job, evidence, judge(lab.job, evidence))
    assert (found.fault, found.channels) == (FaultKind.WRONG_LOAD, (8,))
    # Nobody pulled it: then both look the same, and the finding says so.
    evidence = bench.change(evidence, 8, pull=None)
    (found,) = find(lab.job, evidence, judge(lab.job, evidence))
    assert {FaultKind.WRONG_LOAD, FaultKind.SHORT_TO_GROUND} <= {found.fault, *found.cannot_tell_from}


def test_windings_that_do_not_turn_their_rotor_are_a_finding(bench):
    """Each measures right alone, and a pull opens all four: only that nothing turned is seen."""
    lab = bench("bench", seed=3)
    seen = lab.evidence()
    quiet = {c: replace(seen.channels[c], noticed=Noticed.NOTHING) for c in (10, 11, 12, 13)}
    seen = replace(seen, channels={**seen.channels, **quiet})
    (found,) = find(lab.job, seen, judge(lab.job, seen))
    assert (found.fault, found.channels) == (FaultKind.SWAPPED, (10, 11, 12, 13))
    assert "two of its windings exchanged, or its spindle is stuck" in found.sentence


def test_one_quiet_winding_is_not_an_exchange(bench):
    lab = bench("bench", seed=3)
    seen = bench.change(lab.evidence(), 11, noticed=Noticed.NOTHING)
    assert FaultKind.SWAPPED not in {f.fault for f in find(lab.job, seen, judge(lab.job, seen))}


@pytest.mark.parametrize("pair", [(1, 2), (11, 3), (14, 13), (3, 15)])
def test_two_loads_on_one_wire_are_told_from_a_bridge(bench, pair):
    """The second channel has nothing, whichever stands first in the job."""
    verdicts, findings = said(bench("inline", f"two_on_one_wire:{pair[0]}:{pair[1]}", seed=3))
    assert [(f.fault, f.channels) for f in findings] == [(FaultKind.TWO_ON_ONE_WIRE, pair)]
    assert "both loads on the wire of the first" in findings[0].sentence
    assert {v.channel for v in verdicts if v.verdict is Verdict.FAIL} <= set(pair)


def test_inputs_that_lose_their_ground_at_once_are_one_finding(bench):
    _, findings = said(bench("classroom", "ground_open:7", seed=3))
    assert [(f.fault, f.channels) for f in findings] == [(FaultKind.GROUND_OPEN, (7, 8, 9, 10, 11, 12))]


def test_one_input_that_is_open_alone_is_no_lost_ground(bench):
    _, findings = said(bench("classroom", "open:9", seed=3))
    assert [(f.fault, f.channels) for f in findings] == [(FaultKind.OPEN, (9,))]
