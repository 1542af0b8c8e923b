"""Did the armature move? The landing's dip, and where there is none, whether a stroke could hide."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import Gap, GapKind, HasMoved, OffShape, Signature
from loomproof.facts.trace import Trace
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOAD_TRAITS, REFERENCE_V
from loomproof.measure.motion.dip import Dip, look_for_landing
from loomproof.measure.motion.stroke import REACH, StrokeBound, bound_stroke
from loomproof.measure.rise.resistance import ripple_response, whole_rise
from loomproof.measure.trace.source import Source

Floats = NDArray[np.float64]


_FEWEST_DIFFERENCES = 30  # for a scatter known to a sixth or better; judgment
_OPENING_S = (1e-3, 10e-3)  # of a kind without an armature of its own; common practice, no source
_LEAST_STROKE = 0.05  # likewise


def opening_span_s(load: LoadType, supply_v: float = REFERENCE_V) -> tuple[float, float]:
    """Earliest and latest usual landing after switching on.

    Opening times are stated at the reference voltage. A weaker supply takes longer to the same current and pulls less
    hard; the power 1.5 covers both between 9 and 16 V (common practice, no source).
    """
    if load.opening_ms is not None:
        low, high = load.opening_ms.low * 1e-3, load.opening_ms.high * 1e-3
    else:
        landing = LOAD_TRAITS[load.kind].landing
        low, high = (landing.soonest_s, landing.latest_s) if landing is not None else _OPENING_S
    slower = (REFERENCE_V / supply_v) ** 1.5 if supply_v > 0.0 else 1.0
    return low * min(slower, 1.0), high * max(slower, 1.0)


def least_stroke(load: LoadType) -> float:
    """Smallest rise of inductance that `HasMoved.NO` must exclude: a part that moves with less would be called stuck."""
    landing = LOAD_TRAITS[load.kind].landing
    return _LEAST_STROKE if landing is None else landing.least_stroke


def has_resistor(load: LoadType, found: Signature) -> bool:
    """Whether a resistor lies across the winding, by the job or by the decay seen."""
    return load.suppression is Suppression.RESISTOR or found.off_shape is OffShape.RESISTOR


def noise_excess(current_a: Floats, u_a: Floats) -> float:
    """By how much the samples scatter more than they are said to; 1 where they do not.

    Third differences of neighbours hold the noise and nearly nothing of a rise or of a landing's bend; white noise
    makes their variance 20 times its own (1 + 9 + 9 + 1).
    """
    third = np.diff(current_a, 3)
    if third.size < _FEWEST_DIFFERENCES:
        return 1.0
    return max(1.0, math.sqrt(float(third @ third) / (20.0 * float(u_a[3:] @ u_a[3:]))))


def look_for_motion(
    trace: Trace, load: LoadType, source: Source, *, shunted: bool
) -> tuple[Dip, StrokeBound | None]:
    """The landing's answer and, where none was seen, how large a stroke the pulse leaves room for.

    Args:
        trace: the pulse.
        load: what was given it.
        source: its supply.
        shunted: a resistor lies across the winding.

    Returns:
        What the landing detector saw, and the bound of the stroke; None where a landing was seen or nothing fits.
    """
    on = trace.during
    span = opening_span_s(load, source.emf_v)
    time, current, u = trace.time_s[on], trace.current_a[on], trace.current_u_a[on]
    if source.rippled:
        ripple = ripple_response(trace, source)
        current = current - ripple
        u = np.hypot(u, 0.1 * float(np.std(ripple)))
    dip = look_for_landing(
        time,
        current,
        u * noise_excess(current, u),
        opening_low_s=span[0],
        opening_high_s=span[1],
        pull_in_a=load.pull_in_a.high if load.pull_in_a else None,
    )
    if dip.moved is HasMoved.YES or dip.reason:
        return dip, None
    try:
        fit = whole_rise(trace, source, free_start=shunted)
    except (ValueError, np.linalg.LinAlgError) as error:
        return dip.undecided(f"no plain rise fits the pulse to look for a stroke beside it ({error})"), None
    bound = bound_stroke(time, current, u, fit, span)
    least = least_stroke(load)
    if bound.upper < least:
        return (dip.undecided(_BENDS) if dip.bends else dip), bound
    return dip.undecided(_hidden(bound.upper, least), hidden=True), bound


_BENDS = "the current bends a little, as a short stroke's landing would and noise does in one pulse of fifty"


def _hidden(upper: float, least: float) -> str:
    return (
        f"a stroke that raises the inductance by up to {100 * upper:.2g} % would not have shown, {100 * least:.2g} % "
        "and more must be ruled out to say that nothing moves"
    )


def settle_motion(pooled: Signature, pulses: Sequence[Signature], load: LoadType) -> Signature:
    """Where no single pulse rules a stroke out, all of them together may.

    Args:
        pooled: the pulses' common signature.
        pulses: of one train.
        load: what they were given to.
    """
    stroke = pooled.stroke_gain
    doubtful = all(any(gap.kind is GapKind.HIDDEN_STROKE for gap in pulse.gaps) for pulse in pulses)
    if len(pulses) < 2 or stroke is None or pooled.moved is not HasMoved.CANNOT_TELL or not doubtful:
        return pooled
    others = tuple(gap for gap in pooled.gaps if gap.kind is not GapKind.HIDDEN_STROKE)
    upper, least = stroke.value + REACH * stroke.u, least_stroke(load)
    if upper < least:
        return pooled.but(moved=HasMoved.NO, gaps=others)
    hidden = Gap(GapKind.HIDDEN_STROKE, f"motion: {_hidden(upper, least)}")
    return pooled.but(gaps=(*others, hidden))


def with_stroke(found: Signature, bound: StrokeBound | None) -> Signature:
    """The stroke: beside a landing from the inductance before and after, else the one that fits best."""
    if bound is not None:
        return found.but(stroke_gain=Estimate(bound.gain, bound.u))
    rest, closed = found.inductance_h, found.inductance_closed_h
    if rest is None or closed is None or rest.value <= 0.0:
        return found
    gain = closed.value / rest.value - 1.0
    u = (1.0 + gain) * math.hypot(closed.u_random / closed.value, rest.u_random / rest.value)
    return found.but(stroke_gain=Estimate(gain, u, min(closed.dof, rest.dof)))
