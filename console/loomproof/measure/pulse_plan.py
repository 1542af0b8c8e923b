"""The right pulse for each load: past the landing and three time constants, within every limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from loomproof.facts.kinds import Suppression
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, WINDING_KINDS, Nature
from loomproof.measure.motion.armature import opening_span_s


@dataclass(frozen=True)
class PulsePlan:
    """The pulse train and capture that measure one load. `reason` says what set it."""

    on_time_us: int
    period_us: int
    count: int
    decimation: int
    samples: int
    reason: str = ""
    trace_every: int = 1
    short_of_landing: bool = False


_TAUS_AFTER_LANDING = 3.0
_STROKE_GAIN = 1.5  # inductance after landing over at rest, at most usual
_LOGIC_S = 2e-3
_SETTLE_BETWEEN_S = 0.05
_SAMPLES_WANTED = 400
_MOST_REPEATS = 5
"""A box that samples slowly, or holds short traces, gets so many pulses that together they hold this many samples."""
_READING_S_PER_SAMPLE = 0.6e-3
"""A box with room for one trace must be rid of it before the next. Eight bytes of ten bits at 250 kbaud take 0.32 ms; the
firmware in its simulated part took 0.43 to 0.49 ms with frames and requests, a real port takes longer."""


class PulseLimits(Protocol):
    """What a plan has to stay within; a safety budget is one."""

    @property
    def max_on_time_us(self) -> int:
        """Longest pulse."""

    @property
    def max_count(self) -> int:
        """Most pulses."""

    @property
    def max_duty_permille(self) -> int:
        """Largest part of the time switched on."""


@dataclass(frozen=True)
class PlanLimits:
    """Plain limits, for a caller without a budget."""

    max_on_time_us: int = 100_000
    max_count: int = 2000
    max_duty_permille: int = 900


def plan_pulse(  # noqa: PLR0917 - the order others call it by
    load: LoadType,
    wire_ohm: float,
    supply_v: float,
    sample_period_s: float,
    max_samples: int = 600,
    limits: PulseLimits | None = None,
    free_traces: int = 8,
) -> PulsePlan:
    """The pulse train and capture that measure one load best within its limits.

    Args:
        load: what should hang there.
        wire_ohm: wire and feed in series with it.
        supply_v: supply voltage.
        sample_period_s: one sample set of the box.
        max_samples: sample sets one trace can hold.
        limits: what else bounds the pulse, for example a safety budget; the load's own limits always hold.
        free_traces: how many traces the box holds before it pushes out one that was not read.

    Raises:
        ValueError: no supply, no samples.
    """
    if supply_v <= 0.0 or sample_period_s <= 0.0 or max_samples < 16:
        raise ValueError("a plan needs a supply, a sample period and at least 16 samples")
    bounds = limits or PlanLimits()
    wanted, why, need = _wanted_on_time(load, wire_ohm, supply_v)
    ceiling = min(load.limits.max_on_time_ms * 1e-3, bounds.max_on_time_us * 1e-6)
    on_time = min(wanted, ceiling)
    if on_time < wanted:
        why += f"; shortened from {wanted * 1e3:.2f} ms by the limit of {ceiling * 1e3:.2f} ms"
    on_time_us = max(50, int(on_time * 1e6))
    span = on_time + _after_s(load, supply_v, on_time)
    decimation = min(255, max(1, math.ceil(span / sample_period_s / max_samples)))
    samples = min(max_samples, math.ceil(span / (sample_period_s * decimation)) + 1)
    duty = min(load.limits.max_duty, bounds.max_duty_permille / 1000.0, 0.5)
    period = max(on_time / duty, 1.0 / load.limits.max_frequency_hz, on_time + _SETTLE_BETWEEN_S)
    repeats = _repeats(load, on_time / (sample_period_s * decimation))
    count = min(repeats, load.limits.max_count, bounds.max_count)
    if count > free_traces:
        period = max(period, samples * _READING_S_PER_SAMPLE)
    return PulsePlan(
        on_time_us=on_time_us,
        period_us=math.ceil(period * 1e6),
        count=max(1, count),
        decimation=decimation,
        samples=samples,
        reason=why,
        trace_every=1,
        short_of_landing=on_time < need,
    )


def _repeats(load: LoadType, samples_each: float) -> int:
    """Two pulses or more where a repeat costs little and shows an unsteady contact; one where it heats or sparks.

    Args:
        load: what hangs there.
        samples_each: kept sample sets within one pulse.
    """
    if load.kind not in WINDING_KINDS:
        return 1
    return min(max(2, math.ceil(_SAMPLES_WANTED / max(samples_each, 1.0))), _MOST_REPEATS)


def _wanted_on_time(load: LoadType, wire_ohm: float, supply_v: float) -> tuple[float, str, float]:
    """On-time in s, why, and the on-time below which motion cannot be seen."""
    traits = LOAD_TRAITS[load.kind]
    if traits.nature is Nature.INPUT:
        return _LOGIC_S, "a logic level needs no longer", 0.0
    if traits.inrush is not None:
        return traits.inrush.pulse_s, "inrush to steady current", 0.0
    if traits.dwell_share is not None:
        return (*_coil_on_time(load, traits.dwell_share, wire_ohm, supply_v), 0.0)
    tau = _tau_s(load, wire_ohm)
    if load.moves:
        _, landing = opening_span_s(load, supply_v)
        wanted = landing + _TAUS_AFTER_LANDING * tau * _STROKE_GAIN
        words = f"{_TAUS_AFTER_LANDING:g} time constants past the latest landing ({landing * 1e3:.1f} ms)"
        return wanted, words, 1.2 * landing
    return max(5.0 * tau, 64 * 26e-6), "five time constants", 0.0


def _tau_s(load: LoadType, wire_ohm: float) -> float:
    """Longest usual time constant."""
    if load.resistance_ohm is None or load.inductance_mh is None:
        return 2e-3
    return load.inductance_mh.high * 1e-3 / (load.resistance_ohm.low + wire_ohm)


def _coil_on_time(load: LoadType, dwell_share: float, wire_ohm: float, supply_v: float) -> tuple[float, str]:
    """That share of the time to 0.8 of the saturation current at the lowest inductance: saturation comes sooner."""
    if load.resistance_ohm is None or load.inductance_mh is None:
        return 1e-3, "nothing is known of this coil: a short dwell"
    target = 0.8 * (load.saturation_a.low if load.saturation_a else 6.0)
    ohm, henry = load.resistance_ohm.low + wire_ohm, load.inductance_mh.low * 1e-3
    share = min(target * ohm / supply_v, 0.95)
    return -dwell_share * henry / ohm * math.log1p(
        -share
    ), f"dwell to about {target:.1f} A without saturating"


def _after_s(load: LoadType, supply_v: float, on_time_s: float) -> float:
    """How long to look after the pulse: the decay, and some rest."""
    if load.resistance_ohm is None or load.inductance_mh is None:
        return 0.5e-3
    tau = load.inductance_mh.high * _STROKE_GAIN * 1e-3 / load.resistance_ohm.low
    current = supply_v / load.resistance_ohm.low * -math.expm1(-on_time_s / tau)
    if load.suppression is Suppression.DIODE:
        decay = min(tau * math.log1p(current * load.resistance_ohm.low / 0.7), 3.0 * tau)
    elif load.suppression is Suppression.RESISTOR:
        decay = tau
    else:
        decay = tau * math.log1p(current * load.resistance_ohm.low / max(48.0 - supply_v, 10.0))
    return 1.3 * decay + 0.3e-3
