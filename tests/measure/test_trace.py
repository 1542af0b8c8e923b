"""Counts to amperes: two ranges merged, the end of a range, the instants of the other samples."""

import numpy as np
import pytest

from loomproof.facts.trace import Calibration
from loomproof.measure.trace.from_counts import trace_from_counts

SCALES = Calibration(
    fine_a_per_count=0.002,
    fine_offset_counts=3.0,
    wide_a_per_count=0.02,
    wide_offset_counts=2.0,
    supply_v_per_count=0.02,
    drain_v_per_count=0.05,
    noise_counts=0.5,
    gain_u_relative=0.004,
)
U_COUNT = (0.5**2 + 1 / 12) ** 0.5  # noise and rounding: JCGM 100:2008, F.2.2.1


def read(fine, wide, *, supply=None, drain=None, scales=SCALES, on_s=1.0, **keywords):
    fine = np.asarray(fine, float)
    timing = {"sample_period_s": 25e-6, "first_sample_s": 5e-6, "supply_skew_s": 0.0, "drain_skew_s": 0.0}
    return trace_from_counts(
        fine,
        wide,
        np.full(fine.size, 675.0) if supply is None else supply,
        np.full(fine.size, 2.0) if drain is None else drain,
        scales,
        channel=7,
        on_time_s=on_s,
        **(timing | keywords),
    )


def test_both_ranges_count_by_their_noise():
    # 0.5 A in both, then one wide count more: its weight is 1/100 of the fine one's (inverse variances)
    trace = read([253, 253], [27, 28])
    assert trace.current_a[0] == pytest.approx(0.5, abs=1e-12)
    assert trace.current_a[1] - trace.current_a[0] == pytest.approx(0.02 / 101, rel=1e-9)
    assert trace.current_u_a[0] == pytest.approx(U_COUNT * 0.002 / np.sqrt(1.01), rel=1e-9)


def test_a_fine_range_at_its_end_gives_way_to_the_wide_one():
    trace = read([1023, 1003, 1023], [252, 252, 980])
    assert trace.current_a == pytest.approx([5.0, 5.0, 19.56])
    assert trace.current_u_a == pytest.approx(U_COUNT * 0.02)
    assert not trace.clipped


def test_a_fine_count_that_contradicts_the_wide_one_is_not_believed():
    # an amplifier far beyond its range may fold back: the wide range says 10 A
    trace = read([300], [502])
    assert trace.current_a == pytest.approx([10.0])


def test_the_change_of_range_bends_nothing():
    rng = np.random.default_rng(3)
    for true_a in np.linspace(1.98, 2.06, 9):
        n = 4000
        fine = np.clip(np.rint(true_a / 0.002 + 3 + rng.normal(0, 0.5, n)), 0, 1023)
        wide = np.clip(np.rint(true_a / 0.02 + 2 + rng.normal(0, 0.5, n)), 0, 1023)
        trace = read(fine, wide)
        # mean rounding error of the wide range with this noise stays under 0.003 counts
        assert trace.current_a.mean() == pytest.approx(
            true_a, abs=4 * trace.current_u_a.max() / n**0.5 + 6e-5
        )


def test_beyond_both_ranges_is_clipped_and_counted_inside_the_pulse_only():
    fine, wide = np.full(40, 1023), np.full(40, 500)
    wide[[5, 6, 30]] = 1023
    trace = read(fine, wide, on_s=20 * 25e-6)
    assert trace.clipped
    assert trace.clipped_samples == 2
    assert not read(fine, wide, on_s=4 * 25e-6).clipped


def test_the_scatter_of_samples_is_the_stated_one():
    rng = np.random.default_rng(5)
    n = 20_000
    fine = np.rint(0.7654 / 0.002 + 3 + rng.normal(0, 0.5, n))
    wide = np.rint(0.7654 / 0.02 + 2 + rng.normal(0, 0.5, n))
    trace = read(fine, wide)
    assert trace.current_a.std() == pytest.approx(trace.current_u_a[0], rel=0.03)


def test_supply_and_drain_are_brought_to_the_instants_of_the_current():
    period, skew = 25e-6, 10e-6
    times = 5e-6 + period * np.arange(100)
    supply = (600 + 4e5 * (times + skew)) / 1.0  # counts, a straight ramp, taken 10 us late
    trace = read(np.full(100, 253), np.full(100, 27), supply=supply, supply_skew_s=skew)
    ahead = trace.supply_v[1:] - (600 + 4e5 * times[1:]) * 0.02
    assert np.abs(ahead).max() < 1e-9


