"""Whole looms on the simulated plant: what is sound passes, what is faulty is named or at least doubted."""

from dataclasses import replace

import pytest

from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.expected.temperature import copper_thermometer
from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Noticed
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property, Verdict, channel_verdict

JOBS = ("inline", "boat", "bench", "classroom")


def said(bench):
    evidence = bench.evidence()
    verdicts = judge(bench.job, evidence)
    return verdicts, find(bench.job, evidence, verdicts)


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("seed", [21, 22])
def test_a_sound_loom_passes_and_nothing_is_found(bench, job, seed):
    lab = bench(job, seed=seed)
    verdicts, findings = said(lab)
    doubts = [
        (v.channel, v.property, v.reason) for v in verdicts if v.verdict in {Verdict.FAIL, Verdict.UNSURE}
    ]
    assert doubts == []
    assert findings == ()
    measured = [c.channel for c in lab.job.channels if c.fitted and c.partner is None]
    assert all(channel_verdict(verdicts, c) is Verdict.PASS for c in measured)


@pytest.mark.parametrize(
    ("job", "fault"),
    [
        ("inline", "open:3"),
        ("inline", "short_to_ground:13"),
        ("inline", "short_to_ground:7"),
        ("inline", "added_resistance:3:5"),
        ("inline", "shorted_turns:2:0.2"),
        ("inline", "stuck_armature:4"),
        ("inline", "wrong_load:2:injector_low"),
        ("inline", "swapped:1:4"),
        ("inline", "swapped:5:11"),
        ("inline", "bridged:1:4"),
        ("inline", "feed_open:F1"),
        ("inline", "feed_weak:F2:1.5"),
        ("bench", "weak_supply:0.6"),
        ("bench", "stuck_armature:1"),
        ("bench", "suppression_missing:3"),
        ("boat", "stuck_armature:8"),
        ("classroom", "stuck_armature:1"),
    ],
)
def test_a_single_fault_is_named_first_with_its_channel(bench, job, fault):
    lab = bench(job, fault, seed=31)
    kind, *where = fault.split(":")
    verdicts, findings = said(lab)
    first = findings[0]
    assert first.fault == kind, [f.sentence for f in findings]
    channels = {int(w) for w in where[: 2 if kind in {"swapped", "bridged"} else 1] if w.isdigit()}
    assert channels <= set(first.channels)
    if first.channels and kind != "weak_supply":
        assert all(c in first.sentence for c in first.cavities) or first.feed in first.sentence
        assert any(channel_verdict(verdicts, c) is not Verdict.PASS for c in first.channels)
    assert len(findings) == 1, [f.sentence for f in findings]


@pytest.mark.parametrize("fault", ["short_to_supply:2", "short_across_load:2"])
def test_what_low_side_switching_cannot_separate_is_said_so(bench, fault):
    _, findings = said(bench("inline", fault, seed=31))
    pair = {FaultKind.SHORT_TO_SUPPLY, FaultKind.SHORT_ACROSS_LOAD}
    assert {findings[0].fault, *findings[0].cannot_tell_from} >= pair
    assert "cannot tell it from" in findings[0].sentence
    assert findings[0].together > 0.6 > findings[0].likelihood


def test_a_reversed_diode_is_named_among_the_shorts(bench):
    _, findings = said(bench("bench", "suppression_reversed:2", seed=31))
    assert FaultKind.SUPPRESSION_REVERSED in {findings[0].fault, *findings[0].cannot_tell_from}


@pytest.mark.parametrize("faults", [("open:3", "swapped:6:9"), ("stuck_armature:2", "added_resistance:12:4")])
def test_two_faults_are_both_named(bench, faults):
    _, findings = said(bench("inline", *faults, seed=31))
    assert {f.fault for f in findings[:2]} == {f.split(":")[0] for f in faults}


def test_a_rotation_of_three_is_one_finding(bench):
    _, findings = said(bench("inline", "swapped:1:2", "swapped:2:3", seed=31))
    assert [f.fault for f in findings] == [FaultKind.SWAPPED]
    assert sorted(findings[0].channels) == [1, 2, 3]
    assert "rotated" in findings[0].sentence


def test_dropouts_are_an_intermittent_contact(bench):
    lab = bench("inline", seed=31)
    evidence = bench.change(lab.evidence(), 3, dropouts=4, watched=True)
    verdicts = judge(lab.job, evidence)
    assert channel_verdict(verdicts, 3) is Verdict.FAIL
    assert [(f.fault, f.channels) for f in find(lab.job, evidence, verdicts)] == [
        (FaultKind.INTERMITTENT, (3,))
    ]


