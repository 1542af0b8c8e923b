"""Did the armature land? yes, no, cannot tell."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof.facts.signature import HasMoved
from loomproof.facts.trace import Calibration
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.motion.armature import noise_excess
from loomproof.measure.motion.dip import look_for_landing, slope_jumps, threshold, window_lengths
from loomproof.measure.motion.stroke import _lagging, bound_stroke, stroke_patterns
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.measure.rise.resistance import resistance_inductance, whole_rise
from loomproof.measure.signature import measure, measure_one
from loomproof.measure.trace.source import look_at_source
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    Drive,
    DriverSpec,
    FeedSpec,
    InjectorSpec,
    LoomSpec,
    SupplySpec,
)

INJECTOR = CATALOGUE["injector_high"]
ON_S, SPAN_S = 8e-3, 9e-3


def answers(maker, c, seeds, load=INJECTOR, on_s=ON_S, span_s=SPAN_S, **keywords):
    clean = maker.shape(c, on_s, span_s, keywords.get("period_s", 26e-6))
    return [
        measure_one(maker.trace(c, on_s=on_s, span_s=span_s, seed=k, clean=clean, **keywords), load)
        for k in seeds
    ]


@pytest.mark.parametrize("stroke", [0.10, 0.15, 0.25])
def test_a_landing_is_found_and_timed(maker, stroke):
    for got in answers(maker, maker.circuit(stroke_gain=stroke), range(20)):
        assert got.moved is HasMoved.YES
        assert got.move_time_s.value == pytest.approx(1.5e-3, abs=0.12e-3)
        assert got.stroke_gain.value == pytest.approx(stroke, abs=4 * got.stroke_gain.u + 0.01)


def test_a_stuck_armature_is_told_and_seldom_called_moved(maker):
    found = [s.moved for s in answers(maker, maker.circuit(), range(120))]
    assert found.count(HasMoved.YES) == 0  # one in a thousand is allowed per pulse
    assert found.count(HasMoved.NO) >= 110


@pytest.mark.parametrize("sigma", [0.5, 1.0, 1.5, 3.0])
def test_noise_beyond_what_the_box_states_is_seen_beside_a_rise_and_a_landing(sigma):
    """White noise of known spread; the threshold of a landing is worth what the noise it assumes is worth."""
    t, u = 26e-6 * np.arange(1, 331), np.full(330, 2e-3)
    rise = 0.9 * (1 - np.exp(-t / 1e-3)) + np.where(t > 1.5e-3, 60.0 * (t - 1.5e-3), 0.0)
    rng = np.random.default_rng(4)
    seen = [noise_excess(rise + sigma * u * rng.standard_normal(t.size), u) for _ in range(50)]
    assert np.mean(seen) == pytest.approx(max(sigma, 1.0), rel=0.06)
    assert min(seen) >= 1.0
    assert noise_excess(rise[:20], u[:20]) == 1.0


def test_an_armature_that_stands_in_more_noise_than_stated_is_not_called_moved(maker):
    noisy = maker.calibration.noise_counts * 1.7
    fields = {f: getattr(maker.calibration, f) for f in maker.calibration.__slots__}
    clean = maker.shape(maker.circuit(), ON_S, SPAN_S)
    loud = Calibration(**{**fields, "noise_counts": noisy})
    told = []
    for k in range(120):
        trace = maker.trace(maker.circuit(), on_s=ON_S, span_s=SPAN_S, seed=k, clean=clean, calibration=loud)
        told.append(measure_one(replace(trace, current_u_a=trace.current_u_a / 1.55), INJECTOR).moved)
    assert HasMoved.YES not in told


def test_a_plain_fit_over_a_landing_would_be_wrong_and_is_not_used(maker):
    c = maker.circuit(stroke_gain=0.25)
    trace = maker.trace(c, on_s=ON_S, span_s=SPAN_S)
    plain = resistance_inductance(trace, look_at_source(trace))
    got = measure_one(trace, INJECTOR)
    assert abs(plain.inductance_h.value / 14e-3 - 1) > 0.1
    assert got.inductance_h.value == pytest.approx(14e-3, rel=0.02)
    assert got.inductance_closed_h.value == pytest.approx(14e-3 * 1.25, rel=0.03)
    assert abs(got.resistance_ohm.value - 14.15) < 3 * got.resistance_ohm.u


def test_a_pulse_too_short_to_have_landed_cannot_tell(maker):
    for got in answers(maker, maker.circuit(), range(5), on_s=2.2e-3, span_s=3.5e-3):
        assert got.moved is HasMoved.CANNOT_TELL
        assert any("before the armature must have landed" in r for r in got.refusals)


def test_too_little_current_cannot_tell(maker):
    for got in answers(maker, maker.circuit(load_ohm=40.0), range(5)):
        assert got.moved is HasMoved.CANNOT_TELL
        assert any("pull the armature in" in r for r in got.refusals)


def coarse(maker):
    fields = {f: getattr(maker.calibration, f) for f in maker.calibration.__slots__}
    return Calibration(**{**fields, "fine_a_per_count": 20 / 1023})


def test_where_the_noise_hides_a_landing_it_never_says_no(maker):
    """One 20 A range of ten bits: a moving armature may go unseen, but is not called stuck."""
    moving = answers(maker, maker.circuit(stroke_gain=0.08), range(40), calibration=coarse(maker))
    assert HasMoved.NO not in [s.moved for s in moving]
    still = answers(maker, maker.circuit(), range(40), calibration=coarse(maker))
    assert HasMoved.YES not in [s.moved for s in still]
    told = [s for s in (*moving, *still) if s.moved is HasMoved.CANNOT_TELL]
    assert told
    assert all(any(r.startswith("motion:") for r in s.refusals) for s in told)


def test_ripple_on_the_supply_is_no_landing(maker):
    c = maker.circuit(ripple_v=0.4, ripple_hz=600.0)
    assert HasMoved.YES not in [s.moved for s in answers(maker, c, range(20))]
    moving = answers(maker, maker.with_(c, stroke_gain=0.15), range(20))
    assert [s.moved for s in moving].count(HasMoved.YES) >= 19


def test_several_pulses_decide_by_majority(maker):
    still, moving = maker.circuit(), maker.circuit(stroke_gain=0.15)
    a, b = (
        [
            maker.trace(c, on_s=ON_S, span_s=SPAN_S, seed=k, clean=maker.shape(c, ON_S, SPAN_S))
            for k in range(2)
        ]
        for c in (still, moving)
    )
    assert measure([*b, a[0]], INJECTOR).moved is HasMoved.YES
    assert "motion seen in 2 of 3 pulses" in measure([*b, a[0]], INJECTOR).refusals
    split = measure([a[0], b[0]], INJECTOR)
    assert split.moved is HasMoved.CANNOT_TELL
    assert any("seen in 1, not in 1 of 2" in r for r in split.refusals)
    assert measure(a, INJECTOR).moved is HasMoved.NO


def test_pulses_that_cannot_tell_alone_may_tell_together(maker):
    """Noise scaled until one pulse leaves room for the least stroke; several of them do not."""
    calibration = coarse(maker)
    fields = {f: getattr(calibration, f) for f in calibration.__slots__}
    calibration = Calibration(**{**fields, "fine_a_per_count": 8 / 1023})
    c = maker.circuit()
    clean = maker.shape(c, ON_S, SPAN_S)
    traces = [
        maker.trace(c, on_s=ON_S, span_s=SPAN_S, seed=k, clean=clean, calibration=calibration)
        for k in range(40)
    ]
    alone = [measure_one(t, INJECTOR) for t in traces]
    doubtful = [
        t for t, s in zip(traces, alone, strict=True) if any("would not have shown" in r for r in s.refusals)
    ]
    assert len(doubtful) >= 10
    pooled = measure(doubtful[:10], INJECTOR)
    assert pooled.moved is HasMoved.NO
    assert not any(r.startswith("motion:") for r in pooled.refusals)
    few = measure(doubtful[:2], INJECTOR)
    assert sum(r.startswith("motion:") for r in few.refusals) == (few.moved is HasMoved.CANNOT_TELL)


def test_the_statistic_of_pure_noise_has_unit_spread_and_keeps_its_threshold():
    rng = np.random.default_rng(8)
    t = 26e-6 * np.arange(300)
    tops = []
    for _ in range(400):
        _, z = slope_jumps(t, rng.normal(0, 0.01, t.size), np.full(t.size, 0.01), 12)
        tops.append(z.max())
        assert z.std() == pytest.approx(1.0, abs=0.45)
    assert np.mean(np.array(tops) > threshold(300, [12], 0.05)) < 0.08


def test_the_statistic_of_a_bend_is_its_bend_over_the_sigma_of_two_slopes():
    # var(slope) = u^2 / sum (x - mean)^2 for straight lines (any textbook of regression)
    t, w, u = 1e-5 * np.arange(100), 10, 0.02
    current = np.where(t > t[50] - 0.5e-5, 3000.0, 1000.0) * (t - (t[50] - 0.5e-5))
    at, z = slope_jumps(t, current, np.full(t.size, u), w)
    x = 1e-5 * np.arange(w)
    sigma = u * np.sqrt(2 / np.sum((x - x.mean()) ** 2))
    assert z.max() == pytest.approx(2000.0 / sigma, rel=1e-9)
    assert at[np.argmax(z)] == pytest.approx(t[50] - 0.5e-5, abs=1e-9)


@pytest.mark.parametrize(
    ("statistic", "moved", "bends"),
    [(3.6, HasMoved.NO, False), (4.4, HasMoved.NO, True), (5.2, HasMoved.YES, False)],
)
def test_a_bend_too_small_for_a_landing_is_told(statistic, moved, bends):
    """Without noise the statistic of a bend goes with its size: 4.08 is reached by noise in one pulse of fifty, 4.74 in
    one of a thousand (level crossings, Owen 1956)."""
    t, u = 26e-6 * np.arange(1, 336), np.full(335, 2e-3)
    bend = np.where(t > 1.5e-3, t - 1.5e-3, 0.0)
    largest = max(slope_jumps(t, bend, u[:1], w)[1].max() for w in window_lengths(335, 26e-6, 1.5e-3))
    found = look_for_landing(
        t, bend * statistic / largest, u, opening_low_s=0.9e-3, opening_high_s=2.1e-3, pull_in_a=None
    )
    assert (found.moved, found.bends) == (moved, bends)


def test_a_pulse_that_bends_a_little_does_not_say_that_nothing_moves(maker):
    told = answers(maker, maker.circuit(), range(300))
    bent = [s for s in told if any("bends a little" in r for r in s.refusals)]
    assert 1 <= len(bent) <= 15  # one in fifty of a still armature's pulses at most
    assert all(s.moved is HasMoved.CANNOT_TELL and s.dip_statistic > 4.0 for s in bent)
    assert all(s.dip_statistic < 4.2 for s in told if s.moved is HasMoved.NO)


def whole(maker, c):
    trace = maker.trace(c, on_s=ON_S, span_s=SPAN_S)
    fit = whole_rise(trace, look_at_source(trace), free_start=False)
    return trace.time_s[trace.on], trace.current_a[trace.on], trace.current_u_a[trace.on], fit


@pytest.mark.parametrize("stroke", [0.0, 0.02, 0.05])
def test_the_stroke_that_fits_beside_the_rise_is_the_true_one(maker, stroke):
    """The circuit is integrated by the tests' own steps, with motion in it; the pattern is first order in it."""
    found = bound_stroke(*whole(maker, maker.circuit(stroke_gain=stroke)), (0.9e-3, 2.1e-3))
    assert abs(found.gain - stroke) < 0.1 * stroke + 4 * found.u
    assert found.upper >= 0.95 * stroke
    assert found.fit_quality == pytest.approx(1.0, abs=0.5)
    # forty times the noise hides it
    t, current, u, fit = whole(maker, maker.circuit(stroke_gain=stroke))
    assert bound_stroke(t, current, 40 * u, fit, (0.9e-3, 2.1e-3)).upper > 0.1


