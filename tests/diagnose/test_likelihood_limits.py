"""The supply, steady currents and batches in a loom's likelihood, by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.explain.candidates import log_prior
from loomproof.diagnose.explain.densities import BROAD, with_outliers
from loomproof.diagnose.explain.likelihood import Scorer
from loomproof.diagnose.explain.prediction import Prediction, useful
from loomproof.diagnose.explain.steady import steady_at_reference, steady_density, steady_of_type
from loomproof.diagnose.faults.definition import FaultyChannel, Hypothesis
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOAD_TRAITS
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=1, rest=Rest.UNKNOWN, conduct=Conduct.UNKNOWN)
WARM = Estimate(45.0, 10.0)
WEAK_SUPPLY = Hypothesis(FaultKind.WEAK_SUPPLY, ())


@pytest.fixture
def job(bench):
    return bench.jobs["inline"]


def scorer(job, **by_channel):
    """A scorer that has seen just so much; channels as `c3=...`."""
    seen = {
        int(name[1:]): replace(SEEN, channel=int(name[1:]), **values) for name, values in by_channel.items()
    }
    return Scorer(job, Expectations(Estimate(20.0, 2.0)), seen)


# -- the supply ---------------------------------------------------------------------------------------


def source_score(job, ohm, u, faults=frozenset()):
    """What the supply adds to the score of a loom on which nothing else was seen."""
    silent, speaking = scorer(job, c1={}), scorer(job, c1={"source_ohm": Estimate(ohm, u)})
    return speaking.score(faults) - silent.score(faults)


@pytest.mark.parametrize(("ohm", "u"), [(0.04, 0.01), (0.3, 0.05), (0.02, 0.3)])
def test_a_supply_is_log_normal_about_forty_milliohm(job, ohm, u):
    """Median 0.04 ohm and a spread of 0.7 of the logarithm, weak 0.6 ohm and 0.7 (judgement of this project)."""
    spread = math.hypot(0.7, u / ohm)
    sound = stats.norm.logpdf(math.log(ohm), math.log(0.04), spread)
    weak = stats.norm.logpdf(math.log(ohm), math.log(0.6), spread)
    assert source_score(job, ohm, u) == pytest.approx(sound)
    assert source_score(job, ohm, u, frozenset({WEAK_SUPPLY})) == pytest.approx(weak)


def test_a_supply_seen_to_no_better_than_a_third_of_an_ohm_says_nothing(job):
    assert source_score(job, 0.3, 0.3001) == 0.0
    assert source_score(job, 0.3, 0.3) != 0.0


def test_a_supply_below_four_milliohm_counts_as_that(job):
    for ohm in (-0.1, 0.0, 0.001, 0.004):
        expected = stats.norm.logpdf(math.log(0.004), math.log(0.04), math.hypot(0.7, 0.002 / 0.004))
        assert source_score(job, ohm, 0.002) == pytest.approx(expected)


def test_the_load_that_sees_the_supply_best_is_believed(job):
    fine, coarse = {"source_ohm": Estimate(0.3, 0.05)}, {"source_ohm": Estimate(0.03, 0.1)}
    silent = scorer(job, c1={}, c2={}).score(frozenset())
    for one, two in ((fine, coarse), (coarse, fine)):
        found = scorer(job, c1=one, c2=two).score(frozenset()) - silent
        expected = stats.norm.logpdf(math.log(0.3), math.log(0.04), math.hypot(0.7, 0.05 / 0.3))
        assert found == pytest.approx(expected)


# -- sums ------------------------------------------------------------------------------------------------


def test_where_nothing_was_seen_only_the_priors_count(job):
    empty = scorer(job, c1={}, c2={}, c3={})
    steady_three = 3 * math.log(0.997)  # all that was seen is that no current changed from pulse to pulse
    assert empty.score(frozenset()) == pytest.approx(steady_three)
    for faults in (
        {Hypothesis(FaultKind.OPEN, (1,))},
        {Hypothesis(FaultKind.OPEN, (1,)), Hypothesis(FaultKind.WRONG_LOAD, (2,))},
        {Hypothesis(FaultKind.SWAPPED, (1, 2))},
    ):
        expected = sum(log_prior(fault) for fault in faults)
        assert empty.score(frozenset(faults)) == pytest.approx(steady_three + expected)


def test_words_of_a_channel_count_once_under_all_its_faults(job):
    seen = scorer(job, c1={"conduct": Conduct.NONE}, c2={"conduct": Conduct.FLOWS})
    opened = Hypothesis(FaultKind.OPEN, (1,))
    sound = seen.score(frozenset())
    under = seen.channel_under(1, (opened,)).odds.score(seen.features[1])
    before = seen.channel_under(1, ()).odds.score(seen.features[1])
    assert seen.score(frozenset({opened})) == pytest.approx(sound + log_prior(opened) + under - before)


def test_channels_of_one_type_are_one_batch(job):
    fitted = [c.channel for c in job.channels if c.fitted]
    found = scorer(job, **{f"c{c}": {} for c in fitted}).groups
    assert sorted(channel for group in found for channel in group) == sorted(fitted)
    for group in found:
        assert len({(job.channel(c).load, str(job.channel(c).override)) for c in group}) == 1
    keys = [(job.channel(group[0]).load, str(job.channel(group[0]).override)) for group in found]
    assert len(keys) == len(set(keys))


def test_a_short_to_ground_is_felt_by_the_other_loads_of_its_feed_alone(job):
    fitted = [c.channel for c in job.channels if c.fitted]
    seen = scorer(job, **{f"c{c}": {} for c in fitted})
    for channel in fitted:
        feed = job.channel(channel).feed
        beside = {c for c in fitted if c != channel and feed is not None and job.channel(c).feed == feed}
        assert set(seen._beside(Hypothesis(FaultKind.SHORT_TO_GROUND, (channel,)))) == beside
        assert seen._beside(Hypothesis(FaultKind.OPEN, (channel,))) == ()


# -- resistances --------------------------------------------------------------------------------------------


def test_a_resistance_is_predicted_with_wire_and_temperature(job):
    """At 45 degC copper has 1 + 0.00393 * 25 of its resistance; 20 mohm stand for pins and crimps."""
    loom = Prediction(job, Expectations(WARM), {1: SEEN})
    load = job.load_type(1)
    found = loom.ohm(1, load)
    warm = 1 + 0.00393 * 25.0
    own = direct_ohm(load).value * (1 + load.temperature_coefficient_per_k * 25.0)
    middle = own + series_ohm(job, 1) * warm + 0.02
    assert float(found.mean()) == pytest.approx(middle)
    assert np.all(np.diff(found) > 0.0)
    assert float(found[0] + found[-1]) / 2.0 == pytest.approx(middle)
    spread = found - found.mean()
    assert spread == pytest.approx(own * (found - middle) / own)


def test_a_load_without_a_resistance_is_twenty_ohm_give_or_take_a_half(job):
    unknown = CATALOGUE["lamp_21w"].model_copy(update={"resistance_ohm": None})
    loom = Prediction(job, Expectations(Estimate(20.0, 0.0)), {1: SEEN})
    assert float(loom.ohm(1, unknown).mean()) == pytest.approx(20.0 + series_ohm(job, 1) + 0.02)
    assert loom.tolerance(unknown) == 0.5


def test_one_part_spreads_about_its_batch_by_its_kind_and_the_grids_step(job):
    loom = Prediction(job, Expectations(Estimate(20.0, 0.0)), {1: SEEN})
    load = job.load_type(1)
    spread = LOAD_TRAITS[load.kind].part_spread
    tolerance = direct_ohm(load).tolerance_percent / 100
    coarse = loom.sigma(load, Estimate(10.0, 0.5))
    exact = loom.sigma(load, Estimate(10.0, 0.0))
    assert coarse**2 - exact**2 == pytest.approx(0.05**2)
    steps = len(loom.ohm(1, load)) - 1
    assert exact**2 - spread**2 == pytest.approx((1.5 * tolerance / steps) ** 2)


@pytest.mark.parametrize(
    ("value", "u", "says"), [(14.0, 7.0, True), (14.0, 7.01, False), (0.0, 0.0, False), (-1.0, 0.1, False)]
)
def test_what_is_known_to_a_half_is_useful(value, u, says):
    estimate = Estimate(value, u)
    assert useful(estimate) is (estimate if says else None)
    assert useful(None) is None


# -- steady currents -----------------------------------------------------------------------------------------

BAND = LimitBand(1.6, 2.4, 2.0, 0.0, "round numbers", doubt=0.4)
"""2 A evenly to 20 %: 0.2 / sqrt(3) = 0.115470; a doubt of 0.4 A adds half of it, 0.1."""
SIGMA = math.hypot(0.2 / math.sqrt(3.0), 0.1)


def lamp_channel(bench):
    return next(
        (job, c.channel)
        for job in bench.jobs.values()
        for c in job.channels
        if c.fitted and job.load_type(c.channel).kind is LoadKind.LAMP
    )


def under(job, channel, **changes):
    return replace(FaultyChannel(OddsTable(), job.load_type(channel)), **changes)


def steady(bench, ampere, u=0.0, resistance=None, **changes):
    job, channel = lamp_channel(bench)
    expected = Expectations(Estimate(20.0, 0.0), steady={channel: BAND})
    measured = None if ampere is None else Estimate(ampere, u)
    seen = {channel: replace(SEEN, channel=channel, steady=measured, resistance=resistance)}
    return steady_density(Prediction(job, expected, seen), channel, under(job, channel, **changes))


def logpdf(ampere, due, sigma):
    return float(with_outliers(np.asarray(stats.norm.logpdf(math.log(ampere), math.log(due), sigma))))


@pytest.mark.parametrize(("ampere", "u"), [(2.0, 0.0), (2.2, 0.0), (1.7, 0.17)])
def test_a_steady_current_spreads_by_tolerance_doubt_and_measurement(bench, ampere, u):
    assert steady(bench, ampere, u) == pytest.approx(logpdf(ampere, 2.0, math.hypot(SIGMA, u / ampere)))


def test_a_steady_current_beside_another_load_is_the_sum_roughly(bench):
    """15 % for the common current: 2 A and the other's own, or its 13.5 V over its resistance."""
    motor, relay = CATALOGUE["motor_fan"], CATALOGUE["relay_plain"]
    sigma = math.hypot(SIGMA, 0.15)
    for beside, more in (
        (motor, motor.steady_current_a.value),
        (relay, 13.5 / relay.resistance_ohm.value),
        (relay.model_copy(update={"resistance_ohm": None}), 0.0),
    ):
        assert steady(bench, 2.5, beside=beside) == pytest.approx(logpdf(2.5, 2.0 + more, sigma))


