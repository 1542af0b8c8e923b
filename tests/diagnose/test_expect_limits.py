"""What a loom should measure beside its resistances: steady currents, the supply, which sisters count, temperatures."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from loomproof.diagnose.expected.expect import expect
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.expected.temperature import (
    AMBIENT_U_K,
    copper_thermometer,
    loom_temperature,
    spread_about,
)
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import JobSetting, LoadKind
from loomproof.facts.signature import Signature
from loomproof.job.load_traits import INRUSH_KINDS, LOAD_TRAITS, LOGIC_KINDS, WINDING_KINDS
from loomproof.measure.statistics import pooled

WARM = Estimate(20.0, 2.0)


def loom(signatures, **more):
    channels = {c: ChannelEvidence(c, signature=s) for c, s in signatures.items()}
    return LoomEvidence(channels=channels, temperature_c=WARM, **more)


def channels_of(job, kinds):
    return [c.channel for c in job.channels if c.fitted and job.load_type(c.channel).kind in kinds]


def with_inrush(bench):
    """Every channel of the examples that has a steady current, with its job."""
    return [
        (job, c)
        for job in bench.jobs.values()
        for c in channels_of(job, INRUSH_KINDS)
        if job.load_type(c).steady_current_a is not None
    ]


# -- steady currents ----------------------------------------------------------------------------------


def steady_band(job, channel, **seen):
    signature = Signature(channel, **{"supply_v": Estimate(13.5, 0.0), **seen})
    return expect(job, loom({channel: signature})).steady.get(channel)


def test_at_the_reference_voltage_the_steady_current_is_the_catalogues(bench):
    cases = with_inrush(bench)
    assert {job.load_type(c).kind for job, c in cases} >= {LoadKind.LAMP, LoadKind.MOTOR}
    for job, channel in cases:
        load = job.load_type(channel)
        band, due = steady_band(job, channel), load.steady_current_a
        assert (band.low, band.middle, band.high) == pytest.approx((due.low, due.value, due.high))
        assert band.u == pytest.approx(0.005 * due.value)
        assert band.doubt == pytest.approx(LOAD_TRAITS[load.kind].inrush.still_high * due.high)
        assert band.doubt_below == 0.0


def test_less_voltage_gives_less_current_by_the_kinds_exponent(bench):
    """12 V of 13.5 V: (12 / 13.5) to the power p, and a tenth of p times ln(13.5 / 12) = 0.1177830 uncertain."""
    for job, channel in with_inrush(bench):
        load = job.load_type(channel)
        power, due = LOAD_TRAITS[load.kind].inrush.steady_exponent, load.steady_current_a
        band = steady_band(job, channel, supply_v=Estimate(12.0, 0.0))
        factor = (12.0 / 13.5) ** power
        assert band.middle == pytest.approx(due.value * factor)
        assert (band.low, band.high) == pytest.approx((due.low * factor, due.high * factor))
        assert band.u == pytest.approx(band.middle * math.hypot(0.01177830 * power, 0.005), rel=1e-5)


def test_what_supply_driver_and_wire_take_does_not_reach_the_load(bench):
    for job, channel in with_inrush(bench):
        power = LOAD_TRAITS[job.load_type(channel).kind].inrush.steady_exponent
        due = job.load_type(channel).steady_current_a.value
        seen = {"steady_a": Estimate(2.0, 0.01)}
        ohm = series_ohm(job, channel)
        for more, extra_ohm in (
            ({}, 0.0),
            ({"source_ohm": Estimate(0.1, 0.01)}, 0.1),
            ({"source_ohm": Estimate(-0.1, 0.01)}, 0.0),  # noise: a supply has none below nought
            ({"driver_ohm": Estimate(0.05, 0.001)}, 0.05),
            ({"source_ohm": Estimate(0.1, 0.01), "driver_ohm": Estimate(0.05, 0.001)}, 0.15),
        ):
            volts = 13.5 - 2.0 * (ohm + extra_ohm)
            band = steady_band(job, channel, **seen, **more)
            assert band.middle == pytest.approx(due * (volts / 13.5) ** power)


def test_a_voltage_is_never_reckoned_below_one_volt(bench):
    job, channel = with_inrush(bench)[0]
    power = LOAD_TRAITS[job.load_type(channel).kind].inrush.steady_exponent
    due = job.load_type(channel).steady_current_a.value
    for volts in (0.2, 1.0):
        band = steady_band(job, channel, supply_v=Estimate(volts, 0.0))
        assert band.middle == pytest.approx(due * (1.0 / 13.5) ** power)


def test_no_steady_current_is_due_where_nothing_was_seen_or_none_is_stated(bench):
    for job, channel in with_inrush(bench):
        assert channel not in expect(job, loom({})).steady
        assert channel not in expect(job, loom({channel: Signature(channel)})).steady
    for job in bench.jobs.values():
        others = channels_of(job, set(LoadKind) - INRUSH_KINDS)
        seen = {c: Signature(c, supply_v=Estimate(13.5, 0.0)) for c in others}
        assert expect(job, loom(seen)).steady == {}


# -- the supply by all loads together -------------------------------------------------------------------


def sources(job, *estimates, tripped=()):
    chosen = channels_of(job, WINDING_KINDS)[: len(estimates)]
    seen = {
        c: Signature(c, source_ohm=e, tripped=number in tripped)
        for number, (c, e) in enumerate(zip(chosen, estimates, strict=True))
    }
    return expect(job, loom(seen)).source_ohm


@pytest.mark.parametrize(("u", "together"), [(0.06, False), (0.0601, True), (0.2, True)])
def test_loads_are_pooled_where_none_sees_the_supply_finely(bench, u, together):
    seen = (Estimate(0.2, 0.3), Estimate(0.1, u), Estimate(0.3, 0.25))
    found = sources(bench.jobs["inline"], *seen)
    assert found == (pooled(seen) if together else None)


def test_a_pulse_that_tripped_says_nothing_of_the_supply(bench):
    job = bench.jobs["inline"]
    seen = (Estimate(0.2, 0.2), Estimate(5.0, 0.1))
    assert sources(job, *seen, tripped=(1,)) == seen[0]
    assert sources(job, *seen, tripped=(0, 1)) is None
    assert sources(job, None, seen[0]) == seen[0]
    assert sources(job, None, None) is None
    assert expect(job, loom({})).source_ohm is None


def test_inputs_do_not_load_the_supply(bench):
    job = next(j for j in bench.jobs.values() if channels_of(j, LOGIC_KINDS))
    channel = channels_of(job, LOGIC_KINDS)[0]
    seen = {channel: Signature(channel, source_ohm=Estimate(0.2, 0.2))}
    assert expect(job, loom(seen)).source_ohm is None


# -- which sisters count ----------------------------------------------------------------------------------


@pytest.fixture
def sisters(bench):
    """A job, and four or more of its injectors."""
    job = bench.jobs["inline"]
    group = next(c for c in channels_of(job, {LoadKind.INJECTOR}) if len(job.sisters(c)) >= 3)
    return job, (group, *job.sisters(group))


def measured(job, group, values, *, u=0.001):
    return expect(
        job,
        loom(
            {
                c: Signature(c, resistance_ohm=Estimate(v, u))
                for c, v in zip(group, values, strict=False)
                if v is not None
            }
        ),
    )


def test_a_sister_that_the_catalogue_fails_is_no_measure_for_the_others(sisters):
    job, group = sisters
    band = measured(job, group, []).resistance[group[0]]
    good = band.middle
    for odd, counts in (
        (band.high, True),
        (band.high + 5.0, False),
        (band.low, True),
        (band.low - 5.0, False),
    ):
        found = measured(job, group[:4], [good, good * 1.001, good * 0.999, odd])
        others = found.sisters[group[0]]
        among = [good * 1.001, good * 0.999] + ([odd] if counts else [])
        assert others.middle == pytest.approx(float(np.median(among)), rel=0.02)


def test_a_sister_counts_up_to_twice_its_own_and_the_limits_uncertainty(sisters):
    job, group = sisters
    band = measured(job, group, []).resistance[group[2]]
    assert band.u > 0.0
    u = 0.2
    for edge, outward in ((band.high, 1.0), (band.low, -1.0)):
        for times, counts in ((1.999, True), (2.001, False)):
            odd = edge + outward * times * (u + band.u)
            found = measured(job, group[:3], [None, band.middle, odd], u=u)  # too few to tell a temperature
            assert (group[0] in found.sisters) is counts  # two others are the fewest


def test_filaments_are_no_sisters_by_resistance_and_inputs_only_vouch(bench):
    for job in bench.jobs.values():
        seen = {c.channel: Signature(c.channel) for c in job.channels if c.fitted}
        for c in seen:
            ohm = direct_ohm(job.load_type(c))
            if ohm is not None:
                due = ohm.value + series_ohm(job, c)
                seen[c] = Signature(c, resistance_ohm=Estimate(due, 0.001 * due))
        found = expect(job, loom(seen))
        for c in seen:
            kind, enough = job.load_type(c).kind, len(job.sisters(c)) >= 2
            known = direct_ohm(job.load_type(c)) is not None
            cold = kind in LOGIC_KINDS or kind in (LoadKind.LAMP,)
            assert (c in found.sisters) is (enough and known and not cold)
            assert (c in found.input_sisters) is (enough and known and kind in LOGIC_KINDS)


# -- temperature --------------------------------------------------------------------------------------------


def test_how_far_loads_may_be_from_the_ambient():
    """Common practice, no source: on a bench everything has settled, on a vehicle the engine may be half warm."""
    assert AMBIENT_U_K == {JobSetting.BENCH: 5.0, JobSetting.CLASSROOM: 5.0, JobSetting.VEHICLE: 15.0}


def copper(job, temperature_c, *, types=None):
    seen = {}
    for c in channels_of(job, WINDING_KINDS):
        load = job.load_type(c)
        if direct_ohm(load) is None or (types is not None and load.key not in types):
            continue
        ohm = (direct_ohm(load).value + series_ohm(job, c)) * (1 + 0.00393 * (temperature_c - 20.0))
        seen[c] = Signature(c, resistance_ohm=Estimate(ohm, 0.001))
    return LoomEvidence(channels={c: ChannelEvidence(c, signature=s) for c, s in seen.items()})


def by_hand(job, evidence, stated=None):
    """The same by numerical integration: each type's tolerance filled evenly, its edge a normal of 1 %, an odd type 5 %."""
    grid = np.linspace(-60.0, 160.0, 881)
    logs = np.zeros_like(grid)
    ratios: dict = {}
    for c, own in evidence.channels.items():
        ohm = direct_ohm(job.load_type(c))
        key = (job.load_type(c).key, ohm.value, ohm.tolerance_percent / 100)
        due = ohm.value + series_ohm(job, c)
        ratios.setdefault(key, []).append(own.signature.resistance_ohm.value / due)
    for (_, _, tolerance), values in ratios.items():
        part = np.median(values) / (1 + 0.00393 * (grid - 20.0)) - 1.0
        evenly = (np.arange(300) + 0.5) * tolerance / 150.0 - tolerance
        inside = stats.norm.pdf(part[:, None] - evenly, scale=0.01).mean(axis=1)
        logs += np.log(0.95 * inside + 0.05)
    if stated is not None:
        logs += stats.norm.logpdf(grid, stated.value, stated.u)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    mean = weights @ grid
    return mean, math.sqrt(weights @ (grid - mean) ** 2)


