"""Densities of a resistance by hand, over what a sound part of each batch measures (tested on its own)."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.special import logsumexp

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.explain.densities import ADDED, BROAD, LOST_TURNS
from loomproof.diagnose.explain.other_types import other_types
from loomproof.diagnose.explain.prediction import Prediction
from loomproof.diagnose.explain.resistance import ohm_density, weak_ohm_density
from loomproof.diagnose.faults.definition import FaultyChannel
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=1, rest=Rest.UNKNOWN, conduct=Conduct.UNKNOWN)
INJECTOR, LAMP = CATALOGUE["injector_high"], CATALOGUE["lamp_21w"]
INPUT = next(
    load
    for load in CATALOGUE.values()
    if load.kind is LoadKind.LOGIC_INPUT and load.resistance_ohm is not None
)


class Case:
    """A channel on which one resistance was measured."""

    def __init__(self, job, load, ohm, *, relative=0.01, cold=False):
        measured = None if ohm is None else Estimate(ohm, relative * ohm)
        seen = {1: replace(SEEN, resistance=measured, cold=cold)}
        self.loom = Prediction(job, Expectations(Estimate(20.0, 1.0)), seen)
        self.load = load
        self.x = math.log(ohm) if ohm else None
        self.base = self.loom.ohm(1, load)
        self.middle = float(self.base.mean())
        self.sigma = self.loom.sigma(load, measured) if measured else None

    def density(self, **changes):
        return ohm_density(self.loom, 1, replace(FaultyChannel(OddsTable(), self.load), **changes))

    def weak(self, **changes):
        return weak_ohm_density(self.loom, 1, replace(FaultyChannel(OddsTable(), self.load), **changes))

    def own(self, base=None):
        return stats.norm.logpdf(self.x, np.log(self.base if base is None else base), self.sigma)

    def added(self):
        return logsumexp([self.own(self.base + ohm) for ohm in ADDED], axis=0) - math.log(len(ADDED))


def odd(log_density):
    """Once in 500 a number is anything over six decades."""
    return np.logaddexp(math.log(0.998) + log_density, math.log(0.002) + BROAD)


def flat(x, low, high):
    """Even per natural logarithm between two values; beyond its ends a normal bell of 0.2 falls off."""
    beyond = max(math.log(low) - x, x - math.log(high), 0.0)
    return -math.log(math.log(high / low)) - 0.5 * (beyond / 0.2) ** 2


@pytest.fixture
def job(bench):
    return bench.jobs["inline"]


@pytest.mark.parametrize("ohm", [14.0, 15.5, 40.0])
def test_a_sound_resistance_and_one_with_a_joint(job, ohm):
    case = Case(job, INJECTOR, ohm)
    assert case.density() == pytest.approx(odd(case.own()))
    assert case.density(added=True) == pytest.approx(case.added())


@pytest.mark.parametrize("ohm", [13.0, 7.5, 5.0])
def test_lost_turns_take_their_share(job, ohm):
    case = Case(job, INJECTOR, ohm)
    rows = [case.own(case.base * (1.0 - share)) for share in LOST_TURNS]
    assert case.density(lost_turns=True) == pytest.approx(logsumexp(rows, axis=0) - math.log(len(LOST_TURNS)))


@pytest.mark.parametrize("ohm", [0.005, 0.02, 3.0, 4.6, 10.0])
def test_a_short_is_anything_up_to_three_tenths(job, ohm):
    case = Case(job, INJECTOR, ohm)
    assert case.density(low=True) == pytest.approx(np.full(61, flat(case.x, 0.01, 0.3 * case.middle)))


def test_what_is_no_resistance_of_the_load_may_be_anything(job):
    case = Case(job, INJECTOR, 14.0)
    assert case.density(garbled=True) == pytest.approx(np.full(61, BROAD))
    foreign = np.logaddexp(math.log(0.6) + odd(case.own()), math.log(0.4) + BROAD)
    assert case.density(foreign=True) == pytest.approx(foreign)


def test_a_part_of_another_batch_is_the_sum_over_its_batches(job):
    case = Case(job, INJECTOR, 15.0)
    expected = case.loom.over_batches(INJECTOR, odd(case.own()))
    assert case.density(own_batch=False) == pytest.approx(np.full(61, expected))


@pytest.mark.parametrize("ohm", [0.3, 0.4, 0.6])
def test_a_filament_may_be_warm_unless_it_was_seen_cold(job, ohm):
    """One time in five, between cold and 1.3 times that: half the logarithm more, and as uncertain."""
    ohm = ohm * Case(job, LAMP, 1.0).middle / 0.35
    half = 0.5 * math.log(1.3)
    case = Case(job, LAMP, ohm)
    warm = stats.norm.logpdf(case.x, np.log(case.base) + half, math.hypot(case.sigma, half))
    expected = np.logaddexp(math.log(0.8) + case.own(), math.log(0.2) + warm)
    assert case.density() == pytest.approx(odd(expected))
    seen_cold = Case(job, LAMP, ohm, cold=True)
    assert seen_cold.density() == pytest.approx(odd(seen_cold.own()))


@pytest.mark.parametrize("ratio", [0.2, 0.95, 1.5, 8.0, 60.0, 150.0])
def test_a_leak_makes_a_resistance_seem_higher(job, ratio):
    """A third each: its own, with a joint, and anything up to a hundred times it."""
    case = Case(job, INJECTOR, ratio * 14.0)
    third = math.log(3.0)
    far = flat(case.x, case.middle, 100.0 * case.middle) - third
    near = np.logaddexp(odd(case.own()), case.added()) - third
    assert case.density(leaky=True) == pytest.approx(np.logaddexp(near, far))
    lamp = Case(job, LAMP, ratio * Case(job, LAMP, 1.0).middle)
    assert lamp.density(leaky=True) == pytest.approx(
        np.full(61, flat(lamp.x, 0.9 * lamp.middle, 15.0 * lamp.middle))
    )
    logic = Case(job, INPUT, ratio * Case(job, INPUT, 1.0).middle)
    assert logic.density(leaky=True) == pytest.approx(np.full(61, flat(logic.x, 0.3, logic.middle)))


def parallel(job, one, two):
    a, b = direct_ohm(one).value + series_ohm(job, 1), direct_ohm(two).value + series_ohm(job, 1)
    return a, b, a * b / (a + b)


@pytest.mark.parametrize("ratio", [1.0, 0.9, 1.3])
def test_two_loads_side_by_side_are_in_parallel(job, ratio):
    """Each within its tolerance, weighed by the other's share, evenly (GUM 4.3.7), and 3 % of judgement."""
    other = CATALOGUE["valve_purge"]
    a, b, both = parallel(job, INJECTOR, other)
    one, two = direct_ohm(INJECTOR).tolerance_percent, direct_ohm(other).tolerance_percent
    spread = math.hypot(one * b, two * a) / (a + b) / 100.0 / math.sqrt(3.0)
    case = Case(job, INJECTOR, ratio * both, relative=0.05)
    known = stats.norm.logpdf(case.x, math.log(both), math.hypot(spread + 0.03, 0.05))
    expected = np.logaddexp(math.log(0.6) + known, math.log(0.4) + BROAD)
    assert case.density(beside=other) == pytest.approx(np.full(61, expected))
    unknown = other.model_copy(update={"resistance_ohm": None})
    nothing = np.logaddexp(math.log(0.6) + BROAD, math.log(0.4) + BROAD)
    assert case.density(beside=unknown) == pytest.approx(np.full(61, nothing))


