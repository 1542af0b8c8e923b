"""Densities of an inductance by hand: a load's own, two side by side, and what is not the load's at all."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.explain.densities import BROAD
from loomproof.diagnose.explain.inductance import henry_density, henry_of_type, henry_weights
from loomproof.diagnose.explain.prediction import Prediction
from loomproof.diagnose.faults.definition import FaultyChannel
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.quantity import Quantity
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=1, rest=Rest.UNKNOWN, conduct=Conduct.UNKNOWN)
LOAD = CATALOGUE["injector_high"].model_copy(
    update={"inductance_mh": Quantity(value=10.0, tolerance_percent=20.0, source="a round number")}
)
"""10 mH to 20 %; judgement of this project: parts lie within 4 % of their batch, unchecked."""
GRID = np.linspace(-0.3, 0.3, 61)
SIGMA = math.hypot(0.04, 1.5 * 0.2 / 60)


@pytest.fixture
def job(bench):
    return bench.jobs["inline"]


def density(job, milli, relative=0.0, **changes):
    seen = {1: replace(SEEN, inductance=Estimate(milli * 1e-3, relative * milli * 1e-3))}
    loom = Prediction(job, Expectations(Estimate(20.0, 1.0)), seen)
    return henry_density(loom, 1, replace(FaultyChannel(OddsTable(), LOAD), **changes))


def flat(x, low, high):
    """Even per natural logarithm; beyond its ends a normal bell of 0.2 falls off."""
    beyond = max(low - x, x - high, 0.0)
    return -math.log(high - low) - 0.5 * (beyond / 0.2) ** 2


@pytest.mark.parametrize(("milli", "relative"), [(10.0, 0.0), (11.0, 0.05), (8.0, 0.0)])
def test_the_loads_own_spreads_about_each_batch(job, milli, relative):
    """Now and then, once in 500, it is anything over six decades."""
    sigma = math.hypot(SIGMA, relative)
    own = stats.norm.logpdf(math.log(milli), math.log(10.0) + np.log1p(GRID), sigma)
    expected = np.logaddexp(math.log(0.998) + own, math.log(0.002) + BROAD)
    assert density(job, milli, relative) == pytest.approx(expected)


def test_a_part_of_another_batch_is_the_sum_over_its_batches(job):
    beyond = np.maximum(np.abs(GRID) - 0.2, 0.0)
    weights = np.exp(-0.5 * (beyond / 0.016) ** 2)
    own = np.exp(density(job, 11.0))
    expected = math.log(float(own @ weights / weights.sum()))
    assert density(job, 11.0, own_batch=False) == pytest.approx(np.full(61, expected))


@pytest.mark.parametrize("flag", ["garbled", "foreign"])
def test_what_is_no_inductance_of_a_load_may_be_anything(job, flag):
    assert density(job, 10.0, **{flag: True}) == pytest.approx(np.full(61, BROAD))


@pytest.mark.parametrize("ratio", [1.0, 1 / 30, 1 / 41, 1e-3, 1e-5, 1e-6])
def test_a_short_has_a_fortieth_and_less(job, ratio):
    expected = flat(math.log(ratio), -math.log(2e5), -math.log(40.0))
    assert density(job, 10.0 * ratio, low=True) == pytest.approx(np.full(61, expected))


@pytest.mark.parametrize("ratio", [3.0, 1.5, 0.9, 0.85, 0.5, 1 / 49, 1 / 70])
def test_lost_turns_lower_it_and_a_leak_takes_of_it_what_it_likes(job, ratio):
    lost = flat(math.log(ratio), -math.log(50.0), -0.15)
    assert density(job, 10.0 * ratio, lost_turns=True) == pytest.approx(np.full(61, lost))
    leaky = flat(math.log(ratio), -math.log(60.0), 1.0)
    assert density(job, 10.0 * ratio, leaky=True) == pytest.approx(np.full(61, leaky))


@pytest.mark.parametrize("milli", [3.0, 2.5, 10.0, 1e-4, 500.0])
def test_two_windings_side_by_side_divide_as_resistors_do(job, milli):
    """10 and 5 mH: 3.33 mH to 20 %, three times of five; else anything that little is known of."""
    other = LOAD.model_copy(
        update={"inductance_mh": Quantity(value=5.0, tolerance_percent=20.0, source="a round number")}
    )
    x = math.log(milli / 10.0)
    anything = math.log(0.4) + flat(x, -math.log(2e4), 2.0)
    both = math.log(0.6) + stats.norm.logpdf(math.log(milli), math.log(10.0 / 3.0), 0.2)
    expected = np.logaddexp(anything, both)
    assert density(job, milli, beside=other) == pytest.approx(np.full(61, expected))
    without = CATALOGUE["lamp_21w"]
    assert density(job, milli, beside=without) == pytest.approx(np.full(61, anything))


def test_an_inductance_that_was_not_measured_or_not_known_says_nothing(job):
    assert not density(job, 10.0, unknown_type=True).any()
    assert not density(job, 10.0, 0.51).any()
    assert density(job, 10.0, 0.5).any()
    assert not density(job, 10.0, load=CATALOGUE["lamp_21w"]).any()


def test_another_types_inductance_spreads_by_its_tolerance():
    sigma = math.sqrt(0.2**2 / 3.0 + 0.05**2 + 0.04**2)
    expected = stats.norm.logpdf(math.log(11.0), math.log(10.0), sigma)
    assert henry_of_type(Estimate(11e-3, 0.55e-3), LOAD) == pytest.approx(expected)
    assert henry_of_type(Estimate(11e-3, 0.55e-3), CATALOGUE["lamp_21w"]) == BROAD
    for nothing in (0.0, -1e-3):
        assert henry_of_type(Estimate(nothing, 1e-4), LOAD) == BROAD


def test_batches_of_a_type_without_an_inductance_spread_by_a_half(job):
    """The weights are even within the tolerance whatever it is, so both have the same."""
    fitted = [c.channel for c in job.channels if c.fitted]
    loom = Prediction(job, Expectations(Estimate(20.0, 1.0)), {})
    beyond = np.maximum(np.abs(np.linspace(-1.5, 1.5, 61)) - 1.0, 0.0)
    weights = np.exp(-0.5 * (beyond / 0.08) ** 2)
    for channel in fitted:
        assert np.exp(henry_weights(loom, channel)) == pytest.approx(weights / weights.sum(), abs=1e-12)
