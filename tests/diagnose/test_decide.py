import math

import numpy as np
import pytest

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.rules.case import against, vouched
from loomproof.diagnose.rules.decide import FAULTY_SHARE, decide, risk_among_parts
from loomproof.facts.estimate import Estimate
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict, channel_verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (10.0, Verdict.PASS),
        (11.5, Verdict.UNSURE),
        (12.5, Verdict.UNSURE),
        (14.5, Verdict.FAIL),
        (5.0, Verdict.FAIL),
    ],
)
def test_pass_inside_fail_outside_unsure_between(value, verdict):
    assert decide(Estimate(value, 1.0), 8.0, 12.0, 0.95).verdict is (
        Verdict.PASS if value == 10.0 else verdict
    )


def test_no_measurement_however_bad_passes_for_being_uncertain():
    for u in (2.1, 5.0, 100.0):
        assert decide(Estimate(10.0, u), 8.0, 12.0).verdict is Verdict.UNSURE


def test_few_degrees_of_freedom_widen_the_guard():
    many, few = Estimate(10.0, 0.9), Estimate(10.0, 0.9, 2.0)
    assert decide(many, 8.0, 12.0).verdict is Verdict.PASS
    assert decide(few, 8.0, 12.0).verdict is Verdict.UNSURE


def test_the_stated_risk_is_the_chance_of_the_other():
    accepted = decide(Estimate(10.0, 0.5), None, 12.0)
    assert accepted.risk == pytest.approx(1 - accepted.probability)
    rejected = decide(Estimate(14.0, 0.5), None, 12.0)
    assert rejected.risk == pytest.approx(rejected.probability)
    assert decide(Estimate(12.0, 0.5), None, 12.0).risk is None


def test_limits_the_wrong_way_round():
    with pytest.raises(ValueError, match="above the upper"):
        decide(Estimate(1.0, 0.1), 2.0, 1.0)


def verdict(about, what):
    return PropertyVerdict(1, about, what)


@pytest.mark.parametrize(
    ("given", "channel"),
    [
        ([Verdict.PASS, Verdict.PASS, Verdict.PASS], Verdict.PASS),
        ([Verdict.PASS, Verdict.NOT_TESTED, Verdict.PASS], Verdict.NOT_TESTED),
        ([Verdict.NOT_TESTED, Verdict.PASS], Verdict.NOT_TESTED),
        ([Verdict.PASS, Verdict.UNSURE], Verdict.UNSURE),
        ([Verdict.UNSURE, Verdict.FAIL], Verdict.FAIL),
        ([Verdict.NOT_FITTED], Verdict.NOT_FITTED),
        ([], Verdict.NOT_TESTED),
    ],
)
def test_a_channel_is_as_bad_as_its_worst_property(given, channel):
    abouts = [Property.CONTINUITY, Property.RESISTANCE, Property.ACTION]
    assert channel_verdict([verdict(a, v) for a, v in zip(abouts, given, strict=False)], 1) is channel


def test_an_estimate_must_be_a_number():
    with pytest.raises(ValueError, match="finite"):
        Estimate(math.nan, 1.0)
    with pytest.raises(ValueError, match="not negative"):
        Estimate(1.0, -1.0)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(10.0, Verdict.PASS), (12.5, Verdict.UNSURE), (13.4, Verdict.UNSURE), (14.5, Verdict.FAIL)],
)
def test_what_has_an_innocent_explanation_but_no_proof_is_left_in_doubt(value, verdict):
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "a catalogue", doubt=2.0)
    assert against(1, Property.RESISTANCE, Estimate(value, 0.1), band, "ohm").verdict is verdict


def near_an_edge(value, u, sisters):
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "a test")
    measured = Estimate(value, u)
    verdict = against(1, Property.RESISTANCE, measured, band, "ohm")
    assert verdict.verdict is Verdict.UNSURE
    return vouched(verdict, measured, band, sisters)


SISTERS = LimitBand(11.0, 12.5, 11.7, 0.0, "a test", statistical=True)


def test_sisters_vouch_for_what_lies_inside_its_limits_and_near_them():
    verdict = near_an_edge(11.8, 0.2, SISTERS)
    assert verdict.verdict is Verdict.PASS
    assert "like its sisters" in verdict.reason
    assert 0.0 < verdict.risk < 0.01


@pytest.mark.parametrize(
    ("value", "u", "sisters"),
    [
        (11.8, 0.2, None),
        (12.1, 0.2, SISTERS),  # they agree, but outside its limits
        (8.2, 0.2, SISTERS),  # inside its limits, but unlike them
        (11.8, 1.1, SISTERS),  # capability index 4 / (4 x 1.1), under 1 (JCGM 106:2012, 7.6.3)
    ],
)
def test_sisters_vouch_for_nothing_else(value, u, sisters):
    assert near_an_edge(value, u, sisters).verdict is Verdict.UNSURE


def test_the_risk_of_a_pass_among_parts_that_fill_their_tolerance():
    """Bayes' theorem with the prior drawn: parts over the tolerance evenly, two in a hundred beyond it."""
    rng = np.random.default_rng(3)
    count = 4_000_000
    beyond = rng.random(count) < FAULTY_SHARE
    true = np.where(beyond, rng.uniform(5.0, 20.0, count), rng.uniform(8.0, 12.0, count))
    seen = true + rng.normal(0.0, 0.5, count)
    there = np.abs(seen - 11.9) < 0.05
    wrong = np.mean((true[there] < 8.0) | (true[there] > 12.0))
    assert risk_among_parts(Estimate(11.9, 0.5), 8.0, 12.0) == pytest.approx(float(wrong), rel=0.25)
