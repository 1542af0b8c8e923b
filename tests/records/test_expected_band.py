"""The band behind a trace: right for loads one can solve by hand, and never the wrong way round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.facts.trace import Trace
from loomproof.measure.trace.expected import driven_current, expected_current

TIME = 13e-6 + 26e-6 * np.arange(300)


def trace(supply=13.5, drain=0.0, on_time_s=6e-3):
    full = np.full(TIME.size, 1.0)
    return Trace(1, TIME, full * 0, full, full * supply, full * drain, on_time_s, 26e-6)


def test_the_textbook_rise():
    """i = V/R (1 - exp(-tR/L)): first-order circuit, any circuits textbook; 12 V, 4 ohm, 6 mH."""
    time = np.array([1.5e-3, 3.0e-3, 4.5e-3, 6.0e-3, 7.5e-3])
    current = driven_current(np.full(5, 12.0), time, 4.0, 6e-3)
    np.testing.assert_allclose(current[[0, 1, 4]], [1.896362, 2.593994, 2.979786], atol=1e-6)


def test_a_voltage_that_steps_is_followed_exactly():
    """Two stretches of constant voltage, each solved in closed form."""
    volts = np.where(TIME[100] > TIME, 12.0, 6.0)
    current = driven_current(volts, TIME, 4.0, 6e-3)
    at_step = 3.0 * (1 - np.exp(-TIME[100] / 1.5e-3))
    later = 1.5 + (at_step - 1.5) * np.exp(-(TIME[250] - TIME[100]) / 1.5e-3)
    assert current[100] == pytest.approx(at_step, rel=1e-12)
    assert current[250] == pytest.approx(later, rel=1e-12)


@given(
    st.tuples(st.floats(0.3, 100), st.floats(1.0, 3.0)),
    st.none() | st.tuples(st.floats(1e-4, 0.4), st.floats(1.0, 3.0)),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_any_load_inside_its_limits_lies_inside_the_band(r, h, share_r, share_l):
    ohms = (r[0], r[0] * r[1])
    henries = (h[0], h[0] * h[1]) if h else None
    band = expected_current(trace(), ohms, henries)
    ohm = ohms[0] + share_r * (ohms[1] - ohms[0])
    henry = henries[0] + share_l * (henries[1] - henries[0]) if henries else 0.0
    current = driven_current(np.full(band.time_s.size, 13.5), band.time_s, ohm, henry)
    slack = 1e-9 * (1 + current)
    assert np.all(current >= band.low_a - slack)
    assert np.all(current <= band.high_a + slack)
    assert band.time_s[-1] < 6e-3


def test_the_band_ends_where_the_core_saturates():
    band = expected_current(trace(), (0.4, 0.6), (3e-3, 4e-3), saturation_a=8.0)
    assert band.high_a[-1] <= 8.0
    assert band.time_s.size < 200


def test_a_settling_load_is_let_down_to_its_steady_current():
    band = expected_current(trace(), (0.6, 0.8), None, steady_a=1.4)
    assert np.all(band.low_a <= 1.4)
    assert band.high_a[0] == pytest.approx(13.5 / 0.6)


def test_a_logic_load_is_driven_by_the_pin_itself():
    """5 V on the pin over 1 kohm is 5 mA (Ohm's law), whatever the supply is."""
    band = expected_current(trace(supply=13.5, drain=5.0), (900.0, 1100.0), None, logic=True)
    assert band.low_a[0] == pytest.approx(5.0 / 1100.0)
    assert band.high_a[0] == pytest.approx(5.0 / 900.0)