@pytest.mark.parametrize("temperature_c", [-10.0, 55.0])
def test_the_coppers_temperature_by_integration(bench, temperature_c):
    job = bench.jobs["inline"]
    evidence = copper(job, temperature_c)
    mean, u = by_hand(job, evidence)
    found = copper_thermometer(job, evidence)
    assert (found.value, found.u) == pytest.approx((mean, u), rel=2e-3)
    stated = Estimate(25.0, 8.0)
    mean, u = by_hand(job, evidence, stated)
    found = loom_temperature(job, replace(evidence, temperature_c=stated))
    assert (found.value, found.u) == pytest.approx((mean, u), rel=2e-3)


def test_an_unfitted_channel_and_one_without_copper_are_no_thermometer(bench):
    job = bench.jobs["inline"]
    evidence = copper(job, 55.0)
    first = next(iter(evidence.channels))
    odd = Signature(first, resistance_ohm=Estimate(1e3, 1.0))
    spoilt = replace(evidence, channels={**evidence.channels, first: ChannelEvidence(first, signature=odd)})
    channels = tuple(c.model_copy(update={"fitted": c.channel != first}) for c in job.channels)
    without = replace(evidence, channels={c: e for c, e in evidence.channels.items() if c != first})
    unfitted = job.model_copy(update={"channels": channels})
    assert copper_thermometer(unfitted, spoilt) == copper_thermometer(job, without)
    lamp = next((c for c in channels_of(job, {LoadKind.LAMP, *LOGIC_KINDS})), None)
    if lamp is not None:
        hot = ChannelEvidence(lamp, signature=Signature(lamp, resistance_ohm=Estimate(99.0, 0.1)))
        beside = replace(evidence, channels={**evidence.channels, lamp: hot})
        assert copper_thermometer(job, beside) == copper_thermometer(job, evidence)


