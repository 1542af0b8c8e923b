"""Sisters, the loom's copper and earlier records as references: what they promise about false alarms."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof.diagnose.expected.band import DOUBT_RATE, FAIL_RATE
from loomproof.diagnose.expected.sisters import Sister, sister_bands
from loomproof.diagnose.expected.temperature import (
    copper_thermometer,
    loom_temperature,
    spread_about,
    warming,
)
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Baseline
from loomproof.facts.verdict import Property, Verdict


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 8, 11, 15])
def test_the_spread_of_normal_values_is_their_standard_deviation(count):
    draws = np.random.default_rng(count).standard_normal((4000, count))
    squares = [spread_about(row, float(np.median(row))) ** 2 for row in draws]
    assert np.sqrt(np.mean(squares)) == pytest.approx(1.0, abs=0.04)


def test_one_bad_sister_does_not_widen_the_spread():
    values = np.array([13.9, 14.0, 14.05, 14.1, 25.0])
    assert spread_about(values, 14.05) < 0.4


@pytest.mark.parametrize(
    ("sigma", "doubts", "fails"),
    # Parts that scatter twice as much as the prior says are doubted more often, but hardly failed.
    [
        (0.005, 2.0 * DOUBT_RATE, 2.0 * FAIL_RATE),
        (0.01, 4.0 * DOUBT_RATE, 6.0 * FAIL_RATE),
        (0.02, 0.08, 0.01),
    ],
)
def test_sound_sisters_are_doubted_and_failed_as_seldom_as_promised(sigma, doubts, fails):
    rng = np.random.default_rng(7)
    doubted = failed = trials = 0
    for _ in range(700):
        ohms = 14.0 * (1.0 + sigma * rng.standard_normal(6))
        seen = {c: Sister(Estimate(float(ohms[c - 1]), 0.01), 0.1) for c in range(1, 7)}
        groups = {c: tuple(range(1, 7)) for c in range(1, 7)}
        for c, band in sister_bands(groups, seen, "resistance", joints=True).items():
            trials += 1
            doubted += not band.low <= ohms[c - 1] <= band.high
            failed += not band.low - band.doubt_below <= ohms[c - 1] <= band.high + band.doubt
    assert doubted / trials < doubts
    assert failed / trials < fails


def test_a_longer_wire_is_not_taken_for_a_joint():
    seen = {c: Sister(Estimate(2.5 + wire, 0.003), wire) for c, wire in enumerate((0.05, 0.06, 0.05, 0.3), 1)}
    band = sister_bands({4: (1, 2, 3, 4)}, seen, "resistance", joints=True)[4]
    assert band.low < 2.8 < band.high
    assert band.middle == pytest.approx(2.8)


def test_what_two_types_leave_over_is_narrower_than_one(bench):
    lab = bench("inline", seed=31, temperature_c=40.0, spread=0.0)
    evidence = lab.evidence()
    seen = copper_thermometer(lab.job, evidence)
    both = loom_temperature(lab.job, evidence)
    assert abs(seen.value - 40.0) < 2.0 * seen.u
    assert both.u < seen.u
    assert abs(both.value - 40.0) < 3.0 * both.u


@pytest.fixture(scope="module")
def recorded(bench):
    lab = bench("inline", seed=31)
    evidence = lab.evidence()
    signatures = {c: own.signature for c, own in evidence.channels.items() if own.signature is not None}
    return lab, evidence, Baseline("r", "2026-01-01", "SIM-1", signatures)


def warmed(evidence, factor, but=None, extra=0.0):
    channels = {}
    for c, own in evidence.channels.items():
        ohm = own.signature.resistance_ohm if own.signature is not None else None
        if ohm is None:
            channels[c] = own
            continue
        more = extra if c == but else 0.0
        signature = own.signature.but(resistance_ohm=replace(ohm, value=ohm.value * factor + more))
        channels[c] = replace(own, signature=signature)
    return replace(evidence, channels=channels)


def test_a_warmer_loom_is_not_at_odds_with_its_record(recorded):
    lab, evidence, earlier = recorded
    later = warmed(evidence, 1.03).compared_with(earlier, "SIM-1")
    change, _, _ = warming(lab.job, later, but=12)
    assert change.value == pytest.approx(0.03, abs=1e-3)
    copper = (1, 2, 3, 4, 5, 12, 14)
    words = {v.channel: v.verdict for v in judge(lab.job, later) if v.property is Property.RESISTANCE}
    assert {words[c] for c in copper} == {Verdict.PASS}


@pytest.mark.parametrize(
    ("same_box", "ohm", "verdict"), [("SIM-1", 0.45, Verdict.FAIL), ("", 0.02, Verdict.PASS)]
)
def test_a_joint_is_seen_against_the_record_although_all_got_warmer(recorded, same_box, ohm, verdict):
    lab, evidence, earlier = recorded
    later = warmed(evidence, 1.02, but=12, extra=ohm).compared_with(earlier, same_box)
    (found,) = [v for v in judge(lab.job, later) if v.channel == 12 and v.property is Property.RESISTANCE]
    assert found.verdict is verdict
    if verdict is Verdict.FAIL:
        assert "own earlier record" in found.limit_source
        assert "against its own earlier record" in found.reason
