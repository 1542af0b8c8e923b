"""Guarded decisions at their very limits; quantiles from tables of the normal and of Student's distribution."""

import math

import pytest

from loomproof.diagnose.expected.band import Among, LimitBand
from loomproof.diagnose.rules.case import against, worst
from loomproof.diagnose.rules.decide import decide, probability_of_conformity
from loomproof.facts.estimate import Estimate
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict

PASS, FAIL, UNSURE = Verdict.PASS, Verdict.FAIL, Verdict.UNSURE


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (9.996, PASS),
        (9.994, UNSURE),
        (10.004, PASS),
        (10.006, UNSURE),
        (6.006, UNSURE),
        (6.004, FAIL),
        (13.994, UNSURE),
        (13.996, FAIL),
    ],
)
def test_the_guard_is_the_normal_quantile_of_0_977(value, verdict):
    """1.9954 standard uncertainties (table of the normal distribution)."""
    one_sided = (
        decide(Estimate(value, 1.0), 8.0, None) if value < 10 else decide(Estimate(value, 1.0), None, 12.0)
    )
    assert one_sided.verdict is verdict


def test_few_degrees_of_freedom_take_students_quantile():
    """t(0.95; 5) = 2.015 (table of Student's distribution)."""
    assert decide(Estimate(10.016, 1.0, 5.0), 8.0, None, 0.95).verdict is PASS
    assert decide(Estimate(10.014, 1.0, 5.0), 8.0, None, 0.95).verdict is UNSURE


def test_a_value_without_uncertainty_passes_at_its_limit_and_fails_beyond_it():
    for value in (8.0, 12.0):
        assert decide(Estimate(value, 0.0), 8.0, 12.0).verdict is PASS
    for value in (math.nextafter(8.0, 0.0), math.nextafter(12.0, 99.0)):
        assert decide(Estimate(value, 0.0), 8.0, 12.0).verdict is FAIL
    assert decide(Estimate(5.0, 1.0), None, None).verdict is PASS
    assert decide(Estimate(8.0, 0.0), 8.0, 8.0).verdict is PASS


@pytest.mark.parametrize(
    ("value", "low", "high", "probability"),
    [
        (8.0, 8.0, None, 0.5),
        (12.0, None, 12.0, 0.5),
        (10.0, 9.0, 11.0, 0.6827),
        (10.0, 8.0, 11.0, 0.8186),
        (10.0, None, None, 1.0),
        (10.0, None, 11.0, 0.8413),
    ],
)
def test_the_probability_of_conformity(value, low, high, probability):
    """Table of the normal distribution: Phi(1) = 0.8413, Phi(2) = 0.9772."""
    assert probability_of_conformity(Estimate(value, 1.0), low, high) == pytest.approx(probability, abs=5e-5)


# -- against a band -----------------------------------------------------------------------------------


def judged(value, u, band, **more):
    return against(3, Property.RESISTANCE, Estimate(value, u, **more), band, "ohm")


def test_a_verdict_carries_its_limits_and_source():
    verdict = judged(10.0, 0.1, LimitBand(8.0, 12.0, 10.0, 0.0, "a catalogue"))
    assert (verdict.channel, verdict.property, verdict.verdict) == (3, Property.RESISTANCE, PASS)
    assert (verdict.low, verdict.high, verdict.unit, verdict.limit_source) == (
        8.0,
        12.0,
        "ohm",
        "a catalogue",
    )
    assert verdict.measured == Estimate(10.0, 0.1)
    assert verdict.reason == "inside its limits"


@pytest.mark.parametrize(
    ("value", "verdict"), [(11.79, PASS), (11.81, UNSURE), (12.99, UNSURE), (12.59, UNSURE), (13.01, FAIL)]
)
def test_the_limits_own_uncertainty_guards_a_fail_only(value, verdict):
    """u 0.1: a pass up to 12 - 0.1995; with the limits' 0.4904 together 0.5005, a fail from 12 + 0.9987."""
    band = LimitBand(8.0, 12.0, 10.0, 0.4904, "a catalogue")
    got = judged(value, 0.1, band)
    assert got.verdict is verdict
    assert got.measured.u == pytest.approx(0.5005, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (12.19, UNSURE),
        (13.19, UNSURE),
        (13.21, FAIL),
        (6.81, UNSURE),
        (6.79, UNSURE),
        (6.31, UNSURE),
        (6.29, FAIL),
    ],
)
def test_doubt_lies_between_a_pass_and_a_fail_on_each_side(value, verdict):
    """Up to 12 + 1 + 0.1995 above, down to 8 - 1.5 - 0.1995 below."""
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "a catalogue", doubt=1.0, doubt_below=1.5)
    assert judged(value, 0.1, band).verdict is verdict


def test_limits_of_the_same_scale_do_without_the_scales_error():
    """u 0.5, of which 0.4 are the scale's: 0.3 are left, 0.5986 of guard."""
    fixed = LimitBand(8.0, 12.0, 10.0, 0.0, "a record")
    same = LimitBand(8.0, 12.0, 10.0, 0.0, "a record", same_scale=True)
    assert judged(11.39, 0.5, same, u_gain=0.4).verdict is PASS
    assert judged(11.41, 0.5, same, u_gain=0.4).verdict is UNSURE
    assert judged(11.39, 0.5, fixed, u_gain=0.4).verdict is UNSURE


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (12.0, PASS),
        (12.001, UNSURE),
        (13.0, UNSURE),
        (13.001, FAIL),
        (8.0, PASS),
        (7.999, UNSURE),
        (6.5, UNSURE),
        (6.499, FAIL),
    ],
)
def test_a_prediction_needs_no_guard(value, verdict):
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "sisters", doubt=1.0, doubt_below=1.5, statistical=True)
    assert judged(value, 0.5, band).verdict is verdict


@pytest.mark.parametrize(
    ("unit", "shown"), [("ohm", "+3 ohm"), ("H", "+3e+03 mH"), ("A", "+3 A"), ("V", "+3 V")]
)
def test_how_far_it_is_off_is_told_in_its_unit(unit, shown):
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "a catalogue", among=Among.SISTERS)
    verdict = against(1, Property.RESISTANCE, Estimate(13.0, 0.1), band, unit)
    assert verdict.reason == f"above its limit, {shown} against its sisters"
    below = against(1, Property.RESISTANCE, Estimate(7.0, 0.1), band, unit)
    assert below.reason == f"below its limit, {shown.replace('+3', '-3', 1)} against its sisters"


def test_an_unsure_value_is_near_a_limit_or_beyond_it():
    band = LimitBand(8.0, 12.0, 10.0, 0.0, "a catalogue")
    for value, told in ((11.95, "too near"), (12.05, "outside"), (7.95, "outside"), (12.0, "too near")):
        assert judged(value, 0.1, band).reason.startswith(told)


# -- the worst ---------------------------------------------------------------------------------------


def test_the_worst_is_a_fail_then_a_doubt_and_of_equals_the_narrower():
    def of(verdict, low, high):
        return PropertyVerdict(1, Property.RESISTANCE, verdict, low=low, high=high)

    passed, doubted, failed = of(PASS, 9, 10), of(UNSURE, 0, 9), of(FAIL, 0, 9)
    assert worst([passed, doubted, failed]) is failed
    assert worst([passed, doubted]) is doubted
    narrower = of(FAIL, 8, 9)
    assert worst([failed, narrower]) is narrower
    open_ended = of(FAIL, None, 0.5)
    assert worst([narrower, open_ended]) is open_ended
    assert worst([]) is None
