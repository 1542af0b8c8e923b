"""Breaks of a watched load: found, placed, measured; not mistaken for ripple; the same in any portions."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.facts.dropout import Watched
from loomproof.measure.dropouts.detector import DropoutDesign, DropoutDetector, least_depth

HZ = 5000.0
FINE_STEP_A, SUPPLY_STEP_V, PIN_STEP_V = 2.0 / 1007, 20.0 / 1023, 60.0 / 1023


def held(seconds=4.0, *, breaks=(), ripple_v=0.0, sag=None, tau_s=1e-3, amps=0.9, seed=1, ripple_hz=300.0):
    """Current of a held winding and its supply, in rounded counts; `breaks` are (start, length, depth)."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * HZ)) / HZ
    w = 2 * math.pi * ripple_hz
    slow = 13.5 * np.ones_like(t)
    if sag is not None:
        slow = slow - sag(t)
    lag = math.atan(w * tau_s)
    supply = slow + ripple_v * np.sin(w * t)
    current = amps / 13.5 * (slow + ripple_v * math.cos(lag) * np.sin(w * t - lag))
    for start, length, depth in breaks:
        current = np.where((t >= start) & (t < start + length), current * (1 - depth), current)
    counts = np.rint(current / FINE_STEP_A + 16 + rng.normal(0, 0.5, t.size))
    seen = np.rint(supply / SUPPLY_STEP_V + rng.normal(0, 0.5, t.size)) * SUPPLY_STEP_V
    return (counts - 16) * FINE_STEP_A, seen


def found(data, **keywords):
    detector = DropoutDetector(HZ, **keywords)
    return detector.feed(*data) + detector.close()


def test_breaks_are_placed_and_measured():
    breaks = ((2.0, 0.0004, 1.0), (2.5, 0.002, 0.05), (3.0, 0.02, 0.5))
    got = found(held(breaks=breaks, ripple_v=0.3))
    assert len(got) == 3
    for seen, (start, length, depth) in zip(got, breaks, strict=True):
        assert seen.start_s == pytest.approx(start, abs=1.01 / HZ)
        assert seen.length_s == pytest.approx(length, abs=2.01 / HZ)
        assert seen.depth == pytest.approx(depth, abs=0.01)
        assert not seen.lasting


def test_a_shallow_fall_too_small_for_any_single_sample_is_found_by_a_longer_filter():
    got = found(held(breaks=((2.5, 0.010, 0.003),)))
    assert [d.seen_by for d in got] == ["10 ms"]
    assert got[0].depth == pytest.approx(0.003, abs=0.001)
    assert abs(got[0].start_s - 2.5) < 0.005


@pytest.mark.parametrize("ripple_v", [0.0, 0.3, 1.0])
def test_a_sound_load_is_left_alone(ripple_v):
    assert found(held(20.0, ripple_v=ripple_v)) == []


def test_a_sagging_supply_is_no_break_and_a_step_of_it_is_said_to_blind():
    assert found(held(8.0, sag=lambda t: 1.5 * (t > 2) * np.minimum((t - 2) / 3, 1))) == []
    detector = DropoutDetector(HZ)
    assert detector.feed(*held(6.0, sag=lambda t: 1.0 * (t > 3))) == []
    assert 0.005 < detector.unseen_s < 0.3


def test_the_lag_of_the_winding_is_learned_from_ripple():
    detector = DropoutDetector(HZ)
    detector.feed(*held(3.0, ripple_v=0.5, tau_s=2e-3))
    assert detector.law is not None
    assert detector.law.lag_s == pytest.approx(2e-3, rel=0.2)
    assert detector.law.fast_gain == pytest.approx(0.9 / 13.5, rel=0.1)