# -- an earlier record ------------------------------------------------------------------------------------------


def with_record(job, now, before, *, same_box=False):
    """Evidence of what was measured now, and at an earlier record."""
    channels = {
        c: ChannelEvidence(
            c,
            signature=Signature(c, resistance_ohm=now[c]) if c in now else None,
            baseline=Signature(c, resistance_ohm=before[c]) if before.get(c) is not None else None,
        )
        for c in {*now, *before}
    }
    return LoomEvidence(channels=channels, temperature_c=WARM, baseline_same_box=same_box)


def reach(dof, rate, single):
    return float(stats.t.ppf(1 - rate, dof)) * single


PRIOR_SIGMA, PRIOR_DOF, RESEATED_OHM = 0.003, 6.0, 0.01
AMBIENT_DRIFT = 0.00393 * math.sqrt(2.0) * 15.0
"""Of copper on a vehicle, of which fewer than three other loads are known: 15 K each time."""


@pytest.mark.parametrize(("same_box", "u_now"), [(False, 0.05), (True, 0.03)])
def test_the_same_box_leaves_the_error_of_its_scale_out(bench, same_box, u_now):
    """0.05 ohm of which 0.04 are the scale's: 0.03 are left; of the record's own always the random part alone."""
    job = bench.jobs["inline"]
    channel = channels_of(job, WINDING_KINDS)[0]
    now, before = Estimate(14.0, 0.05, u_gain=0.04), Estimate(14.0, 0.05, u_gain=0.03)
    band = expect(job, with_record(job, {channel: now}, {channel: before}, same_box=same_box)).baseline[
        channel
    ]
    single = math.hypot(14.0 * PRIOR_SIGMA, RESEATED_OHM, 0.04, u_now, 14.0 * AMBIENT_DRIFT)
    assert band.middle == 14.0
    assert band.high == pytest.approx(14.0 + reach(PRIOR_DOF, 5e-3, single))
    assert band.low == pytest.approx(14.0 - reach(PRIOR_DOF, 5e-3, single))
    fail = reach(PRIOR_DOF, 2e-4, single) - reach(PRIOR_DOF, 5e-3, single)
    assert (band.doubt, band.doubt_below) == pytest.approx((fail, fail))
    assert band.same_scale is same_box


