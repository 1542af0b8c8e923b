"""How large a stroke could hide in a rise? The armature's effect on the current, fitted beside the plain rise.

A stroke changes the inductance by a small share s m(t), with m going from 0 to 1 as the armature travels. To first
order in s the current then departs from the plain rise i(t) by

    d(t) = -s (m i - lag(m i)),    lag: first order with the time constant of the rise,

which follows from L dd/dt + R d = -d/dt(s L m i). So s is linear in the data for every landing time, and comes
with its uncertainty once amplitude, time constant and an inductance that depends on the current (saturation,
which looks a little like a stroke) are fitted beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from loomproof.measure.rise.fit import RiseFit, lag_weights

Floats = NDArray[np.float64]


_POINTS = 96  # block means that carry the fit: the patterns are smooth on that scale
_LANDINGS = 7
_SATURATION_POWERS = (2.0, 4.0)
_LEAVES = 0.4  # of the landing time: where the travel begins
REACH = 3.1
"""Sigma of the one-sided bound: 1 in 1000."""


@dataclass(frozen=True)
class StrokeBound:
    """What a pulse says of a stroke.

    Attributes:
        gain: most likely relative rise of inductance, at the landing time that allows the largest.
        u: its standard uncertainty, widened where the plain rise explains the rest badly.
        upper: largest stroke that the pulse does not exclude, over all landing times of the span.
        fit_quality: variance of what the patterns leave over its expectation.
    """

    gain: float
    u: float
    upper: float
    fit_quality: float


def _lagging(values: Floats, time_s: Floats, tau_s: float) -> Floats:
    """First-order lag of (n, k) columns that are straight between evenly spaced instants, from zero at time zero.

    Exact for every time constant, one far under the spacing too: what hangs on a channel need not be a winding.
    """
    step = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    first = lag_weights(float(time_s[0]), tau_s)[0] * values[0]
    late, early, stay = lag_weights(step, tau_s)
    begun = (first - late * values[0])[None, :]
    out, _ = signal.lfilter([late, early], [1.0, -stay], values, axis=0, zi=begun)
    return np.asarray(out)


def stroke_patterns(time_s: Floats, current_a: Floats, tau_s: float, landings_s: Floats) -> Floats:
    """Change of the current per unit of stroke.

    Args:
        time_s: (n,) instants from switching on.
        current_a: (n,) current of the plain rise.
        tau_s: its time constant.
        landings_s: (k,) times at which the armature may land.

    Returns:
        (n, k) changes.
    """
    leaves = _LEAVES * landings_s
    place = np.clip((time_s[:, None] - leaves) / (landings_s - leaves), 0.0, 1.0)
    moved = place**2 * current_a[:, None]
    return _lagging(moved, time_s, tau_s) - moved


def _block_means(values: Floats, size: int) -> Floats:
    whole = values.size - values.size % size
    return np.asarray(values[:whole].reshape(-1, size).mean(axis=1))


def bound_stroke(
    time_s: Floats, current_a: Floats, u_a: Floats, fit: RiseFit, span_s: tuple[float, float]
) -> StrokeBound:
    """The stroke that a pulse allows.

    Args:
        time_s: (n,) instants of the pulse, evenly spaced from switching on.
        current_a: (n,) current, ripple of the supply removed.
        u_a: (n,) standard uncertainties.
        fit: the plain rise over the whole pulse (with a free start where a resistor lies across the winding).
        span_s: earliest and latest usual landing.
    """
    x = time_s / fit.tau_s
    decay = np.exp(-x)
    plain = fit.amplitude_a * (1.0 - decay) + fit.start_a * decay
    size = max(1, time_s.size // _POINTS)
    t, left = _block_means(time_s, size), _block_means((current_a - plain) / u_a, size) * math.sqrt(size)
    weight = math.sqrt(size) / _block_means(u_a, size)
    smooth, fall = _block_means(plain, size), _block_means(decay, size)
    columns = [1.0 - fall, t / fit.tau_s * fall, *_saturation(t, smooth, fit.tau_s).T]
    if fit.covariance.shape[0] == 3:
        columns.append(fall)
    base, _ = np.linalg.qr(np.column_stack(columns) * weight[:, None])
    landings = np.linspace(*span_s, _LANDINGS)
    patterns = stroke_patterns(t, smooth, fit.tau_s, landings) * weight[:, None]
    patterns = patterns - base @ (base.T @ patterns)
    left = left - base @ (base.T @ left)
    power = np.einsum("nk,nk->k", patterns, patterns)
    power = np.maximum(power, 1e-12)
    gains = (patterns.T @ left) / power
    dof = max(left.size - len(columns) - 1, 1)
    quality = np.maximum((float(left @ left) - gains**2 * power) / dof, 0.0)
    sigmas = np.sqrt(np.maximum(quality, 1.0) / power)
    most = int(np.argmax(gains + REACH * sigmas))
    upper = float(gains[most] + REACH * sigmas[most])
    return StrokeBound(float(gains[most]), float(sigmas[most]), upper, float(quality.min()))


def _saturation(time_s: Floats, current_a: Floats, tau_s: float) -> Floats:
    """(n, k) change of the current per unit of each term of an inductance that falls with the current.

    A core at rest has an inductance that depends on the current alone and alike both ways: an even series.
    """
    top = max(float(np.abs(current_a).max()), 1e-12)
    share = (current_a / top)[:, None]
    flux: Floats = np.asarray(share ** np.array(_SATURATION_POWERS) * current_a[:, None], dtype=np.float64)
    return np.asarray(flux - _lagging(flux, time_s, tau_s), dtype=np.float64)