def test_a_joint_takes_voltage_and_so_current(bench):
    """The current solves I * R + 13.5 V * (I / 2 A)^(1/p) = 13.5 V, known to 20 % then."""
    job, channel = lamp_channel(bench)
    loom = Prediction(job, Expectations(Estimate(20.0, 0.0)), {})
    cold = float(loom.ohm(channel, job.load_type(channel)).mean())
    power = 1.0 / LOAD_TRAITS[LoadKind.LAMP].inrush.steady_exponent
    sigma = math.hypot(SIGMA, 0.2)
    for added in (0.0, 0.5, 5.0):
        low, high = 0.0, 2.0
        for _ in range(60):
            middle = (low + high) / 2
            over = middle * added + 13.5 * (middle / 2.0) ** power > 13.5
            low, high = (low, middle) if over else (middle, high)
        found = steady(bench, 1.5, resistance=Estimate(cold + added, 0.01), added=True)
        assert found == pytest.approx(logpdf(1.5, low, sigma), abs=1e-6)
    below = steady(bench, 1.5, resistance=Estimate(0.5 * cold, 0.01), added=True)
    assert below == pytest.approx(logpdf(1.5, 2.0, sigma), abs=1e-6)
    unseen = steady(bench, 1.5, added=True)
    assert unseen == pytest.approx(logpdf(1.5, 2.0, sigma))


