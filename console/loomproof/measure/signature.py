"""One or several pulses on one load to one signature: the right estimator for each kind of load."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import Gap, GapKind, HasMoved, OffShape, Signature
from loomproof.facts.trace import Trace
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import INRUSH_KINDS, LOAD_TRAITS, LOGIC_KINDS, Nature
from loomproof.measure.motion.armature import settle_motion
from loomproof.measure.settle.lamp_motor import mean_current, settle_lamp, settle_motor
from loomproof.measure.statistics import pooled, straight_line
from loomproof.measure.trace.checks import useless_because
from loomproof.measure.trace.source import Source, look_at_source
from loomproof.measure.winding import measure_winding

Floats = NDArray[np.float64]


def measure(traces: Sequence[Trace], load: LoadType) -> Signature:
    """The signature of a load from one or several pulses of one train.

    A trace that cannot be used says why in `gaps`; what the others give is pooled, the scales' part of
    the uncertainty undiminished (they do not change between pulses).

    Raises:
        ValueError: no traces, or traces of different channels.
    """
    if not traces:
        raise ValueError("no traces to measure")
    channels = {trace.channel for trace in traces}
    if len(channels) > 1:
        raise ValueError(f"traces of different channels: {sorted(channels)}")
    pulses = [measure_one(trace, load) for trace in traces]
    pooled_signature = combine(pulses)
    return settle_motion(pooled_signature, pulses, load) if load.moves else pooled_signature


def measure_one(trace: Trace, load: LoadType) -> Signature:
    """The signature of one pulse."""
    reasons = tuple(Gap(GapKind.VALUE, reason) for reason in useless_because(trace))
    base = Signature(
        channel=trace.channel,
        gaps=reasons,
        on_time_s=trace.on_time_s,
        pulses=1,
        tripped=trace.tripped,
        clipped=trace.clipped,
    )
    if trace.during.stop - trace.during.start < 3:
        return base
    source = look_at_source(trace)
    base = _common(trace, source, base, logic=load.kind in LOGIC_KINDS)
    if reasons:
        return base
    if load.kind in LOGIC_KINDS:
        return _logic(trace, base)
    if not _conducts(trace, base.final_current_a):
        note = "no current flows while the channel is on"
        return base.but(gaps=(*base.gaps, Gap(GapKind.VALUE, note)))
    if load.kind in INRUSH_KINDS:
        return _settling(trace, load, source, base)
    return measure_winding(trace, load, source, base)


def _conducts(trace: Trace, final: Estimate | None) -> bool:
    return final is not None and final.value > 6.0 * math.hypot(final.u_random, trace.offset_u_a)


def _common(trace: Trace, source: Source, base: Signature, *, logic: bool) -> Signature:
    """What every load has: final current, supply at rest and loaded, drain levels, driver resistance."""
    on = trace.during
    end = slice(on.stop - max(3, (on.stop - on.start) // 20), on.stop)
    final = _final_current(trace, end)
    loaded = float(trace.supply_v[end].mean()) if logic or source.rippled else source.loaded_v
    supply_gain = trace.voltage_u_relative * source.emf_v
    u_emf = math.sqrt(float(source.covariance[0, 0]))
    step = trace.drain_step_v / math.sqrt(12.0)
    ohm_u = math.sqrt(float(source.covariance[1, 1]))
    return base.but(
        final_current_a=final,
        supply_v=Estimate(source.emf_v, math.hypot(u_emf, supply_gain), source.dof, supply_gain),
        supply_loaded_v=Estimate(loaded, math.hypot(source.loaded_u_v, supply_gain), source.dof, supply_gain),
        source_ohm=Estimate(source.ohm, ohm_u, source.dof) if math.isfinite(ohm_u) else None,
        driver_ohm=None if logic else source.driver_ohm,
        drain_on_v=Estimate(float(trace.drain_v[end].mean()), math.hypot(trace.drain_u_v, step)),
    )


def _final_current(trace: Trace, end: slice) -> Estimate:
    """Current at the end of the pulse (or of the trace), by a line through the last samples, three or more."""
    time, current, u_a = trace.time_s[end], trace.current_a[end], trace.current_u_a[end]
    slope, level = straight_line(time, current, 1.0 / u_a**2)
    end_s = min(trace.on_time_s, float(trace.time_s[-1]))
    residual = (current - slope * time - level) / u_a
    dof = max(time.size - 2, 1)
    chi2 = max(1.0, float(residual @ residual) / dof)
    # The far end of a fitted line is twice as uncertain as its middle.
    u_random = 2.0 * float(np.mean(u_a)) * math.sqrt(chi2 / time.size)
    value = float(slope * end_s + level)
    gain = math.hypot(value * trace.gain_u_relative, trace.offset_u_a)
    return Estimate(value, math.hypot(u_random, gain), float(dof), gain)


def _logic(trace: Trace, base: Signature) -> Signature:
    """A logic input: its level and its small current. What it does with them cannot be known from here."""
    use = trace.on & (trace.time_s >= min(50e-6, trace.on_time_s / 4))
    note = (
        "a logic input shows its level and its input current only; whether what is behind it acts is not seen"
    )
    found = base.but(gaps=(*base.gaps, Gap(GapKind.VALUE, note)))
    if int(use.sum()) < 3:
        return found
    current = mean_current(trace, use)
    off = trace.off
    rest = float(np.median(trace.drain_v[off])) if off.any() and not trace.truncated else None
    u_level = math.hypot(trace.drain_u_v, trace.drain_step_v / math.sqrt(12.0))
    level = Estimate(float(trace.drain_v[use].mean()), u_level)
    found = found.but(
        steady_a=current,
        drain_on_v=level,
        drain_off_v=None if rest is None else Estimate(rest, u_level),
    )
    if current.value <= 4.0 * current.u or level.value <= 4.0 * level.u:
        return found
    ohm = level.value / current.value
    gain = ohm * math.hypot(current.u_gain / current.value, level.u / level.value)
    u = math.hypot(ohm * current.u_random / current.value, gain)
    return found.but(resistance_ohm=Estimate(ohm, u, current.dof, gain))


def _settling(trace: Trace, load: LoadType, source: Source, base: Signature) -> Signature:
    filament = LOAD_TRAITS[load.kind].nature is Nature.FILAMENT
    settled = (settle_lamp if filament else settle_motor)(trace, source)
    return base.but(
        inrush_a=settled.inrush_a,
        steady_a=settled.steady_a,
        resistance_ohm=settled.resistance_ohm,
        inductance_h=settled.inductance_h,
        hot_ratio=settled.hot_ratio,
        back_emf_v=settled.back_emf_v,
        gaps=(*base.gaps, *(Gap(GapKind.VALUE, reason) for reason in settled.reasons)),
    )


def combine(signatures: Sequence[Signature]) -> Signature:
    """Pools the signatures of repeats of one pulse on one channel."""
    first = signatures[0]
    if len(signatures) == 1:
        return first
    updates: dict[str, object] = {}
    for item in fields(Signature):
        values = [getattr(s, item.name) for s in signatures]
        present = [v for v in values if isinstance(v, Estimate)]
        if present:
            updates[item.name] = pooled(present)
    statistics = [s.dip_statistic for s in signatures if s.dip_statistic is not None]
    correlations = [s.correlation_r_l for s in signatures if s.correlation_r_l is not None]
    moved, note = _vote([s.moved for s in signatures])
    gaps = tuple(dict.fromkeys(gap for s in signatures for gap in s.gaps))
    updates |= {
        "moved": moved,
        "gaps": (*gaps, Gap(GapKind.MOTION, note)) if note else gaps,
        "pulses": sum(s.pulses for s in signatures),
        "tripped": any(s.tripped for s in signatures),
        "clipped": any(s.clipped for s in signatures),
        "dip_statistic": float(np.median(statistics)) if statistics else None,
        "correlation_r_l": float(np.mean(correlations)) if correlations else None,
        "off_shape": _shape([s.off_shape for s in signatures]),
    }
    return first.but(**updates)


def _vote(moves: list[HasMoved]) -> tuple[HasMoved, str]:
    count = Counter(moves)
    if count[HasMoved.YES] * 2 > len(moves):
        some = count[HasMoved.YES] < len(moves)
        return HasMoved.YES, (f"motion seen in {count[HasMoved.YES]} of {len(moves)} pulses" if some else "")
    if count[HasMoved.NO] * 2 >= len(moves) and not count[HasMoved.YES]:
        # One pulse that rules the stroke out is enough while none shows it; the others were merely too faint.
        return HasMoved.NO, ""
    note = f"motion: seen in {count[HasMoved.YES]}, not in {count[HasMoved.NO]} of {len(moves)} pulses"
    return HasMoved.CANNOT_TELL, note if count[HasMoved.YES] or count[HasMoved.NO] else ""


def _shape(shapes: list[OffShape]) -> OffShape:
    seen = [s for s in shapes if s is not OffShape.CANNOT_TELL]
    if not seen or len(set(seen)) > 1:
        return (
            seen[0] if seen and Counter(seen).most_common(1)[0][1] * 2 > len(seen) else OffShape.CANNOT_TELL
        )
    return seen[0]
