"""Published examples of coils, relays, lamps and motors, put through the whole path from counts to signature.

Each current is the closed form that the example itself uses; read back on ten bits with half a count of noise.
"""

import math

import numpy as np
import pytest
from scipy.stats import binomtest

from loomproof.facts.signature import Signature
from loomproof.facts.trace import Calibration
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.signature import measure_one
from loomproof.measure.trace.from_counts import trace_from_counts

SCALES = Calibration(
    2.0 / 1007, 16.0, 20.0 / 1017, 6.0, 20.0 / 1023, 60.0 / 1023, gain_u_relative=0.0, noise_counts=0.5
)
FIRST_S, SUPPLY_LATE_S, DRAIN_LATE_S = 2e-6, 13e-6, 19.5e-6


def measured(
    key, current, emf_v, on_s, span_s, *, after_v=None, period_s=26e-6, seed=1, scales=SCALES
) -> Signature:
    """The signature of `current(t)`; the pin lies at ground while on, at `after_v(t)` (else the supply) after."""
    rng = np.random.default_rng(seed)
    t = FIRST_S + period_s * np.arange(int(span_s / period_s))

    def counts(value, per_count, offset=0.0):
        raw = np.asarray(value) / per_count + offset + rng.normal(0.0, scales.noise_counts, t.size)
        return np.clip(np.rint(raw), 0, scales.full_scale)

    late = t + DRAIN_LATE_S
    after = np.full(t.size, emf_v) if after_v is None else after_v(late)
    return measure_one(
        trace_from_counts(
            counts(current(t), scales.fine_a_per_count, scales.fine_offset_counts),
            counts(current(t), scales.wide_a_per_count, scales.wide_offset_counts),
            counts(np.full(t.size, emf_v), scales.supply_v_per_count),
            counts(np.where(late < on_s, 0.0, after), scales.drain_v_per_count),
            scales,
            channel=1,
            sample_period_s=period_s,
            first_sample_s=FIRST_S,
            supply_skew_s=SUPPLY_LATE_S,
            drain_skew_s=DRAIN_LATE_S,
            on_time_s=on_s,
        ),
        CATALOGUE[key],
    )


def test_the_textbook_ignition_solenoid():
    """12 V, 4 ohm, 6 mH: 3 A, 27 mJ; 1.896362 / 2.593994 / 2.979786 A after 1.5 / 3 / 7.5 ms (circuits textbook)."""

    def current(t):
        return np.where(t < 8e-3, 3.0 * -np.expm1(-t / 1.5e-3), 0.0)

    assert current(np.array([1.5e-3, 3e-3, 7.5e-3])) == pytest.approx(
        [1.896362, 2.593994, 2.979786], abs=1e-6
    )
    got = measured("stepper_idle", current, 12.0, 8e-3, 8.5e-3)
    assert abs(got.resistance_ohm.value - 4.0) < 3 * got.resistance_ohm.u
    assert abs(got.inductance_h.value - 6e-3) < 3 * got.inductance_h.u
    assert got.resistance_ohm.relative < 2e-3
    full_a = 12.0 / got.resistance_ohm.value
    assert 0.5 * got.inductance_h.value * full_a**2 == pytest.approx(27e-3, rel=0.01)


def test_the_textbook_relay():
    """12 V, 150 ohm, 30 mH, pull-in at 50 mA after 0.2 ln(8/3) = 0.1962 ms (circuits textbook)."""

    def current(t):
        return np.where(t < 2e-3, 0.08 * -np.expm1(-t / 0.2e-3), 0.0)

    got = measured("stepper_idle", current, 12.0, 2e-3, 2.5e-3)
    ohm, henry = got.resistance_ohm, got.inductance_h
    assert abs(ohm.value - 150.0) < 3 * ohm.u
    assert abs(henry.value - 30e-3) < 3 * henry.u
    pull_in_s = -henry.value / ohm.value * math.log1p(-0.05 * ohm.value / 12.0)
    assert pull_in_s == pytest.approx(0.1962e-3, rel=0.02)


@pytest.mark.parametrize(("emf_v", "dwell_ms"), [(10.0, 3.290), (12.0, 2.623), (14.0, 2.182)])
def test_a_coils_time_to_a_current(emf_v, dwell_ms):
    """0.5 ohm, 3.5 mH to 7.5 A at 10/12/14 V: 3.290/2.623/2.182 ms, t = -(L/R) ln(1 - I R / V), no saturation."""
    tau = 3.5e-3 / 0.5

    def current(t):
        return np.where(t < 3.4e-3, emf_v / 0.5 * -np.expm1(-t / tau), 0.0)

    got = measured("coil_bare", current, emf_v, 3.4e-3, 4e-3)
    share = got.rise_to_a * 0.5 / emf_v
    assert got.rise_time_s.value == pytest.approx(-tau * math.log1p(-share), abs=4 * got.rise_time_s.u)
    assert dwell_ms * 1e-3 == pytest.approx(-tau * math.log1p(-7.5 * 0.5 / emf_v), abs=1e-6)
    assert got.inductance_h.value == pytest.approx(3.5e-3, rel=0.03)


