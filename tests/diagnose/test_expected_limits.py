"""What is expected of a sound loom, by hand: sisters, the copper as a thermometer, an earlier record, the catalogue."""

import math
from dataclasses import replace

import pytest
from scipy import stats

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.sisters import Sister, sister_bands
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.expected.temperature import (
    copper_factor,
    copper_thermometer,
    loom_temperature,
    resistance_of,
    spread_about,
    warming,
)
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.facts.signature import Signature
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import WINDING_KINDS
from loomproof.job.quantity import Quantity

MEDIAN_OF_THREE = math.sqrt(1.0 + math.pi / 2.0 / 3.0)
"""The standard error of a median is sqrt(pi / 2 / n) standard deviations (large samples, statistics textbook)."""


# -- sisters ------------------------------------------------------------------------------------------


def bands_of(values, *, u=0.0, wires=None, joints=True, what="resistance", group=(1, 2, 3, 4)):
    wires = wires or [0.0] * len(values)
    seen = {
        c: Sister(Estimate(v, u), w)
        for c, (v, w) in enumerate(zip(values, wires, strict=True), 1)
        if v is not None
    }
    return sister_bands(dict.fromkeys(group, group), seen, what, joints=joints)


def test_three_equal_sisters_leave_the_prior_spread():
    """10 ohm each. Prior 1 % with 6 degrees and 0 % with 2: 0.866 % of 10, with 12 mohm of joints 0.08743 ohm.

    t(0.995; 8) = 3.3554, below with a prior of 2 % and 3 degrees t(0.995; 5) = 4.0321 (table of Student's).
    """
    band = bands_of([10.0, 10.0, 10.0, 10.0])[4]
    assert band.middle == 10.0
    assert band.high == pytest.approx(10.0 + 3.3554 * 0.08743 * MEDIAN_OF_THREE, abs=2e-5)
    assert band.low == pytest.approx(10.0 - 4.0321 * 0.155383 * MEDIAN_OF_THREE, abs=2e-5)
    fail = float(stats.t.ppf(1 - 2e-4, 8)) * 0.087432 * MEDIAN_OF_THREE
    assert band.high + band.doubt == pytest.approx(10.0 + fail, abs=2e-4)
    fail_below = float(stats.t.ppf(1 - 2e-4, 5)) * 0.155383 * MEDIAN_OF_THREE
    assert band.low - band.doubt_below == pytest.approx(10.0 - fail_below, abs=2e-4)
    assert (band.u, band.statistical, band.among) == (0.0, True, "its sisters")


def test_inductances_have_no_joints_and_equal_sides():
    """Prior 3 %: 2.598 % of 10, with a measurement's 0.1 together 0.27839."""
    band = bands_of([10.0] * 4, u=0.1, joints=False, what="inductance")[1]
    reach = 3.3554 * 0.278388 * MEDIAN_OF_THREE
    assert (band.low, band.high) == pytest.approx((10.0 - reach, 10.0 + reach), abs=5e-5)
    assert band.doubt == band.doubt_below


def test_a_tenth_of_the_difference_in_wire_is_uncertain():
    """1 ohm more of wire than its sisters: 0.1 ohm; with 12 mohm of joints and 0.866 % of 10: 0.13283 ohm."""
    band = bands_of([10.2, 10.2, 10.2, 11.2], wires=[0.2, 0.2, 0.2, 1.2])[4]
    assert band.middle == pytest.approx(11.2)
    single = math.hypot(0.0866025, 0.012, 0.1)
    assert band.high == pytest.approx(11.2 + 3.3554 * single * MEDIAN_OF_THREE, abs=5e-5)


def test_a_channel_that_was_not_measured_takes_its_sisters_wire():
    band = bands_of([10.2, 10.4, 10.3, None], wires=[0.1, 0.3, 0.2, 0.0])[4]
    assert band.middle == pytest.approx(10.1 + 0.2)


@pytest.mark.parametrize(("values", "known"), [([10.0, None, None], False), ([10.0, 10.0, None], True)])
def test_two_others_are_the_fewest(values, known):
    assert (3 in bands_of(values, group=(1, 2, 3))) is known


def test_sisters_of_nothing_are_no_measure():
    assert bands_of([0.0] * 4) == {}


def test_the_sisters_own_spread_widens_the_band():
    """9.9, 10.0, 10.1: root mean square of the deviations 0.08165 times 1.135, of 10: 0.9267 %.

    (6 * 1 %^2 + 2 * 0.9267 %^2) / 8 = 0.98226 %^2.
    """
    band = bands_of([9.9, 10.0, 10.1, 10.0])[4]
    single = math.hypot(0.098226, 0.012)
    assert band.high == pytest.approx(10.0 + 3.3554 * single * MEDIAN_OF_THREE, abs=1e-4)


