"""The band a sound load's current lies in, under the voltage that was measured."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from loomproof.measure.trace.expected import driven_current, expected_current


def test_a_steady_voltage_gives_the_textbook_rise():
    t = 3e-6 + 26e-6 * np.arange(200)
    got = driven_current(np.full(t.size, 12.0), t, 4.0, 6e-3)
    assert got == pytest.approx(3.0 * (1 - np.exp(-t * 4.0 / 6e-3)), rel=1e-9)


def test_instants_with_gaps_give_the_same_rise():
    t = 3e-6 + 26e-6 * np.arange(200)
    t = t[np.arange(200) % 7 < 4]
    got = driven_current(np.full(t.size, 12.0), t, 4.0, 6e-3)
    assert got == pytest.approx(3.0 * (1 - np.exp(-t * 4.0 / 6e-3)), rel=1e-9)


def test_a_changing_voltage_against_a_general_integrator():
    t = 2e-6 * np.arange(1, 2000)
    drive = 13.0 + np.sin(2 * np.pi * 400 * t)
    got = driven_current(drive, t, 14.0, 14e-3)
    ref = solve_ivp(
        lambda s, i: (13.0 + np.sin(2 * np.pi * 400 * s) - 14 * i) / 14e-3,
        (0, t[-1]),
        [0.0],
        t_eval=t,
        rtol=1e-9,
        atol=1e-12,
    )
    # held between samples: late by half a step of the slope
    assert np.abs(got - ref.y[0]).max() < 1e-3


def test_no_inductance_is_ohms_law():
    t = 26e-6 * np.arange(1, 5)
    assert driven_current(np.array([12.0, 6.0, 3.0, 0.0]), t, 3.0, 0.0) == pytest.approx([4.0, 2.0, 1.0, 0.0])


def test_a_sound_load_lies_inside_and_a_bad_joint_below(maker):
    band_of = {"resistance_ohm": (13.2, 15.1), "inductance_h": (13e-3, 15e-3)}
    for ohm, inside in ((14.0, True), (19.0, False)):
        trace = maker.trace(maker.circuit(load_ohm=ohm), on_s=6e-3, span_s=8e-3)
        band = expected_current(trace, **band_of)
        current = trace.current_a[trace.on]
        assert band.time_s == pytest.approx(trace.time_s[trace.on])
        slack = 5 * trace.current_u_a[trace.on]
        assert bool(np.all((band.low_a - slack <= current) & (current <= band.high_a + slack))) is inside
        if not inside:
            assert (current[-50:] < band.low_a[-50:]).all()


def test_the_band_follows_a_sagging_supply(maker):
    c = maker.circuit(load_ohm=2.4, rest_h=2.4e-3, source_ohm=0.5)
    trace = maker.trace(c, on_s=6e-3, span_s=8e-3)
    band = expected_current(trace, (2.5, 2.6), (2.3e-3, 2.5e-3))
    middle = 0.5 * (band.low_a + band.high_a)
    assert middle[-20:].mean() == pytest.approx(trace.current_a[trace.on][-20:].mean(), rel=0.01)


def test_the_edges_are_the_right_way_round(maker):
    trace = maker.trace(maker.circuit(), on_s=6e-3, span_s=8e-3)
    band = expected_current(trace, (12.0, 16.0), (10e-3, 18e-3))
    assert (band.low_a <= band.high_a).all()
    assert band.high_a[-1] / band.low_a[-1] == pytest.approx(16 / 12, rel=0.03)


def test_it_ends_where_a_core_saturates(maker):
    c = maker.circuit(load_ohm=0.5, rest_h=3.5e-3, saturation_a=8.0)
    trace = maker.trace(c, on_s=2e-3, span_s=4e-3)
    band = expected_current(trace, (0.5, 0.7), (3.2e-3, 3.8e-3), saturation_a=4.0)
    assert band.high_a.max() <= 4.0
    assert 0 < band.time_s.size < int(trace.on.sum())
    assert band.time_s.size == band.low_a.size == band.high_a.size


def test_a_hot_lamp_lowers_the_low_edge_only(maker):
    trace = maker.trace(maker.circuit(), on_s=6e-3, span_s=8e-3)
    plain = expected_current(trace, (0.7, 0.9), None)
    hot = expected_current(trace, (0.7, 0.9), None, steady_a=1.5)
    assert hot.low_a.max() == pytest.approx(1.5)
    assert hot.high_a == pytest.approx(plain.high_a)


def test_a_logic_pin_drives_its_load_to_ground(maker):
    n = 60
    clean = np.full(n, 0.005), np.full(n, 13.5), np.full(n, 5.0)
    trace = maker.trace(maker.circuit(), on_s=1.0, span_s=n * 26e-6 + 1e-9, clean=clean)
    band = expected_current(trace, (900.0, 1100.0), None, logic=True)
    assert band.low_a.mean() == pytest.approx(5.0 / 1100, rel=0.02)
    assert band.high_a.mean() == pytest.approx(5.0 / 900, rel=0.02)
