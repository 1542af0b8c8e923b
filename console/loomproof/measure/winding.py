"""Windings: injectors, relays, valves (with an armature), stepper windings, ignition coil primaries."""

from __future__ import annotations

import math

import numpy as np

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import Gap, GapKind, Signature
from loomproof.facts.trace import Trace
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, Nature
from loomproof.measure.after_pulse import OffPhase, look_after
from loomproof.measure.motion.armature import has_resistor, look_for_motion, opening_span_s, with_stroke
from loomproof.measure.motion.dip import Dip
from loomproof.measure.rise.balance import balance_resistance
from loomproof.measure.rise.early import early_inductance, saturating_inductance
from loomproof.measure.rise.resistance import ResistanceInductance, resistance_inductance
from loomproof.measure.settle.lamp_motor import mean_current
from loomproof.measure.trace import checks
from loomproof.measure.trace.source import Source

_EARLY_SAMPLES = 6
_TAIL_TRIES = (0.15, 0.3, 0.6, 1.0)  # of the landing time, after the landing


def measure_winding(trace: Trace, load: LoadType, source: Source, base: Signature) -> Signature:
    """Signature of one pulse on a winding.

    Args:
        trace: the pulse.
        load: what was given it.
        source: its supply.
        base: what every load has.

    Returns:
        The whole signature.
    """
    final = base.final_current_a
    off = look_after(trace, source, final.value if final else 0.0)
    found = _with_off(base, off)
    if LOAD_TRAITS[load.kind].nature is Nature.SPARK_PRIMARY:
        return _coil(trace, load, source, found)
    if load.moves:
        dip, bound = look_for_motion(trace, load, source, shunted=has_resistor(load, found))
        found = found.but(moved=dip.moved, move_time_s=dip.landing_s, dip_statistic=dip.statistic)
        if dip.reason:
            kind = GapKind.HIDDEN_STROKE if dip.hidden else GapKind.MOTION
            found = _with_gap(found, f"motion: {dip.reason}", kind)
        return with_stroke(_moving(trace, load, source, dip, found), bound)
    return _still(trace, load, source, found)


def _with_off(base: Signature, off: OffPhase) -> Signature:
    found = base.but(
        clamp_v=off.clamp_v,
        decay_s=off.decay_s,
        off_shape=off.shape,
        suppression_ohm=off.suppression_ohm,
        drain_off_v=off.drain_v or base.drain_off_v,
    )
    return _with_gap(found, f"after the pulse: {off.reason}", GapKind.AFTER_PULSE) if off.reason else found


def _with_gap(signature: Signature, reason: str, kind: GapKind = GapKind.VALUE) -> Signature:
    gap = Gap(kind, reason)
    return signature if gap in signature.gaps else signature.but(gaps=(*signature.gaps, gap))


def _still(trace: Trace, load: LoadType, source: Source, found: Signature) -> Signature:
    try:
        both = resistance_inductance(trace, source, free_start=has_resistor(load, found))
    except (ValueError, np.linalg.LinAlgError) as error:
        return _settled(trace, source, _with_gap(found, f"inductance: {error}"), 0.5 * trace.on_time_s)
    return _accept(trace, both, found, closed=False)


def _accept(trace: Trace, both: ResistanceInductance, found: Signature, *, closed: bool) -> Signature:
    """Takes over what the samples resolve."""
    tau = both.fit.tau_s
    found = found.but(correlation_r_l=both.correlation)
    cut = checks.truncated(trace, tau)
    if cut:
        found = _with_gap(found, cut)
    if not cut or both.resistance_ohm.relative < 0.05:
        found = found.but(resistance_ohm=both.resistance_ohm)
    coarse = checks.aliased(trace.sample_period_s, tau)
    if coarse:
        return _with_gap(found, coarse)
    if closed:
        return found.but(inductance_closed_h=both.inductance_h)
    return found.but(inductance_h=both.inductance_h)


def _moving(trace: Trace, load: LoadType, source: Source, dip: Dip, found: Signature) -> Signature:
    both = _tail(trace, load, source, dip)
    if both is None:
        begin = (dip.landing_s.value * 1.6) if dip.landing_s else 0.6 * trace.on_time_s
        found = _settled(trace, source, found, min(begin, 0.7 * trace.on_time_s))
    else:
        found = _accept(trace, both, found, closed=True)
    if found.resistance_ohm is None:
        return found
    return _early(trace, load, source, found)


def _tail(trace: Trace, load: LoadType, source: Source, dip: Dip) -> ResistanceInductance | None:
    """The rise after the landing; begins later while the fit is worse than noise explains."""
    end = float(min(trace.on_time_s, trace.time_s[-1]))
    landing = dip.landing_s.value if dip.landing_s else 1.1 * opening_span_s(load, source.emf_v)[1]
    best: ResistanceInductance | None = None
    for share in _TAIL_TRIES:
        begin = landing * (1.0 + share)
        if begin > 0.8 * end:
            break
        try:
            both = resistance_inductance(trace, source, begin_s=begin, free_start=True)
        except (ValueError, np.linalg.LinAlgError):
            continue
        if best is None or both.fit.chi2_reduced < 0.8 * best.fit.chi2_reduced:
            best = both
        if both.fit.chi2_reduced < 1.0 + 3.0 * math.sqrt(2.0 / both.fit.dof):
            break
    return best