@pytest.mark.parametrize(
    ("values", "spread"),
    [
        ([-1.0, 1.0], 1.415),
        ([-1.0, 0.0, 1.0], 1.135 * math.sqrt(2.0 / 3.0)),
        ([-1.0, 1.0, 1.0, 50.0], 1.790),
        ([-1.0, 1.0, 1.0, 1.0, 50.0], 1.575),
        ([1.0] * 6 + [50.0, 60.0], 1.691),
        ([1.0] * 15 + [50.0] * 5, 1.517),
    ],
)
def test_the_largest_quarter_is_left_out_of_a_spread(values, spread):
    """Of two and three none, of four to seven one, of eight to eleven two, of twenty five."""
    assert spread_about(values, 0.0) == pytest.approx(spread)


# -- the copper ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("temperature_c", "factor"), [(20.0, 1.0), (120.0, 1.393), (-80.0, 0.607)])
def test_copper_rises_0_393_percent_a_kelvin(temperature_c, factor):
    """IEC 60028: 0.00393 /K at 20 degC."""
    assert copper_factor(temperature_c) == pytest.approx(factor)


def test_a_resistor_built_in_lies_beside_the_winding():
    """100 ohm and 300 ohm side by side: 75 ohm."""
    relay = CATALOGUE["relay_horn"] if "relay_horn" in CATALOGUE else next(iter(CATALOGUE.values()))
    with_resistor = relay.model_copy(
        update={
            "resistance_ohm": Quantity(value=100.0, source="round"),
            "suppression": Suppression.RESISTOR,
            "suppression_ohm": Quantity(value=300.0, source="round"),
        }
    )
    assert direct_ohm(with_resistor).value == pytest.approx(75.0)
    for change in ({"suppression": Suppression.DIODE}, {"suppression_ohm": None}):
        assert direct_ohm(with_resistor.model_copy(update=change)).value == 100.0
    assert direct_ohm(with_resistor.model_copy(update={"resistance_ohm": None})) is None


@pytest.fixture
def job(bench):
    return bench.jobs["inline"]


def copper_channels(job):
    return [
        c.channel
        for c in job.channels
        if c.fitted
        and job.load_type(c.channel).kind in WINDING_KINDS
        and direct_ohm(job.load_type(c.channel))
    ]


def evidence_of(job, ohms, before=None, **more):
    channels = {}
    for channel, ohm in ohms.items():
        baseline = None
        if before is not None and channel in before:
            baseline = Signature(channel, resistance_ohm=Estimate(before[channel], 0.001))
        channels[channel] = ChannelEvidence(
            channel, signature=Signature(channel, resistance_ohm=Estimate(ohm, 0.01)), baseline=baseline
        )
    return LoomEvidence(channels=channels, **more)


def warm_ohms(job, temperature_c, channels=None):
    return {
        c: (direct_ohm(job.load_type(c)).value + series_ohm(job, c)) * (1 + 0.00393 * (temperature_c - 20.0))
        for c in channels or copper_channels(job)
    }


@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 60.0])
def test_many_loads_of_copper_tell_their_temperature(job, temperature_c):
    told = copper_thermometer(job, evidence_of(job, warm_ohms(job, temperature_c)))
    assert told.value == pytest.approx(temperature_c, abs=told.u)
    assert 5.0 < told.u < 40.0


def test_two_loads_tell_nothing_and_three_do(job):
    first = copper_channels(job)[:3]
    assert copper_thermometer(job, evidence_of(job, warm_ohms(job, 20.0, first[:2]))) is None
    assert copper_thermometer(job, evidence_of(job, warm_ohms(job, 20.0, first))) is not None


def test_what_was_stated_counts_by_its_uncertainty(job):
    seen = warm_ohms(job, 60.0)
    alone = copper_thermometer(job, evidence_of(job, seen))
    stated = Estimate(20.0, 10.0)
    told = loom_temperature(job, evidence_of(job, seen, temperature_c=stated))
    assert 20.0 < told.value < alone.value
    assert told.u < min(alone.u, 10.0)
    exact = Estimate(20.0, 0.0)
    assert loom_temperature(job, evidence_of(job, seen, temperature_c=exact)) is exact
    nothing = loom_temperature(job, evidence_of(job, {}))
    assert nothing == Estimate(job.ambient_c, 15.0)  # on a vehicle


def test_warming_is_the_median_of_the_other_loads(job):
    """All 5 % up: the prior 0.3 % with 6 degrees, and n - 1 without any spread."""
    before = warm_ohms(job, 20.0)
    now = {c: ohm * 1.05 for c, ohm in before.items()}
    but = min(before)
    change, sigma, dof = warming(job, evidence_of(job, now, before), but)
    n = len(before) - 1
    assert change.value == pytest.approx(0.05)
    assert dof == 6.0 + n - 1
    assert sigma == pytest.approx(0.003 * math.sqrt(6.0 / dof))
    assert change.u == pytest.approx(sigma * math.sqrt(math.pi / 2.0 / n))
    odd = now | {but: before[but] * 2.0}
    assert warming(job, evidence_of(job, odd, before), but)[0].value == pytest.approx(0.05)