@pytest.mark.parametrize(("across_v", "decay_ms"), [(24.7, 0.396), (48.0, 0.2231)])
def test_turn_off_into_a_clamp(across_v, decay_ms):
    """14 ohm, 14 mH, 0.857 A: t0 = (L/R) ln(1 + I0 R / Vc) = 0.396 / 0.2231 ms (closed form, any circuits text)."""
    start_a, on_s, tau, emf_v = 0.857, 8e-3, 1e-3, 12.0

    def current(t):
        falling = (start_a + across_v / 14.0) * np.exp(-np.maximum(t - on_s, 0.0) / tau) - across_v / 14.0
        return np.where(t < on_s, start_a * -np.expm1(-t / tau), np.maximum(falling, 0.0))

    def pin(t):
        return np.where(current(t) > 0.0, emf_v + across_v, emf_v)

    got = measured("injector_high", current, emf_v, on_s, on_s + 1.5e-3, after_v=pin)
    assert str(got.off_shape) == "clamp"
    assert got.decay_s.value == pytest.approx(decay_ms * 1e-3, abs=3 * got.decay_s.u + 1e-6)
    assert got.clamp_v.value == pytest.approx(emf_v + across_v, abs=4 * got.clamp_v.u + 0.06)


def test_a_lamp_hot_and_cold():
    """21 W type: 26.5 W at 13.5 V, 1.963 A, 6.88 ohm (UN R37, from memory); cold about a tenth of it, band 8 to 16
    (common practice, no source).

    The filament here is a power balance with R as T^1.2: C dT/dt = V^2/R - radiation, in small steps. About twice
    the steady current after 3 to 5 ms (common practice, no source) sets its heat capacity. In series lie 7 m of
    0.75 mm2, at most 26 mohm/m (IEC 60228, class 5), crimps and pins (22 mohm), and the box's driver and shunt (40).
    """
    hot_ohm, wire_ohm, on_s, period_s = 13.5**2 / 26.5, 7 * 0.026 + 0.022 + 0.040, 0.1, 182e-6
    hot_k, cold_k, capacity = 2800.0, 293.0, 0.4e-3
    power = 13.5**2 / hot_ohm
    t = np.arange(0.0, on_s + 1e-3, 1e-6)
    kelvin, amps = cold_k, np.empty_like(t)
    for k in range(t.size):
        ohm = hot_ohm * (kelvin / hot_k) ** 1.2
        amps[k] = 13.5 / (ohm + wire_ohm)
        radiated = power * (kelvin**4 - cold_k**4) / (hot_k**4 - cold_k**4)
        kelvin += 1e-6 / capacity * (ohm * amps[k] ** 2 - radiated)

    def current(at):
        return np.where(at < on_s, np.interp(at, t, amps), 0.0)

    assert 1.5 < current(np.array([5e-3]))[0] / (26.5 / 13.5) < 2.5
    # 10 to 12 times the steady current at first (common practice, no source), to whole numbers as it is said
    assert 10 <= round(amps[0] / amps[-1]) <= 12
    got = measured("lamp_21w", current, 13.5, on_s, on_s + 5e-3, period_s=period_s)
    cold_ohm = hot_ohm * (cold_k / hot_k) ** 1.2 + wire_ohm
    assert got.steady_a.value == pytest.approx(13.5 / (hot_ohm + wire_ohm), rel=0.03)
    assert abs(got.resistance_ohm.value - cold_ohm) < 3 * got.resistance_ohm.u
    at_end = 13.5 / current(np.array([0.098]))[0]
    assert abs(got.hot_ratio.value - at_end / cold_ohm) < 3 * got.hot_ratio.u
    assert 8.0 < got.hot_ratio.value < 16.0
    assert got.inrush_a.value == pytest.approx(13.5 / cold_ohm, rel=0.1)


def test_a_stalled_motor():
    """12 V over 1.5 ohm stalls at V / Ra = 8 A, without back-EMF (any machines text)."""

    def current(t):
        return np.where(t < 0.1, 8.0 * -np.expm1(-t * 1.5 / 1e-3), 0.0)

    got = measured("motor_throttle", current, 12.0, 0.1, 0.105, period_s=182e-6)
    assert got.steady_a.value == pytest.approx(8.0, rel=2e-3)
    assert abs(got.resistance_ohm.value - 1.5) < 3 * got.resistance_ohm.u
    assert abs(got.back_emf_v.value) < 3 * got.back_emf_v.u


@pytest.mark.parametrize(
    ("hits", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_intervals_of_the_published_rates(hits, total, low, high):
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (Wilson; from memory).

    The project's rates take their intervals from scipy with this call.
    """
    ends = binomtest(hits, total).proportion_ci(method="wilson")
    assert (ends.low, ends.high) == pytest.approx((low, high), abs=6e-5)