def test_the_pattern_of_a_stroke_against_the_integrated_difference(maker):
    """Two integrations of the tests' circuit, with 1 % and without motion; the supply held stiff."""
    c = maker.circuit(source_ohm=0.0, wire_ohm=0.0)
    with_it, _, _ = maker.shape(maker.with_(c, stroke_gain=0.01, travel_s=(0.6e-3, 1.5e-3)), ON_S, ON_S)
    without, _, _ = maker.shape(c, ON_S, ON_S)
    t = 4e-6 + 26e-6 * np.arange(without.size)
    pattern = stroke_patterns(t, without, 14e-3 / 14.1, np.array([1.5e-3]))[:, 0]
    assert np.abs(with_it - without - 0.01 * pattern).max() < 0.03 * np.abs(0.01 * pattern).max()


@pytest.mark.parametrize("stroke", [0.03, 0.04, 0.05])
@pytest.mark.parametrize("key", ["injector_high", "valve_purge"])
def test_a_stroke_too_short_for_a_dip_is_not_called_stuck(maker, key, stroke):
    load = CATALOGUE[key]
    opening_s = load.opening_ms.value * 1e-3
    c = maker.circuit(
        load_ohm=load.resistance_ohm.value,
        rest_h=load.inductance_mh.value * 1e-3,
        stroke_gain=stroke,
        travel_s=(0.4 * opening_s, opening_s),
    )
    plan = plan_pulse(load, c.wire_ohm, c.emf_v, 26e-6)
    on_s, period_s = plan.on_time_us * 1e-6, 26e-6 * plan.decimation
    found = answers(maker, c, range(25), load, on_s, plan.samples * period_s, period_s=period_s)
    assert HasMoved.NO not in [s.moved for s in found]
    doubted = [s for s in found if s.moved is HasMoved.CANNOT_TELL]
    assert all(any("would not have shown" in r for r in s.refusals) for s in doubted)


