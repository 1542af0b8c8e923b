"""Axis scales: round ends, tick labels and units as the trade writes them. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"))


@dataclass(frozen=True)
class Scale:
    """A linear axis from `low` to `high` in base units, shown as value / `factor` in `unit`."""

    low: float
    high: float
    factor: float
    unit: str

    def fraction(self, value: float) -> float:
        """Return where a value lies, 0 at the low end and 1 at the high end."""
        return (value - self.low) / (self.high - self.low)

    def value(self, fraction: float) -> float:
        """Return the value at a fraction of the axis."""
        return self.low + fraction * (self.high - self.low)

    def ticks(self, most: int) -> list[float]:
        """Return at most so many values, 1, 2 or 5 times a power of ten apart, from low to high."""
        span = self.high - self.low
        power = 10.0 ** math.floor(math.log10(span / max(most - 1, 1)))
        steps = (times * power for times in (1.0, 2.0, 5.0, 10.0, 20.0))
        for step in steps:
            first = math.ceil(self.low / step - 1e-9)
            last = math.floor(self.high / step + 1e-9)
            if last - first < most:
                break
        return [number * step for number in range(first, last + 1)]

    def label(self, value: float, *, with_unit: bool = False) -> str:
        """Return a tick label with three significant figures of the axis' span."""
        shown = value / self.factor
        span = abs(self.high - self.low) / self.factor
        digits = max(0, 2 - math.floor(math.log10(span))) if span > 0 else 0
        text = f"{shown:.{min(digits, 4)}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        text = "0" if text == "-0" else text
        return f"{text} {self.unit}" if with_unit else text


def round_up(value: float) -> float:
    """Return the next of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten at or above a value."""
    if value <= 0 or not math.isfinite(value):
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    for step in (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0):
        if value <= step * power * (1 + 1e-9):
            return step * power
    return 10.0 * power


def choose(low: float, high: float, unit: str) -> Scale:
    """Return a scale that holds [low, high], with a prefix that keeps the labels short."""
    top = round_up(max(high, 0.0)) if high > 0 else 0.0
    bottom = -round_up(-low) if low < -0.02 * max(top, 1e-12) else 0.0
    if top <= bottom:
        top = bottom + 1.0
    reach = max(abs(top), abs(bottom))
    for factor, prefix in _PREFIXES:
        if reach >= factor:
            return Scale(bottom, top, factor, f"{prefix}{unit}")
    factor, prefix = _PREFIXES[-1]
    return Scale(bottom, top, factor, f"{prefix}{unit}")


def choose_time(low_s: float, high_s: float) -> Scale:
    """Return a time scale that ends where the data ends, in s, ms or µs."""
    if high_s <= low_s:
        high_s = low_s + 1e-3
    reach = max(abs(low_s), abs(high_s))
    for factor, prefix in _PREFIXES:
        if reach >= factor:
            return Scale(low_s, high_s, factor, f"{prefix}s")
    return Scale(low_s, high_s, 1e-6, "µs")
