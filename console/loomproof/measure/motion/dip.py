"""Did the armature land? The largest upward jump of slope between adjacent windows, over its own sigma.

While an armature travels, the growing inductance holds the current back; when it strikes its stop that ends
at once and the current's slope jumps up. A resistance with an inductance alone never does that: its slope
only falls. So the statistic's null is on the safe side, and its threshold follows from the number of places
looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import HasMoved
from loomproof.measure.trace.crossings import level_for, steepness

Floats = NDArray[np.float64]


FALSE_ALARM = 1e-3  # per pulse, of calling a landing where there is none
HINT = 0.02  # per pulse, of a bend that is no landing yet, and forbids to say that there is none
_MIN_WINDOW = 5


@dataclass(frozen=True)
class Dip:
    """What the detector saw.

    Attributes:
        moved: the answer.
        statistic: largest jump of slope over its sigma.
        threshold: what it was compared with.
        landing_s: where the slope jumps, from the switch-on edge; None unless `moved` is YES.
        reason: why it cannot tell, in words; empty otherwise.
        hidden: it cannot, because a stroke that small would not have shown.
        bends: the statistic is higher than noise makes it in one pulse of fifty, though no landing.
    """

    moved: HasMoved
    statistic: float
    threshold: float
    landing_s: Estimate | None = None
    reason: str = ""
    bends: bool = False
    hidden: bool = False

    def undecided(self, reason: str, *, hidden: bool = False) -> Dip:
        """The same, but it cannot tell."""
        return replace(self, moved=HasMoved.CANNOT_TELL, reason=reason, hidden=hidden)


@lru_cache(maxsize=256)
def _slope_kernel(window: int) -> Floats:
    """Weights that give the slope per step of a straight line through `window` samples."""
    lever = np.arange(window) - (window - 1) / 2.0
    return np.asarray(lever / float(lever @ lever))


def slope_jumps(time_s: Floats, current_a: Floats, u_a: Floats, window: int) -> tuple[Floats, Floats]:
    """Slope after minus slope before, over its sigma, at each place with a full window on both sides.

    Args:
        time_s: (n,) evenly spaced instants.
        current_a: (n,) current.
        u_a: (n,) standard uncertainties, or (1,) the one that all have.
        window: samples in each of the two windows.

    Returns:
        (m,) instants between the windows and (m,) statistics, m = n - 2 window + 1.
    """
    kernel = _slope_kernel(window)
    slopes = np.correlate(current_a, kernel, mode="valid")
    jump = slopes[window:] - slopes[:-window]
    if u_a.size == 1:
        z = jump / (float(u_a[0]) * math.sqrt(2.0 * float(kernel @ kernel)))
    else:
        variance = np.correlate(u_a**2, kernel**2, mode="valid")
        z = jump / np.sqrt(variance[window:] + variance[:-window])
    step = float(time_s[1] - time_s[0])
    return time_s[window : window + jump.size] - step / 2.0, z


def threshold(samples: int, windows: list[int], false_alarm: float = FALSE_ALARM) -> float:
    """Statistic that pure noise passes with probability `false_alarm` at most in a whole pulse."""
    sequences = []
    for window in windows:
        lever = np.arange(window) - (window - 1) / 2.0
        kernel = np.concatenate((-lever, lever))
        rho = float(kernel[1:] @ kernel[:-1]) / float(kernel @ kernel)
        sequences.append((float(max(samples - 2 * window, 0)), steepness(rho)))
    return level_for(false_alarm, sequences)


@lru_cache(maxsize=256)
def _threshold(samples: int, windows: tuple[int, ...], false_alarm: float = FALSE_ALARM) -> float:
    return threshold(samples, list(windows), false_alarm)


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
    pull_in_a: float | None,
) -> Dip:
    """Whether a landing is seen. NO here means only that it should have come and did not show.

    Args:
        time_s: (n,) instants of the on-phase, evenly spaced.
        current_a: (n,) current, ripple of the supply removed.
        u_a: (n,) standard uncertainties, with what is left of ripple.
        opening_low_s: earliest usual landing.
        opening_high_s: latest usual landing.
        pull_in_a: current that starts the armature, its highest usual value.
    """
    count = time_s.size
    if count < 4 * _MIN_WINDOW:
        return Dip(HasMoved.CANNOT_TELL, 0.0, math.inf, reason="too few samples to see a landing")
    step = float(time_s[1] - time_s[0])
    windows = window_lengths(count, step, 0.5 * (opening_low_s + opening_high_s))
    limit = _threshold(count, tuple(windows))
    best, best_at, best_window = -math.inf, 0.0, windows[0]
    one = u_a[:1] if bool((u_a == u_a[0]).all()) else u_a
    for window in windows:
        instants, z = slope_jumps(time_s, current_a, one, window)
        if z.size == 0:
            continue
        k = int(z.argmax())
        if z[k] > best:
            best, best_at, best_window = float(z[k]), float(instants[k]), window
    if best > limit:
        return Dip(HasMoved.YES, best, limit, _hinge(time_s, current_a, u_a, best_at, best_window))
    if float(time_s[-1]) < 1.2 * opening_high_s:
        reason = "the pulse ends before the armature must have landed"
    elif pull_in_a is not None and float(current_a.max()) < pull_in_a:
        reason = f"the current stayed below the {pull_in_a:.3g} A that pull the armature in"
    else:
        return Dip(HasMoved.NO, best, limit, bends=best > _threshold(count, tuple(windows), HINT))
    return Dip(HasMoved.CANNOT_TELL, best, limit, reason=reason)


def _hinge(time_s: Floats, current_a: Floats, u_a: Floats, at_s: float, window: int) -> Estimate:
    """Where the two lines beside the jump meet, with the uncertainty of that crossing."""
    k = int(np.searchsorted(time_s, at_s))
    before, after = slice(max(k - window, 0), k), slice(k, min(k + window, time_s.size))
    lines = []
    for part in (before, after):
        x, y, noise = time_s[part] - at_s, current_a[part], u_a[part]
        count = x.size
        mean = float(x.sum()) / count
        away = x - mean
        spread = float(away @ away)
        slope = float(away @ y) / spread
        u2 = float(noise @ noise) / count
        lines.append((float(y.sum()) / count - slope * mean, slope, u2 / count + mean**2 * u2 / spread))
    (level_0, slope_0, var_0), (level_1, slope_1, var_1) = lines
    step = float(time_s[1] - time_s[0])
    bend = slope_1 - slope_0
    u = math.hypot(math.sqrt(var_0 + var_1) / abs(bend), step / math.sqrt(12.0)) if bend else window * step
    cross = -(level_1 - level_0) / bend if bend else 0.0
    limit = window * step / 2.0
    return Estimate(at_s + min(max(cross, -limit), limit), min(u, limit), float(2 * window - 4))