def test_nothing_is_said_where_no_steady_current_was_seen(bench):
    for ampere in (None, 0.0, -1.0):
        assert steady(bench, ampere) == 0.0
    assert steady(bench, 2.0, unknown_type=True) == 0.0
    for flag in ("garbled", "foreign", "low", "leaky"):
        assert steady(bench, 2.0, **{flag: True}) == BROAD


def test_a_current_is_brought_to_the_reference_voltage(bench):
    job, channel = lamp_channel(bench)
    due = job.load_type(channel).steady_current_a.value
    seen = {channel: replace(SEEN, channel=channel, steady=Estimate(1.0, 0.1))}
    found = steady_at_reference(
        Prediction(job, Expectations(Estimate(20.0, 0.0), steady={channel: BAND}), seen), channel
    )
    assert (found.value, found.u) == pytest.approx((due / 2.0, 0.1 * due / 2.0))
    assert steady_at_reference(Prediction(job, Expectations(Estimate(20.0, 0.0)), seen), channel) is None
    for ampere in (0.0, -1.0):
        dark = {channel: replace(SEEN, channel=channel, steady=Estimate(ampere, 0.1))}
        expected = Expectations(Estimate(20.0, 0.0), steady={channel: BAND})
        assert steady_at_reference(Prediction(job, expected, dark), channel) is None


def test_another_types_steady_current_spreads_by_its_tolerance(bench):
    lamp = CATALOGUE["lamp_21w"]
    due = lamp.steady_current_a
    sigma = math.hypot(due.tolerance_percent / 100 / math.sqrt(3.0), 0.1, 0.05)
    expected = stats.norm.logpdf(math.log(1.0), math.log(due.value), sigma)
    assert steady_of_type(Estimate(1.0, 0.1), lamp) == pytest.approx(expected)
    assert steady_of_type(Estimate(1.0, 0.1), CATALOGUE["relay_plain"]) == BROAD