def test_the_drain_is_never_blended_across_a_switching_edge():
    period, skew, on_s = 25e-6, 12e-6, 40.5 * 25e-6
    times = 5e-6 + period * np.arange(80)
    drain = np.where(times + skew < on_s, 2, 960)
    trace = read(np.full(80, 253), np.full(80, 27), drain=drain, drain_skew_s=skew, on_s=on_s)
    assert set(np.round(trace.drain_v, 9)) == {0.1, 48.0}
    assert trace.drain_v[trace.on] == pytest.approx(0.1)
    assert (trace.drain_v[trace.off] > 47).all()


@pytest.mark.parametrize(
    "late_us", [-1.0, 0.0, 1.0, 4.0]
)  # 4: a converter that holds the pin later than it says
def test_what_was_taken_on_the_edge_itself_counts_for_neither_side(late_us):
    period, skew = 25e-6, 12e-6
    times = 5e-6 + period * np.arange(80)
    on_s = times[40] + skew + late_us * 1e-6
    drain = np.where(np.arange(80) < 40, 2.0, 960.0)
    drain[40] = 500.0  # on the slope
    trace = read(np.full(80, 253), np.full(80, 27), drain=drain, drain_skew_s=skew, on_s=on_s)
    assert set(np.round(trace.drain_v, 9)) == {0.1, 48.0}


def test_a_supply_that_sags_is_never_blended_across_a_switching_edge():
    """A lamp behind 0.8 ohm: 7.3 V while it is on and 13.5 V as soon as it is off; three samples of a sense pulse."""
    period, skew, on_s = 26e-6, 13e-6, 60e-6
    times = 2e-6 + period * np.arange(43)
    supply = np.where(times + skew < on_s, 365, 675)
    keywords = {"sample_period_s": period, "first_sample_s": 2e-6, "supply_skew_s": skew, "on_s": on_s}
    trace = read(np.full(43, 1023), np.full(43, 383), supply=supply, **keywords)
    assert len(set(np.round(trace.supply_v, 9))) == 2
    assert trace.supply_v[trace.on][-1] < 0.6 * trace.supply_v[trace.off][0]


def test_before_the_pulse_belongs_to_neither_part():
    trace = read(np.full(8, 253), np.full(8, 27), first_sample_s=-50e-6, on_s=75e-6)
    assert trace.on.tolist() == [False, False, True, True, True, False, False, False]
    assert trace.off.tolist() == [False] * 6 + [True] * 2  # the sixth lies on the edge
    assert len(trace) == 8
    assert trace.channel == 7


def test_unequal_arrays_are_refused_with_their_lengths():
    with pytest.raises(ValueError, match=r"differ in length: \[3, 2"):
        read([1, 2, 3], [1, 2])


def test_voltage_scales_are_as_uncertain_as_the_current_unless_told():
    assert read([253], [27]).voltage_u_relative == 0.004
    told = Calibration(**{**{f: getattr(SCALES, f) for f in SCALES.__slots__}, "voltage_u_relative": 0.001})
    assert read([253], [27], scales=told).voltage_u_relative == 0.001
    assert read([253], [27]).offset_u_a == pytest.approx(0.1 * 0.002)


def test_what_was_taken_on_the_end_of_the_pulse_counts_for_neither_side():
    # samples at 5, 30, 55 us; the box may end its pulse a microsecond sooner or later than it says
    for on_us in (29, 30, 31):
        trace = read([100, 3, 3], [10, 2, 2], on_s=on_us * 1e-6)
        assert list(trace.on) == [True, False, False]
        assert list(trace.off) == [False, False, True]


def test_a_set_that_the_box_missed_leaves_a_gap_at_its_instant():
    # the protocol, Traces: four zeros stand for a set that was missed in a bridge's trace
    trace = read([253, 0, 503, 0], [27, 0, 52, 0], supply=[675, 0, 675, 675], drain=[2, 0, 2, 2])
    assert trace.time_s == pytest.approx([5e-6, 55e-6, 80e-6], abs=1e-12)
    assert trace.supply_v == pytest.approx([13.5] * 3)
    assert trace.current_a[:2] == pytest.approx([0.5, 1.0])
    assert trace.current_a[2] < 0  # all counts but one at zero: that was measured


def test_a_trace_of_which_everything_was_missed_is_empty():
    trace = read([0, 0], [0, 0], supply=[0, 0], drain=[0, 0])
    assert len(trace) == 0
