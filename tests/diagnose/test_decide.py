import math

import numpy as np
import pytest

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.rules.case import against
from loomproof.diagnose.rules.decide import (
    FALSE_ALARM_COSTS,
    FAULTY_SHARE,
    MISSED_COSTS,
    bounds,
    by_odds,
    decide,
)
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


def costs(about, log_odds):
    """What each verdict costs on average: the chance of a fault by Bayes' theorem, times what the mistake costs."""
    prior = FAULTY_SHARE[about] / (1.0 - FAULTY_SHARE[about])
    faulty = 1.0 - 1.0 / (1.0 + prior * math.exp(log_odds))
    return {
        Verdict.PASS: faulty * MISSED_COSTS,
        Verdict.UNSURE: 1.0,
        Verdict.FAIL: (1.0 - faulty) * FALSE_ALARM_COSTS,
    }


@pytest.mark.parametrize("about", list(FAULTY_SHARE))
@pytest.mark.parametrize("log_odds", np.linspace(-6.0, 9.0, 61))
def test_the_verdict_is_the_one_that_costs_least(about, log_odds):
    """Least expected loss (JCGM 106:2012, 8.1; any textbook of decision theory), computed here from the costs alone."""
    by_cost = costs(about, float(log_odds))
    assert by_odds(about, float(log_odds)) is min(by_cost, key=by_cost.__getitem__)


def test_a_resistance_is_doubted_from_one_and_failed_from_five():
    """The thresholds that 373 simulated looms were judged with: logarithms of odds, judgement of this project."""
    assert (bounds(Property.RESISTANCE).doubt, bounds(Property.RESISTANCE).fail) == pytest.approx(
        (1.0, 5.0), abs=0.02
    )
    assert bounds(Property.INDUCTANCE).doubt == pytest.approx(2.0, abs=0.02)
    assert bounds(Property.INRUSH).doubt == pytest.approx(1.5, abs=0.03)