@settings(max_examples=25, deadline=None)
@given(cuts=st.lists(st.integers(0, 12_500), max_size=8))
def test_how_the_samples_arrive_changes_nothing(cuts):
    values, supplies = held(
        2.5, breaks=((1.4, 0.001, 0.4), (1.445, 0.012, 0.02), (2.497, 1.0, 1.0)), ripple_v=0.2
    )
    whole = DropoutDetector(HZ)
    expected = whole.feed(values, supplies) + whole.close()
    assert len(expected) == 3
    parted = DropoutDetector(HZ)
    got = []
    edges = [0, *sorted(cuts), values.size]
    for a, b in itertools.pairwise(edges):
        got += parted.feed(values[a:b], supplies[a:b])
    assert got + parted.close() == expected


def test_three_breaks_within_one_block_are_three():
    got = found(held(breaks=((2.001, 0.001, 1.0), (2.015, 0.001, 1.0), (2.030, 0.001, 1.0))))
    assert [round(d.start_s, 3) for d in got] == [2.001, 2.015, 2.030]


def test_a_load_that_stays_away_is_one_break_that_lasts():
    detector = DropoutDetector(HZ)
    got = detector.feed(*held(8.0, breaks=((3.0, 10.0, 1.0),)))
    assert got == []
    assert detector.away
    (last,) = detector.close()
    assert last.lasting
    assert last.length_s == pytest.approx(5.0, abs=0.01)


def test_a_lasting_step_becomes_the_loads_new_value():
    detector = DropoutDetector(HZ)
    got = detector.feed(*held(10.0, breaks=((3.0, 10.0, 0.1), (7.0, 0.001, 1.0))))
    assert [d.lasting for d in got] == [True, False]
    assert got[0].depth == pytest.approx(0.1, abs=0.01)


def test_the_pin_of_an_idle_load():
    rng = np.random.default_rng(2)
    t = np.arange(int(4 * HZ)) / HZ
    supply = 13.5 + 0.3 * np.sin(2 * math.pi * 120 * t)
    away = (t >= 2.0) & (t < 2.0006)
    pin = np.where(away, 2.5, supply)
    pin = np.rint(pin / PIN_STEP_V + rng.normal(0, 0.5, t.size)) * PIN_STEP_V
    seen = np.rint(supply / SUPPLY_STEP_V + rng.normal(0, 0.5, t.size)) * SUPPLY_STEP_V
    (only,) = found((np.abs(pin - 2.5), seen), watched=Watched.PIN)
    assert only.start_s == pytest.approx(2.0, abs=1.01 / HZ)
    assert only.length_s == pytest.approx(0.0006, abs=1.01 / HZ)
    assert only.depth == pytest.approx(1.0, abs=0.02)


def test_breaks_while_learning_do_not_spoil_what_is_learned():
    many = tuple((0.2 + 0.1 * k, 0.002, 1.0) for k in range(8))
    clean = DropoutDetector(HZ)
    clean.feed(*held(2.0))
    spoilt = DropoutDetector(HZ)
    got = spoilt.feed(*held(2.0, breaks=(*many, (1.8, 0.001, 0.05))))
    assert spoilt.least_depth == pytest.approx(clean.least_depth, rel=0.2)
    assert len(got) == 1


def test_a_converter_that_never_moves_does_not_make_a_count_an_alarm():
    values = np.full(20_000, 450.0) * FINE_STEP_A
    values[12_000] -= FINE_STEP_A
    supply = np.full(20_000, 13.5)
    assert found((values, supply), sample_u=FINE_STEP_A / math.sqrt(12)) == []


def test_the_least_depth_to_ask_a_box_for():
    """One false alarm in 600 s of 5000 samples a second: the two-sided chance per sample is 1 in 3 million."""
    depth = least_depth(10.0, 0.1, 5000.0, false_alarms_per_10_min=1.0)
    assert depth == pytest.approx(0.0497, rel=0.01)  # the normal quantile of 1 / 3e6 is 4.97
    with pytest.raises(ValueError, match="above zero"):
        least_depth(0.0, 0.1, 5000.0)


def test_wrong_input_is_refused():
    with pytest.raises(ValueError, match="samples per second"):
        DropoutDetector(10.0)
    detector = DropoutDetector(HZ, design=DropoutDesign(learn_s=0.5))
    with pytest.raises(ValueError, match="supply readings"):
        detector.feed([1.0, 2.0], [13.5])