def action(lab, evidence, channel):
    return next(v for v in judge(lab.job, evidence) if v.channel == channel and v.property is Property.ACTION)


@pytest.mark.parametrize(
    ("moved", "noticed", "verdict"),
    [
        (HasMoved.YES, Noticed.NOTHING, Verdict.PASS),
        (HasMoved.NO, Noticed.NOTHING, Verdict.FAIL),
        (HasMoved.NO, Noticed.HEARD, Verdict.UNSURE),
        (HasMoved.CANNOT_TELL, Noticed.HEARD, Verdict.PASS),
        (HasMoved.CANNOT_TELL, Noticed.NOTHING, Verdict.UNSURE),
        (HasMoved.CANNOT_TELL, Noticed.NOT_ASKED, Verdict.UNSURE),
    ],
)
def test_action_from_the_dip_and_the_operator(bench, moved, noticed, verdict):
    lab = bench("inline", seed=31)
    evidence = lab.evidence()
    signature = replace(evidence.of(1).signature, moved=moved)
    assert action(lab, bench.change(evidence, 1, signature=signature, noticed=noticed), 1).verdict is verdict


def test_nothing_seen_is_never_a_pass(bench):
    lab = bench("inline", seed=31)
    evidence = replace(lab.evidence(), channels={})
    assert {channel_verdict(judge(lab.job, evidence), c.channel) for c in lab.job.channels} == {
        Verdict.NOT_TESTED
    }


def test_a_resting_pin_at_the_supply_alone_is_not_a_pass(bench):
    lab = bench("inline", seed=31)
    evidence = bench.change(lab.evidence(), 1, signature=None, sense=None, noticed=Noticed.NOT_ASKED)
    assert channel_verdict(judge(lab.job, evidence), 1) is Verdict.NOT_TESTED


def test_every_number_is_judged_against_a_limit_with_a_source(bench):
    verdicts, _ = said(bench("boat", seed=31))
    numeric = [v for v in verdicts if v.measured is not None]
    assert len(numeric) > 10
    assert all(v.limit_source for v in numeric)
    odds = [v for v in numeric if v.property in {Property.RESISTANCE, Property.INDUCTANCE, Property.INRUSH}]
    assert odds
    assert all(v.log_odds is not None and v.low < v.high for v in odds)


@pytest.mark.parametrize("heat", [0.0, 60.0])
def test_the_loom_is_its_own_thermometer(bench, heat):
    lab = bench("inline", seed=31, temperature_c=heat, spread=0.0)
    seen = copper_thermometer(lab.job, lab.evidence())
    assert seen.value == pytest.approx(heat, abs=seen.u)
    assert 5.0 < seen.u < 40.0  # the catalogue's tolerance is what limits it


def test_a_faulty_sister_is_no_measure_for_the_others(bench):
    lab = bench("inline", "bridged:2:4", seed=31)
    bands = expect(lab.job, lab.evidence()).sisters
    assert bands[1].middle == pytest.approx(14.0, rel=0.2)


def with_source(evidence, ohm, u):
    """The same loom behind a supply seen with so much ohm, and so coarsely, on every load."""
    channels = {
        c: replace(own, signature=own.signature.but(source_ohm=Estimate(ohm, u)))
        for c, own in evidence.channels.items()
        if own.signature is not None
    }
    return replace(evidence, channels={**evidence.channels, **channels})


@pytest.mark.parametrize(
    ("ohm", "u", "verdict"),
    [
        (0.97, 0.07, Verdict.FAIL),  # coarse, and yet far beyond: each load alone tells
        (0.60, 0.15, Verdict.FAIL),  # all together tell
        (0.36, 0.12, Verdict.UNSURE),
        (0.12, 0.12, Verdict.NOT_TESTED),
        (0.60, 2.00, Verdict.NOT_TESTED),
    ],
)
def test_a_ripple_that_blurs_the_supply_does_not_hide_a_weak_one(bench, ohm, u, verdict):
    lab = bench("boat", seed=31)
    evidence = with_source(lab.evidence(), ohm, u)
    verdicts = judge(lab.job, evidence)
    assert {v.verdict for v in verdicts if v.property is Property.FEED} == {verdict}
    found = [f.fault for f in find(lab.job, evidence, verdicts)]
    assert (found == [FaultKind.WEAK_SUPPLY]) == (verdict is Verdict.FAIL)