def _settled(trace: Trace, source: Source, found: Signature, begin_s: float) -> Signature:
    """Resistance from the settled end of the pulse, when the rise itself is over or unusable."""
    use = trace.on & (trace.time_s >= begin_s)
    if int(use.sum()) < 6:
        return _with_gap(found, "too few samples in the settled part of the pulse")
    index = np.flatnonzero(use)
    first, last = np.zeros_like(use), np.zeros_like(use)
    first[index[: index.size // 2]] = True
    last[index[index.size // 2 :]] = True
    mean, early, late = mean_current(trace, use), mean_current(trace, first), mean_current(trace, last)
    if mean.value <= 5.0 * mean.u:
        return _with_gap(found, "no current to speak of")
    drift = abs(late.value - early.value)
    if drift > 0.05 * mean.value + 4.0 * late.u_random:
        return _with_gap(found, "the current has not settled by the end of the pulse")
    volts = float(trace.supply_v[use].mean())
    total = volts / mean.value
    scale = math.hypot(trace.gain_u_relative, trace.voltage_u_relative)
    u_random = total * math.hypot(mean.u_random, drift) / mean.value
    u_volts = source.loaded_u_v / mean.value
    gain = math.sqrt((total * scale) ** 2 + (total * trace.offset_u_a / mean.value) ** 2)
    u = math.sqrt(u_random**2 + u_volts**2 + gain**2 + source.driver_ohm.u**2)
    value = total - source.driver_ohm.value
    return found.but(resistance_ohm=Estimate(value, u, mean.dof, gain))


def _early(trace: Trace, load: LoadType, source: Source, found: Signature) -> Signature:
    """Inductance at rest from before the armature leaves, with R known from after it arrived."""
    if found.resistance_ohm is None:
        return found
    total = found.resistance_ohm.value + source.driver_ohm.value
    if total <= 0.0:
        return _with_gap(found, "inductance at rest: no resistance was found to take it from")
    leaves = 0.9 * load.pull_in_a.low if load.pull_in_a else 0.3 * source.emf_v / total
    on = trace.during
    above = np.flatnonzero(trace.current_a[on] > leaves)
    end = float(trace.time_s[on][above[0]]) if above.size else trace.on_time_s
    # An armature cannot have gone far within the first few samples, however fast the current came.
    end = max(end, float(trace.time_s[min(on.start + _EARLY_SAMPLES, on.stop - 1)]))
    try:
        early = early_inductance(
            trace,
            source,
            total,
            found.resistance_ohm.u,
            end,
            shunted=has_resistor(load, found),
        )
    except (ValueError, np.linalg.LinAlgError) as error:
        return _with_gap(found, f"inductance at rest: {error}")
    coarse = checks.aliased(trace.sample_period_s, early.inductance_h.value / total)
    if coarse:
        return _with_gap(found, coarse)
    ohm = found.suppression_ohm
    return found.but(inductance_h=early.inductance_h, suppression_ohm=early.shunt_ohm if ohm is None else ohm)


def _coil(trace: Trace, load: LoadType, source: Source, found: Signature) -> Signature:
    """A saturating core: R by volt-second balance, L at small current, and the time to a stated current."""
    resistance: Estimate | None = None
    try:
        resistance = balance_resistance(trace)
        found = found.but(resistance_ohm=resistance)
    except ValueError as error:
        found = _with_gap(found, f"resistance: {error}")
    if resistance is None and load.resistance_ohm is not None:
        ohm = load.resistance_ohm
        resistance = Estimate(ohm.value, (ohm.high - ohm.low) / math.sqrt(12.0))
    if resistance is None:
        return _with_gap(found, "inductance: neither a measured nor a catalogue resistance to take it from")
    total_u = math.hypot(resistance.u, source.driver_ohm.u)
    try:
        inductance = saturating_inductance(
            trace, source, max(resistance.value, 0.0) + source.driver_ohm.value, total_u
        )
        found = found.but(inductance_h=inductance)
    except (ValueError, np.linalg.LinAlgError) as error:
        found = _with_gap(found, f"inductance: {error}")
    return _rise_time(trace, load, found)


def _rise_time(trace: Trace, load: LoadType, found: Signature) -> Signature:
    on = trace.during
    current, time = trace.current_a[on], trace.time_s[on]
    target = 0.3 * load.saturation_a.value if load.saturation_a else 0.5 * float(current.max(initial=0.0))
    above = np.flatnonzero(current > target)
    if not above.size or above[0] < 2 or target <= 0.0:
        return found
    part = slice(max(int(above[0]) - 3, 0), int(above[0]) + 3)
    slope, level = np.polyfit(time[part], current[part], 1)
    if slope <= 0.0:
        return found
    u_a = math.hypot(float(trace.current_u_a[on][above[0]]) / 2.0, target * trace.gain_u_relative)
    crossing = float((target - level) / slope)
    return found.but(
        rise_time_s=Estimate(
            crossing, u_a / float(slope), 3.0, target * trace.gain_u_relative / float(slope)
        ),
        rise_to_a=target,
    )


__all__ = ["measure_winding"]
