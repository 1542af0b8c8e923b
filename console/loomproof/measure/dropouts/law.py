"""What a watched value should be at every instant, from the supply measured beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]


SLOW_S = 30e-3
_LAGS_S = (0.0, *(0.05e-3 * 1.2**k for k in range(34)))  # to 20 ms
_WORTH = 25.0  # fall of chi-square from which a regression on the supply is believed
_MOST_GAIN = 3.0  # times what a plain resistance would have
_CLIP = 4.0
_WILD_SUPPLY = 1.5  # of the learned swing, beyond which the supply is not what was learned


class Lag:
    """First-order lag of a sampled value, straight between samples; its state runs on from block to block."""

    def __init__(self, tau_s: float, sample_hz: float) -> None:
        self._none = tau_s <= 0.0
        if self._none:
            return
        step = 1.0 / (sample_hz * tau_s)
        a = math.exp(-step)
        share = -math.expm1(-step) / step
        self._b = np.array([1.0 - share, share - a])
        self._a = np.array([1.0, -a])
        self._zi: Floats | None = None

    def run(self, values: Floats) -> Floats:
        """The lagging value, as if the first one had been there for ever."""
        if self._none:
            return values
        if self._zi is None:
            self._zi = np.array([(1.0 - self._b[0]) * values[0]])
        out, self._zi = signal.lfilter(self._b, self._a, values, zi=self._zi)
        return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True)
class Law:
    """The watched value from the supply: its slow part by the load's own law, the fast part as regressed.

    value = level * (1 + slow_gain * (slow supply / supply_v - 1)) + fast_gain * (lagging supply - slow supply)

    Attributes:
        lag_s: time constant from supply to value (L / R of a winding; 0 for a pin).
        fast_gain: per volt.
        swing_v: largest departure of the supply from its slow part while learning.
        rise_v: what the supply may rise above that when the load itself lets go.
    """

    level: float
    supply_v: float
    slow_gain: float
    lag_s: float
    fast_gain: float
    swing_v: float
    rise_v: float


class Slow:
    """The slow part of the supply: a lag, and the lag of the lag to make up for it, so that a ramp is kept up with."""

    def __init__(self, sample_hz: float) -> None:
        self._once, self._twice = Lag(SLOW_S, sample_hz), Lag(SLOW_S, sample_hz)

    def run(self, values: Floats) -> Floats:
        """The slow part of each sample."""
        once = self._once.run(values)
        return 2.0 * once - self._twice.run(once)


def learn_law(values: Floats, supplies: Floats, sample_hz: float, slow_gain: float, rise_v: float) -> Law:
    """Regresses value on supply; the lag is the one of a fixed set that leaves least.

    Args:
        values: (n,) what is watched.
        supplies: (n,) the supply beside it, V.
        sample_hz: their rate.
        slow_gain: how far the value follows a slow change of the supply, relative.
        rise_v: the most that the supply rises by when the load lets go.

    Returns:
        The law of a sound load.
    """
    slow = Slow(sample_hz).run(supplies)
    half = values.size // 4  # the slow part needs some of its own time constants to be one
    level, supply = bulk_mean(values), bulk_mean(supplies)
    rest = values - level * (1.0 + slow_gain * (slow / supply - 1.0))
    rest = rest[half:] - bulk_mean(rest[half:])
    bound = _CLIP * robust_sigma(rest)
    kept = np.clip(rest, -bound, bound)
    best = float(np.sum(kept**2)) - _WORTH * float(np.var(kept))
    lag_s, gain = 0.0, 0.0
    for tau in _LAGS_S:
        fast = (Lag(tau, sample_hz).run(supplies) - slow)[half:]
        power = float(fast @ fast)
        slope = float(fast @ kept) / power if power > 0.0 else 0.0
        left = float(np.sum((kept - slope * fast) ** 2))
        if left < best and abs(slope) < _MOST_GAIN * abs(level) / supply:
            best, lag_s, gain = left, tau, slope
    swing = np.abs(supplies - slow)[half:]
    return Law(level, supply, slow_gain, lag_s, gain, float(np.quantile(swing, 0.999)), rise_v)


def _bulk(values: Floats) -> Floats:
    """Cut at four sigma until nothing more is cut; a median would not do, it snaps to whole counts."""
    kept = values
    for _ in range(8):
        sigma = float(np.std(kept))
        inside = kept[np.abs(kept - np.mean(kept)) <= _CLIP * sigma]
        if inside.size == kept.size or sigma == 0.0:
            break
        kept = inside
    return kept


def robust_sigma(values: Floats) -> float:
    """Standard deviation of the bulk."""
    return float(np.std(_bulk(values)))


def bulk_mean(values: Floats) -> float:
    """Mean of the bulk."""
    return float(np.mean(_bulk(values)))


class Follower:
    """The law applied block by block: what the value lacks, and where the supply is too wild to say."""

    def __init__(self, law: Law, sample_hz: float) -> None:
        self.law = law
        self._hz = sample_hz
        self._slow = Slow(sample_hz)
        self._fast = Lag(law.lag_s, sample_hz)
        self.shift = 0.0
        self._wild_left = 0
        self._hold = math.ceil(3.0 * law.lag_s * sample_hz) + 1

    def run(self, values: Floats, supplies: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """(n,) value minus expectation, (n,) expectation, (n,) True where nothing can be said."""
        law = self.law
        slow, fast = self._slow.run(supplies), self._fast.run(supplies)
        due = law.level * (1.0 + law.slow_gain * (slow / law.supply_v - 1.0)) + self.shift
        due = due + law.fast_gain * (fast - slow)
        away = supplies - slow
        room = _WILD_SUPPLY * law.swing_v
        wild = (away < -room) | (away > room + law.rise_v)
        return values - due, due, self._held(wild)

    def _held(self, wild: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Wild, and as long after it as the load takes to forget."""
        if not wild.any() and self._wild_left == 0:
            return wild
        out = np.empty_like(wild)
        for k, now in enumerate(wild):
            self._wild_left = self._hold if now else max(self._wild_left - 1, 0)
            out[k] = self._wild_left > 0
        return out
