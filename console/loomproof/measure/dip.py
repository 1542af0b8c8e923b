"""Did the armature land? The largest upward jump of slope between adjacent windows, over its own sigma.

While an armature travels, the growing inductance holds the current back; when it strikes its stop that ends
at once and the current's slope jumps up. A resistance with an inductance alone never does that: its slope
only falls. So the statistic's null is on the safe side, and its threshold follows from the number of places
looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import optimize, special

from loomproof.measure.quantities import Estimate
from loomproof.measure.signature import Moved

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FALSE_ALARM = 1e-3  # per pulse, of calling a landing where there is none
_MISS = 1e-3  # chance accepted of calling NO where an armature of the least stroke landed
_MIN_WINDOW = 5
_TOO_FAINT = "the landing of a short stroke would drown in the noise of this trace"


@dataclass(frozen=True)
class Dip:
    """What the detector saw.

    Attributes:
        moved: the answer.
        statistic: largest jump of slope over its sigma.
        threshold: what it was compared with.
        landing_s: where the slope jumps, from the switch-on edge; None unless `moved` is YES.
        expected: least statistic an armature of the stated stroke would have given where it should have
        landed.
        reason: why it cannot tell, in words; empty otherwise.
        too_faint: it cannot tell only because a short stroke would drown in the noise.
    """

    moved: Moved
    statistic: float
    threshold: float
    landing_s: Estimate | None = None
    expected: float = 0.0
    reason: str = ""
    too_faint: bool = False


def slope_jumps(time_s: Floats, current_a: Floats, u_a: Floats, window: int) -> tuple[Floats, Floats]:
    """Slope after minus slope before, over its sigma, at each place with a full window on both sides.

    Args:
        time_s: (n,) evenly spaced instants.
        current_a: (n,) current.
        u_a: (n,) standard uncertainties.
        window: samples in each of the two windows.

    Returns:
        (m,) instants between the windows and (m,) statistics, m = n - 2 window + 1.
    """
    step = float(time_s[1] - time_s[0])
    lever = (np.arange(window) - (window - 1) / 2.0) * step
    kernel = lever / float(lever @ lever)
    slopes = np.correlate(current_a, kernel, mode="valid")
    variance = np.correlate(u_a**2, kernel**2, mode="valid")
    jump = slopes[window:] - slopes[:-window]
    sigma = np.sqrt(variance[window:] + variance[:-window])
    instants = time_s[window : window + jump.size] - step / 2.0
    return instants, jump / sigma


def threshold(samples: int, windows: list[int], false_alarm: float = FALSE_ALARM) -> float:
    """Statistic that pure noise passes with probability `false_alarm` at most in a whole pulse.

    The chance that a normal sequence ever exceeds u is at most that of beginning above it plus the expected
    number of crossings; neighbours with correlation rho cross with probability 2 T(u, sqrt((1-rho)/(1+rho)))
    (Owen 1956, the bivariate normal by his T function). Summed over the window lengths.
    """
    steepness = []
    for window in windows:
        lever = np.arange(window) - (window - 1) / 2.0
        kernel = np.concatenate((-lever, lever))
        rho = float(kernel[1:] @ kernel[:-1]) / float(kernel @ kernel)
        steepness.append((max(samples - 2 * window, 0), math.sqrt((1.0 - rho) / (1.0 + rho))))

    def excess(u: float) -> float:
        start = float(special.ndtr(-u))
        return sum(start + n * 2.0 * float(special.owens_t(u, a)) for n, a in steepness) - false_alarm

    return float(optimize.brentq(excess, 0.0, 12.0, xtol=1e-6))


def window_lengths(samples: int, sample_period_s: float, opening_s: float) -> list[int]:
    """Window lengths to try: from an eighth of the opening time to half of it, within the pulse."""
    longest = max(_MIN_WINDOW, min(samples // 4, round(0.5 * opening_s / sample_period_s)))
    shortest = max(_MIN_WINDOW, round(opening_s / 8.0 / sample_period_s))
    out: list[int] = []
    length = float(shortest)
    while round(length) <= longest:
        out.append(round(length))
        length *= 1.6
    return out or [min(_MIN_WINDOW, longest)]


def look_for_landing(
    time_s: Floats,
    current_a: Floats,
    u_a: Floats,
    *,
    opening_low_s: float,
    opening_high_s: float,
    least_stroke: float,
    pull_in_a: float | None,
    model_u_a: float = 0.0,
) -> Dip:
    """The armature's answer for one pulse.

    Args:
        time_s: (n,) instants of the on-phase, evenly spaced.
        current_a: (n,) current, ripple of the supply removed.
        u_a: (n,) standard uncertainties.
        opening_low_s: earliest usual landing.
        opening_high_s: latest usual landing.
        least_stroke: smallest rise of inductance over the stroke (relative) that NO shall exclude.
        pull_in_a: current that starts the armature, its highest usual value.
        model_u_a: further standard uncertainty per sample (what is left of ripple).
    """
    count = time_s.size
    if count < 4 * _MIN_WINDOW:
        return Dip(Moved.CANNOT_TELL, 0.0, math.inf, reason="too few samples to see a landing")
    u = np.hypot(u_a, model_u_a)
    step = float(time_s[1] - time_s[0])
    windows = window_lengths(count, step, 0.5 * (opening_low_s + opening_high_s))
    limit = threshold(count, windows)
    best, best_at, best_window = -math.inf, 0.0, windows[0]
    for window in windows:
        instants, z = slope_jumps(time_s, current_a, u, window)
        if z.size == 0:
            continue
        k = int(np.argmax(z))
        if z[k] > best:
            best, best_at, best_window = float(z[k]), float(instants[k]), window
    expected = _expected(
        time_s,
        current_a,
        u,
        windows,
        span_s=(opening_low_s, opening_high_s),
        least_stroke=least_stroke,
    )
    if best > limit:
        landing = _hinge(time_s, current_a, u, best_at, best_window)
        return Dip(Moved.YES, best, limit, landing, expected)
    reason = _why_not_no(
        time_s,
        current_a,
        expected=expected,
        limit=limit,
        opening_high_s=opening_high_s,
        pull_in_a=pull_in_a,
    )
    answer = Moved.CANNOT_TELL if reason else Moved.NO
    return Dip(answer, best, limit, None, expected, reason, too_faint=reason == _TOO_FAINT)


def _why_not_no(
    time_s: Floats,
    current_a: Floats,
    *,
    expected: float,
    limit: float,
    opening_high_s: float,
    pull_in_a: float | None,
) -> str:
    if float(time_s[-1]) < 1.2 * opening_high_s:
        return "the pulse ends before the armature must have landed"
    if pull_in_a is not None and float(current_a.max()) < pull_in_a:
        return f"the current stayed below the {pull_in_a:.3g} A that pull the armature in"
    if expected < limit - float(special.ndtri(_MISS)):
        return _TOO_FAINT
    return ""


def _expected(
    time_s: Floats,
    current_a: Floats,
    u_a: Floats,
    windows: list[int],
    *,
    span_s: tuple[float, float],
    least_stroke: float,
) -> float:
    """Least statistic that a landing would give, wherever in its usual span it came.

    The back-EMF that ends at the landing is i dL/dx v; with uniform acceleration over the second half of the
    opening time the landing speed is twice the mean, so the slope jumps by i * (dL/L) * 2 / (opening / 2).
    The smooth bend of the rise works against it inside a window; that is read off the trace itself.
    """
    weakest = math.inf
    for landing in np.linspace(*span_s, 4):
        strongest = 0.0
        for window in windows:
            instants, z = slope_jumps(time_s, current_a, u_a, window)
            if z.size == 0 or not instants[0] <= landing <= instants[-1]:
                continue
            k = int(np.argmin(np.abs(instants - landing)))
            step = float(time_s[1] - time_s[0])
            lever = (np.arange(window) - (window - 1) / 2.0) * step
            sigma = float(u_a[min(k + window, u_a.size - 1)]) * math.sqrt(2.0 / float(lever @ lever))
            current = float(np.interp(landing, time_s, current_a))
            jump = current * least_stroke * 4.0 / float(landing)
            # A window longer than the travel averages the dip away: weigh by the part of it that is travel.
            share = min(1.0, 0.5 * float(landing) / (window * step))
            strongest = max(strongest, jump * share / sigma + min(float(z[k]), 0.0))
        weakest = min(weakest, strongest)
    return 0.0 if math.isinf(weakest) else weakest


def _hinge(time_s: Floats, current_a: Floats, u_a: Floats, at_s: float, window: int) -> Estimate:
    """Where the two lines beside the jump meet, with the uncertainty of that crossing."""
    k = int(np.searchsorted(time_s, at_s))
    before, after = slice(max(k - window, 0), k), slice(k, min(k + window, time_s.size))
    lines = []
    for part in (before, after):
        x, y = time_s[part] - at_s, current_a[part]
        u2 = float(np.mean(u_a[part] ** 2))
        spread = float(np.sum((x - x.mean()) ** 2))
        slope = float(np.sum((x - x.mean()) * (y - y.mean()))) / spread
        lines.append(
            (float(y.mean()) - slope * float(x.mean()), slope, u2 / x.size + x.mean() ** 2 * u2 / spread)
        )
    (level_0, slope_0, var_0), (level_1, slope_1, var_1) = lines
    step = float(time_s[1] - time_s[0])
    bend = slope_1 - slope_0
    u = math.hypot(math.sqrt(var_0 + var_1) / abs(bend), step / math.sqrt(12.0)) if bend else window * step
    cross = -(level_1 - level_0) / bend if bend else 0.0
    limit = window * step / 2.0
    return Estimate(at_s + min(max(cross, -limit), limit), min(u, limit), float(2 * window - 4))