def test_without_a_measurement_now_only_the_records_own_counts(bench):
    job = bench.jobs["inline"]
    channel = channels_of(job, WINDING_KINDS)[0]
    band = expect(job, with_record(job, {}, {channel: Estimate(14.0, 0.05)})).baseline[channel]
    single = math.hypot(14.0 * PRIOR_SIGMA, RESEATED_OHM, 0.05, 14.0 * AMBIENT_DRIFT)
    assert band.high == pytest.approx(14.0 + reach(PRIOR_DOF, 5e-3, single))


def test_a_filament_repeats_to_two_percent_and_may_be_warm(bench):
    """Common practice, no source: 2 % from one cold filament to the next look, and 30 % where it is warm still."""
    job = next(j for j in bench.jobs.values() if channels_of(j, {LoadKind.LAMP}))
    channel = channels_of(job, {LoadKind.LAMP})[0]
    band = expect(job, with_record(job, {}, {channel: Estimate(1.0, 0.0)})).baseline[channel]
    drift = 0.00393 * math.sqrt(2.0) * AMBIENT_U_K[job.setting]
    single = math.hypot(math.hypot(PRIOR_SIGMA, 0.02), RESEATED_OHM, drift)
    assert band.high == pytest.approx(1.0 + reach(PRIOR_DOF, 5e-3, single))
    fail = reach(PRIOR_DOF, 2e-4, single) - reach(PRIOR_DOF, 5e-3, single)
    assert (band.doubt, band.doubt_below) == pytest.approx((fail + 0.3, fail))


def test_no_record_of_nothing_and_none_of_an_input(bench):
    job = bench.jobs["inline"]
    channel = channels_of(job, WINDING_KINDS)[0]
    for before in (None, Estimate(0.0, 0.1), Estimate(-1.0, 0.1)):
        assert channel not in expect(job, with_record(job, {}, {channel: before})).baseline
    inputs = next(j for j in bench.jobs.values() if channels_of(j, LOGIC_KINDS))
    logic = channels_of(inputs, LOGIC_KINDS)[0]
    assert logic not in expect(inputs, with_record(inputs, {}, {logic: Estimate(680.0, 1.0)})).baseline


@pytest.mark.parametrize("count", range(2, 16))
def test_the_spread_of_normal_values_is_their_standard_deviation_for_each_count(count):
    """By simulation; a box of sixteen channels has fifteen others at most."""
    draws = np.random.default_rng(100 + count).standard_normal((2500, count))
    squares = [spread_about(row, float(np.median(row))) ** 2 for row in draws]
    assert math.sqrt(float(np.mean(squares))) == pytest.approx(1.0, abs=0.06)