@pytest.mark.parametrize("ratio", [0.7, 1.0, 3.0, 40.0, 100.0])
def test_a_filament_beside_another_load_heats_up(job, ratio):
    a, b, both = parallel(job, INJECTOR, LAMP)
    case = Case(job, INJECTOR, ratio * both, relative=0.05)
    cold = stats.norm.logpdf(case.x, math.log(both), math.hypot(0.1, 0.05))
    hot = flat(case.x, 0.8 * both, 1.5 * max(a, b))
    known = np.logaddexp(hot, cold) - math.log(2.0)
    expected = np.logaddexp(math.log(0.6) + known, math.log(0.4) + BROAD)
    assert case.density(beside=LAMP) == pytest.approx(np.full(61, expected))


def test_behind_a_weak_feed_each_resistance_of_it_has_its_row(job):
    case = Case(job, INJECTOR, 16.0)
    rows = np.array([odd(case.own(case.base + ohm)) for ohm in ADDED])
    assert case.weak() == pytest.approx(rows)
    for hidden in ({"garbled": True}, {"low": True}, {"beside": LAMP}):
        assert case.weak(**hidden) == pytest.approx(np.tile(case.density(**hidden), (len(ADDED), 1)))
    logic = Case(job, INPUT, 1000.0)
    assert logic.weak() == pytest.approx(np.tile(logic.density(), (len(ADDED), 1)))
    unseen = Case(job, INJECTOR, None)
    assert not unseen.weak().any()
    assert not unseen.density().any()


def test_another_type_is_each_of_the_catalogue_or_one_nobody_knows(job):
    """Seven times in ten one of the others, all alike; three times anything (judgement of this project)."""
    case = Case(job, INJECTOR, 2.5)
    own = job.load_type(1).key
    others = {load.key: load for load in (*CATALOGUE.values(), *job.loads)}
    others = [load for key, load in others.items() if key != own]
    scores = [math.log(0.3) + BROAD]
    for other in others:
        base = case.loom.ohm(1, other)
        sigma = case.loom.sigma(other, Estimate(2.5, 0.025))
        known = case.loom.over_batches(other, stats.norm.logpdf(case.x, np.log(base), sigma))
        scores.append(math.log(0.7 / len(others)) + known)
    assert other_types(case.loom, 1) == pytest.approx(float(logsumexp(scores)))
    assert case.density(unknown_type=True) == pytest.approx(np.full(61, float(logsumexp(scores))))
    assert other_types(Case(job, INJECTOR, None).loom, 1) == 0.0
