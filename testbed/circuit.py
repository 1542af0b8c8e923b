"""An independent trace maker: the circuit integrated on its own, counts made from it. It imports no plant."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.trace import Calibration, Trace
from loomproof.measure.trace.from_counts import trace_from_counts

Floats = NDArray[np.float64]
Waveforms = tuple[Floats, Floats, Floats]
"""Shunt current in A, supply and drain in V."""


@dataclass(frozen=True)
class Circuit:
    """Supply behind a resistance, a winding with an optional armature, a low-side switch with a clamp."""

    emf_v: float = 13.5
    source_ohm: float = 0.03
    load_ohm: float = 14.0
    wire_ohm: float = 0.15
    rest_h: float = 14e-3
    stroke_gain: float = 0.0  # rise of inductance over the stroke
    travel_s: tuple[float, float] = (0.5e-3, 1.5e-3)  # armature leaves, lands
    saturation_a: float = np.inf
    driver_ohm: float = 0.1
    clamp_v: float = 48.0
    diode: bool = False
    suppression_ohm: float = np.inf
    ripple_v: float = 0.0
    ripple_hz: float = 300.0
    fine_gain: float = 1.0  # true gain over the stated one
    voltage_gain: float = 1.0


CALIBRATION = Calibration(
    fine_a_per_count=2.0 / 1023,
    fine_offset_counts=3.0,
    wide_a_per_count=20.0 / 1023,
    wide_offset_counts=2.0,
    supply_v_per_count=0.025,
    drain_v_per_count=0.06,
    adc_bits=10,
    gain_u_relative=0.003,
    noise_counts=0.5,
)


def inductance(c: Circuit, i: float, t: float) -> tuple[float, float]:
    """L and dL/dt from the place of the armature: it leaves with constant acceleration."""
    begin, land = c.travel_s
    x = min(max((t - begin) / (land - begin), 0.0), 1.0)
    gain = 1.0 + c.stroke_gain * x**2
    rate = c.stroke_gain * 2.0 * x / (land - begin) if 0.0 < x < 1.0 else 0.0
    saturation = 0.15 + 0.85 / np.cosh(i / c.saturation_a) ** 2 if np.isfinite(c.saturation_a) else 1.0
    return c.rest_h * gain * saturation, c.rest_h * rate * saturation


def waveforms(c: Circuit, on_s: float, times: Floats) -> Waveforms:
    """Shunt current, supply and drain at `times`, by Heun steps of 1 us."""
    h = 1e-6
    end = float(times.max()) + 2 * h
    grid = np.arange(0.0, end, h)
    shunt, supply, drain = (np.zeros_like(grid) for _ in range(3))
    i = 0.0

    def state(i: float, t: float) -> tuple[float, float, float, float]:
        emf = c.emf_v + c.ripple_v * np.sin(2 * np.pi * c.ripple_hz * t)
        l_now, l_rate = inductance(c, i, t)
        r_load = c.load_ohm
        if t < on_s:
            through = c.source_ohm + c.wire_ohm + c.driver_ohm
            # node voltage across the winding with the resistor beside it
            g = 1.0 / through + (1.0 / c.suppression_ohm if np.isfinite(c.suppression_ohm) else 0.0)
            u = (emf / through - i) / g
            total = i + (u / c.suppression_ohm if np.isfinite(c.suppression_ohm) else 0.0)
            rail = emf - total * c.source_ohm
            return (u - i * (r_load + l_rate)) / l_now, total, rail, total * c.driver_ohm
        if i <= 1e-9:
            return 0.0, 0.0, emf, emf
        if c.diode:
            return (-0.7 - i * r_load) / l_now, 0.0, emf, emf + 0.7
        if np.isfinite(c.suppression_ohm):
            top = emf + i * c.suppression_ohm
            if top < c.clamp_v:
                return (-i * (c.suppression_ohm + r_load)) / l_now, 0.0, emf, top
            aside = (c.clamp_v - emf) / c.suppression_ohm
            return -(c.clamp_v - emf + i * r_load) / l_now, i - aside, emf, c.clamp_v
        rail = emf - i * c.source_ohm
        return -(c.clamp_v - rail + i * (r_load + c.wire_ohm)) / l_now, i, rail, c.clamp_v

    for k, t in enumerate(grid):
        rate, shunt[k], supply[k], drain[k] = state(i, t)
        ahead, *_ = state(i + h * rate, t + h if t + h < on_s or t >= on_s else t)
        i = max(i + h * (rate + ahead) / 2, 0.0)
    before = times < 0
    out = []
    for values, rest in ((shunt, 0.0), (supply, c.emf_v), (drain, c.emf_v)):
        # take the grid point at or before: no interpolation across an edge
        got = values[np.minimum((np.maximum(times, 0.0) / h + 1e-6).astype(int), grid.size - 1)]
        out.append(np.where(before, rest, got))
    return out[0], out[1], out[2]


def counts(
    value: Floats, per_count: float, offset: float, noise: float, *, bits: int, rng: np.random.Generator
) -> Floats:
    """A converter's counts of values, with its noise, clamped at both ends."""
    raw = value / per_count + offset + rng.normal(0.0, noise, value.shape)
    return np.clip(np.rint(raw), 0, 2**bits - 1)


def make_trace(
    c: Circuit,
    *,
    on_s: float,
    span_s: float,
    seed: int = 0,
    period_s: float = 26e-6,
    calibration: Calibration = CALIBRATION,
    channel: int = 1,
    truncated: bool = False,
    tripped: bool = False,
    clean: Waveforms | None = None,
) -> Trace:
    """A trace of one pulse of `on_s` seconds, sampled over `span_s`; `clean` spares the integration."""
    rng = np.random.default_rng(seed)
    n = int(span_s / period_s)
    first, s_skew, d_skew = 4e-6, 6e-6, 12e-6
    times = first + period_s * np.arange(n)
    current, supply, drain = clean if clean is not None else shape(c, on_s, span_s, period_s)
    k, noise, bits = calibration, calibration.noise_counts, calibration.adc_bits
    return trace_from_counts(
        counts(current * c.fine_gain, k.fine_a_per_count, k.fine_offset_counts, noise, bits=bits, rng=rng),
        counts(current * c.fine_gain, k.wide_a_per_count, k.wide_offset_counts, noise, bits=bits, rng=rng),
        counts(supply * c.voltage_gain, k.supply_v_per_count, 0.0, noise, bits=bits, rng=rng),
        counts(drain * c.voltage_gain, k.drain_v_per_count, 0.0, noise, bits=bits, rng=rng),
        calibration,
        channel=channel,
        sample_period_s=period_s,
        first_sample_s=float(times[0]),
        supply_skew_s=s_skew,
        drain_skew_s=d_skew,
        on_time_s=on_s,
        truncated=truncated,
        tripped=tripped,
    )


@lru_cache(maxsize=64)
def shape(c: Circuit, on_s: float, span_s: float, period_s: float = 26e-6) -> Waveforms:
    """The noiseless waveforms at the three sampling instants, to be reused over many noise seeds."""
    times = 4e-6 + period_s * np.arange(int(span_s / period_s), dtype=np.float64)
    current, _, _ = waveforms(c, on_s, times)
    _, supply, _ = waveforms(c, on_s, times + 6e-6)
    _, _, drain = waveforms(c, on_s, times + 12e-6)
    return current, supply, drain
