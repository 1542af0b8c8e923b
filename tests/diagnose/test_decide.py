import math

import pytest

from loomproof.diagnose import Property, PropertyVerdict, Verdict, channel_verdict
from loomproof.diagnose.decide import decide
from loomproof.diagnose.expect import Band
from loomproof.diagnose.judge import against
from loomproof.measure import Estimate


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
    band = Band(8.0, 12.0, 10.0, 0.0, "a catalogue", doubt=2.0)
    assert against(1, Property.RESISTANCE, Estimate(value, 0.1), band, "ohm").verdict is verdict