@pytest.mark.parametrize(("others", "known"), [(2, False), (3, True)])
def test_warming_needs_three_other_loads(job, others, known):
    """Else the ambient may have changed by 15 K each time: sqrt(2) * 15 K * 0.393 %/K."""
    chosen = copper_channels(job)[: others + 1]
    before = warm_ohms(job, 20.0, chosen)
    now = {c: ohm * 1.05 for c, ohm in before.items()}
    change, sigma, dof = warming(job, evidence_of(job, now, before), chosen[0])
    if known:
        assert change.value == pytest.approx(0.05)
    else:
        assert (change.value, change.u) == (0.0, pytest.approx(0.00393 * math.sqrt(2.0) * 15.0))
        assert (sigma, dof) == (0.003, 6.0)


# -- the catalogue and an earlier record --------------------------------------------------------------


def test_the_catalogue_at_a_temperature_with_wire_and_joints(job):
    channel = copper_channels(job)[0]
    ohm = direct_ohm(job.load_type(channel))
    band = expect(job, LoomEvidence(channels={}, temperature_c=Estimate(45.0, 10.0))).resistance[channel]
    warm = 1 + 0.00393 * 25.0
    wire = series_ohm(job, channel) * warm
    assert band.middle == pytest.approx(ohm.value * warm + wire)
    assert band.low == pytest.approx(ohm.low * warm + 0.9 * wire)
    assert band.high == pytest.approx(ohm.high * warm + 1.1 * wire + 0.05)  # and 50 mohm of terminals
    assert band.u == pytest.approx(0.00393 * ohm.value * 10.0)
    assert (band.doubt, band.doubt_below, band.statistical) == (0.0, 0.0, False)


def test_a_filament_may_be_warm_and_a_core_another(job, bench):
    for own in bench.jobs.values():
        expected = expect(own, LoomEvidence(channels={}, temperature_c=Estimate(20.0, 5.0)))
        for channel, band in expected.resistance.items():
            load = own.load_type(channel)
            lamp = load.kind is LoadKind.LAMP
            assert band.doubt == pytest.approx(0.3 * direct_ohm(load).high if lamp else 0.0)
        for channel, band in expected.inductance.items():
            load = own.load_type(channel)
            assert (band.low, band.middle, band.high) == pytest.approx(
                (load.inductance_mh.low / 1e3, load.inductance_mh.value / 1e3, load.inductance_mh.high / 1e3)
            )
            coil = load.kind is LoadKind.COIL
            assert band.doubt == band.doubt_below == pytest.approx(0.2 * band.low if coil else 0.0)


def test_an_earlier_record_warms_with_the_others(job):
    before = warm_ohms(job, 20.0)
    now = {c: ohm * 1.05 for c, ohm in before.items()}
    evidence = evidence_of(job, now, before, temperature_c=Estimate(20.0, 5.0))
    channel = min(before)
    band = expect(job, evidence).baseline[channel]
    n = len(before) - 1
    dof = 6.0 + n - 1
    sigma = 0.003 * math.sqrt(6.0 / dof)
    drift = sigma * math.sqrt(math.pi / 2.0 / n)
    single = math.hypot(before[channel] * sigma, 0.01, 0.001, 0.01, before[channel] * drift)
    assert band.middle == pytest.approx(before[channel] * 1.05)
    doubt, fail = (float(stats.t.ppf(1 - rate, dof)) * single for rate in (5e-3, 2e-4))
    assert (band.low, band.high) == pytest.approx((band.middle - doubt, band.middle + doubt), rel=1e-9)
    assert (band.doubt, band.doubt_below) == pytest.approx((fail - doubt, fail - doubt))
    assert (band.same_scale, band.statistical, band.u) == (False, True, 0.0)
    same = expect(job, replace(evidence, baseline_same_box=True)).baseline[channel]
    assert same.same_scale
    assert same.high == pytest.approx(band.high)  # the same here: nothing of its uncertainty is the scale's


def test_the_narrowest_band_is_the_tightest():
    wide, narrow = LimitBand(8.0, 12.0, 10.0, 0.0, ""), LimitBand(9.5, 10.0, 9.7, 0.0, "")
    expected = Expectations(Estimate(20.0, 5.0), resistance={1: wide, 2: wide}, sisters={1: narrow})
    assert expected.bands(1) == (wide, narrow)
    assert expected.tightest_resistance(1) is narrow
    assert expected.tightest_resistance(2) is wide
    assert expected.tightest_resistance(3) is None


def test_only_a_pulse_of_its_own_gives_a_resistance():
    assert resistance_of(ChannelEvidence(1)) is None
    assert resistance_of(ChannelEvidence(1, signature=Signature(1))) is None