@pytest.mark.parametrize(("stuck", "moved"), [(False, HasMoved.YES), (True, HasMoved.NO)])
def test_the_simulated_injector_with_its_own_mechanics(maker, stuck, moved):
    loom = LoomSpec(
        SupplySpec(13.5, 0.03),
        (FeedSpec("f", 0.01),),
        (BranchSpec(1, InjectorSpec(stuck=stuck), "f", 0.15),),
        {1: DriverSpec(on_ohm=0.1, clamp_v=48.0)},
    )
    plant = Plant(loom)
    plant.switch(1, Drive.ON, 0.01)
    plant.switch(1, Drive.OFF, 0.01 + ON_S)
    t = 0.01 + 4e-6 + 26e-6 * np.arange(int(SPAN_S / 26e-6))
    current, _, _ = plant.sample_many(1, t)
    _, _, supply = plant.sample_many(1, t + 6e-6)
    _, drain, _ = plant.sample_many(1, t + 12e-6)
    for seed in range(10):
        got = measure_one(
            maker.trace(maker.circuit(), on_s=ON_S, span_s=SPAN_S, seed=seed, clean=(current, supply, drain)),
            INJECTOR,
        )
        assert got.moved is moved
        assert abs(got.resistance_ohm.value - 14.16) < 3 * got.resistance_ohm.u
        if not stuck:
            assert got.move_time_s.value == pytest.approx(1.5e-3, abs=0.15e-3)


@pytest.mark.parametrize("key", ["injector_high", "relay_plain", "valve_purge"])
@pytest.mark.parametrize("tau_s", [3e-6, 10e-6])
def test_what_hangs_there_need_not_be_a_winding(maker, key, tau_s):
    """A resistor where an armature should be: its current is a step, and no stroke has a meaning beside it."""
    load = CATALOGUE[key]
    c = maker.circuit(load_ohm=load.resistance_ohm.value, rest_h=load.resistance_ohm.value * tau_s)
    for got in answers(maker, c, range(6), load, on_s=15e-3, span_s=16e-3):
        assert got.moved is not HasMoved.YES
        assert got.resistance_ohm.value == pytest.approx(load.resistance_ohm.value, rel=0.03)


def test_the_lag_of_a_ramp_for_every_time_constant():
    # i + tau di/dt = t from i(0) = 0 gives t - tau (1 - exp(-t / tau)) (any textbook of control)
    t = 4e-6 + 26e-6 * np.arange(400)
    for tau in (1e-9, 1e-6, 26e-6, 1e-3, 10.0):
        due = t + tau * np.expm1(-t / tau)
        assert _lagging(t[:, None], t, tau)[:, 0] == pytest.approx(due, rel=1e-5, abs=1e-12)
