"""The densities of a channel's numbers: each is a probability over all that could be measured, and peaks where it should.

Whatever the shape, a density per natural logarithm sums to 1 over the six decades that the broad one spreads over;
were it not so, one fault would be favoured over another for no reason (probability, any textbook).
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.explain.densities import logsumexp
from loomproof.diagnose.explain.inductance import henry_density, henry_weights
from loomproof.diagnose.explain.prediction import Prediction
from loomproof.diagnose.explain.resistance import ohm_density
from loomproof.diagnose.explain.steady import steady_density
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import Signature
from loomproof.job.catalogue import CATALOGUE
from tests.diagnose.blank import BLANK

SEEN = replace(BLANK, channel=0, rest=Rest.CONNECTED, conduct=Conduct.FLOWS)
SOUND = {
    "garbled": False,
    "foreign": False,
    "low": False,
    "beside": None,
    "lost_turns": False,
    "added": False,
    "unknown_type": False,
    "other_set": False,
    "leaky": False,
    "behind_feed": False,
    "own_batch": True,
}
ln_x = np.linspace(math.log(1e-2), math.log(1e4), 461)
"""Six decades in steps of 3 %."""


@pytest.fixture
def job(bench):
    return bench.jobs["inline"]


def first(job, kind):
    return next(c.channel for c in job.channels if c.fitted and job.load_type(c.channel).kind is kind)


def numbers_of(job, channel, **seen):
    own = Signature(
        channel, supply_v=Estimate(13.5, 0.01), **{k + "_a": v for k, v in seen.items() if k == "steady"}
    )
    evidence = LoomEvidence(
        channels={channel: ChannelEvidence(channel, signature=own)}, temperature_c=Estimate(20.0, 2.0)
    )
    return Prediction(job, expect(job, evidence), {channel: replace(SEEN, channel=channel, **seen)})


def seen_in(numbers, channel, **seen):
    """The same loom with something else measured on the channel."""
    return replace(numbers, features={channel: replace(SEEN, channel=channel, **seen)})


def ohm_densities(job, channel, shape, *, relative=0.01, **seen):
    """Density of the resistance, the batch summed over, at each of ln_x."""
    out = []
    loom = numbers_of(job, channel)
    for ohm in np.exp(ln_x):
        numbers = seen_in(loom, channel, resistance=Estimate(ohm, relative * ohm), **seen)
        out.append(float(logsumexp(ohm_density(numbers, channel, shape) + numbers.ohm_weights(channel))))
    return np.exp(out)


def total(densities):
    return float(densities.sum() * (ln_x[1] - ln_x[0]))


def shape_of(job, channel, **changes):
    return SimpleNamespace(**(SOUND | {"load": job.load_type(channel)} | changes))


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"own_batch": False},
        {"added": True},
        {"lost_turns": True},
        {"foreign": True},
        {"garbled": True},
        {"unknown_type": True},
        {"beside": CATALOGUE["injector_low"]},
    ],
    ids=str,
)
def test_a_density_of_the_resistance_sums_to_one(job, changes):
    channel = first(job, LoadKind.INJECTOR)
    assert total(ohm_densities(job, channel, shape_of(job, channel, **changes))) == pytest.approx(
        1.0, abs=0.01
    )


@pytest.mark.parametrize("cold", [False, True])
def test_a_filaments_density_sums_to_one_warm_or_cold(bench, cold):
    job = bench.jobs["bench"]
    channel = first(job, LoadKind.LAMP)
    densities = ohm_densities(job, channel, shape_of(job, channel), cold=cold)
    assert total(densities) == pytest.approx(1.0, abs=0.01)
    due = direct_ohm(job.load_type(channel)).value + series_ohm(job, channel)
    above = densities[ln_x > math.log(1.6 * due)].sum() / densities.sum()
    below = densities[ln_x < math.log(due / 1.6)].sum() / densities.sum()
    assert (above > 2.0 * below) is not cold  # warmth only raises it


def test_a_sound_resistance_lies_where_the_catalogue_says(job):
    """Evenly over the tolerance of 15 % and a few parts in a hundred beside: a standard deviation of near 9 %."""
    channel = first(job, LoadKind.INJECTOR)
    load = job.load_type(channel)
    densities = ohm_densities(job, channel, shape_of(job, channel))
    near = np.abs(ln_x - math.log(direct_ohm(load).value)) < 0.5
    weights = densities[near] / densities[near].sum()
    mean = float(weights @ ln_x[near])
    spread = math.sqrt(float(weights @ (ln_x[near] - mean) ** 2))
    due = direct_ohm(load).value + series_ohm(job, channel) + 0.02
    assert mean == pytest.approx(math.log(due), abs=0.01)
    assert spread == pytest.approx(load.resistance_ohm.tolerance_percent / 100 / math.sqrt(3), rel=0.15)


def test_a_short_lies_below_three_tenths_of_the_load(job):
    channel = first(job, LoadKind.INJECTOR)
    densities = ohm_densities(job, channel, shape_of(job, channel, low=True))
    due = math.log(0.3 * (direct_ohm(job.load_type(channel)).value + series_ohm(job, channel)))
    inside = (ln_x > math.log(0.01)) & (ln_x < due)
    assert densities[inside] == pytest.approx(1.0 / (due - math.log(0.01)), rel=0.01)
    # the upper edge falls off with a standard deviation of 0.2: half a normal bell
    assert total(densities) == pytest.approx(
        1.0 + 0.1 * math.sqrt(2 * math.pi) / (due - math.log(0.01)), abs=0.02
    )


def test_added_resistance_lies_above_and_lost_turns_below(job):
    channel = first(job, LoadKind.INJECTOR)
    due = math.log(direct_ohm(job.load_type(channel)).value)
    for changes, side in (({"added": True}, 1.0), ({"lost_turns": True}, -1.0)):
        densities = ohm_densities(job, channel, shape_of(job, channel, **changes))
        share = densities[side * (ln_x - due) > 0.0].sum() / densities.sum()
        assert share > 0.75
    turns = ohm_densities(job, channel, shape_of(job, channel, lost_turns=True))
    assert turns[ln_x < due - math.log(2.0) - 0.4].sum() / turns.sum() < 0.01  # half the turns at most


def test_two_loads_side_by_side_have_the_parallel_resistance(job):
    channel = first(job, LoadKind.INJECTOR)
    beside = CATALOGUE["injector_low"]
    densities = ohm_densities(job, channel, shape_of(job, channel, beside=beside))
    one, two = direct_ohm(job.load_type(channel)).value, direct_ohm(beside).value
    wire = series_ohm(job, channel)
    both = (one + wire) * (two + wire) / (one + two + 2 * wire)
    assert ln_x[int(np.argmax(densities))] == pytest.approx(math.log(both), abs=0.02)
    near = np.abs(ln_x - math.log(both)) < 1.0
    assert total(np.where(near, densities, 0.0)) == pytest.approx(0.6 + 0.4 * 2.0 / math.log(1e6), abs=0.02)


@pytest.mark.parametrize(
    ("ohm", "relative", "says"), [(14.0, 0.5, True), (14.0, 0.501, False), (0.0, 0.0, False)]
)
def test_a_resistance_seen_to_more_than_a_half_says_nothing(job, ohm, relative, says):
    channel = first(job, LoadKind.INJECTOR)
    numbers = numbers_of(job, channel, resistance=Estimate(ohm, relative * ohm))
    assert bool(np.any(ohm_density(numbers, channel, shape_of(job, channel)))) is says
    unseen = numbers_of(job, channel)
    assert not np.any(ohm_density(unseen, channel, shape_of(job, channel)))


def test_temperature_widens_a_tolerance_but_not_that_of_an_input(job):
    """15 % and 1.7 * 0.393 %/K * 2 K = 1.336 %: 15.059 %."""
    channel = first(job, LoadKind.INJECTOR)
    numbers = numbers_of(job, channel)
    assert numbers.tolerance(CATALOGUE["injector_high"]) == pytest.approx(0.15059, abs=2e-5)
    for load in CATALOGUE.values():
        if load.kind in (LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT) and load.resistance_ohm is not None:
            assert numbers.tolerance(load) == load.resistance_ohm.tolerance_percent / 100


# -- inductance and steady current --------------------------------------------------------------------


def henry_densities(job, channel, shape):
    out = []
    loom = numbers_of(job, channel)
    for milli in np.exp(ln_x):
        numbers = seen_in(loom, channel, inductance=Estimate(milli * 1e-3, milli * 1e-5))
        out.append(float(logsumexp(henry_density(numbers, channel, shape) + henry_weights(numbers, channel))))
    return np.exp(out)


@pytest.mark.parametrize("changes", [{}, {"own_batch": False}, {"garbled": True}, {"foreign": True}], ids=str)
def test_a_density_of_the_inductance_sums_to_one(job, changes):
    channel = first(job, LoadKind.INJECTOR)
    assert total(henry_densities(job, channel, shape_of(job, channel, **changes))) == pytest.approx(
        1.0, abs=0.01
    )


def test_a_sound_inductance_lies_where_the_catalogue_says_and_lost_turns_lower_it(job):
    channel = first(job, LoadKind.INJECTOR)
    due = math.log(job.load_type(channel).inductance_mh.value)
    densities = henry_densities(job, channel, shape_of(job, channel))
    weights = densities / densities.sum()
    assert float(weights @ ln_x) == pytest.approx(due, abs=0.04)
    low = henry_densities(job, channel, shape_of(job, channel, lost_turns=True))
    inside = (ln_x > due - math.log(50.0)) & (ln_x < due - 0.15)
    assert low[inside] == pytest.approx(1.0 / (math.log(50.0) - 0.15), rel=0.01)


def test_an_inductance_not_measured_or_not_known_says_nothing(job):
    channel = first(job, LoadKind.INJECTOR)
    assert not np.any(henry_density(numbers_of(job, channel), channel, shape_of(job, channel)))
    seen = numbers_of(job, channel, inductance=Estimate(14e-3, 1e-4))
    assert not np.any(henry_density(seen, channel, shape_of(job, channel, unknown_type=True)))
    lamp = next(load for load in CATALOGUE.values() if load.kind is LoadKind.LAMP)
    assert not np.any(henry_density(seen, channel, shape_of(job, channel, load=lamp)))


@pytest.mark.parametrize("kind", [LoadKind.LAMP, LoadKind.MOTOR])
def test_a_steady_current_is_a_probability_around_what_is_due(bench, kind):
    job = next(
        own for own in bench.jobs.values() if any(own.load_type(c.channel).kind is kind for c in own.channels)
    )
    channel = first(job, kind)
    loom = numbers_of(job, channel)
    densities = [
        math.exp(
            steady_density(
                seen_in(loom, channel, steady=Estimate(a, 0.01 * a)), channel, shape_of(job, channel)
            )
        )
        for a in np.exp(ln_x)
    ]
    due = job.load_type(channel).steady_current_a.value
    peak = float(np.exp(ln_x[int(np.argmax(densities))]))
    assert 0.6 * due < peak < 1.2 * due
    for changes in ({"garbled": True}, {"foreign": True}, {"low": True}):
        numbers = numbers_of(job, channel, steady=Estimate(due, 0.01 * due))
        broad = steady_density(numbers, channel, shape_of(job, channel, **changes))
        assert broad == pytest.approx(-math.log(math.log(1e6)))
    assert steady_density(numbers, channel, shape_of(job, channel, unknown_type=True)) == 0.0
