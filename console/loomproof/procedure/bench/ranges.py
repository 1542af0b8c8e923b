"""How far each setting of a free drive may go, and what sets the limit (pure)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from loomproof.procedure.bench.ways import SWEEPS, Values, Way
from loomproof.safety.approve import ARM_MARGIN_S, LONGEST_ARM_S
from loomproof.safety.budget import Budget, Limit
from loomproof_wire.messages import CEILINGS

LONGEST_S = LONGEST_ARM_S - ARM_MARGIN_S
"""Of one drive: a hazard class is armed for no longer."""
SLOWEST_HZ = 0.1
MOST_TRAINS = 50
FASTEST_STEPS_HZ, SLOWEST_STEPS_HZ = 1000.0, 1.0
LOWEST_HOLD_PERCENT, HIGHEST_HOLD_PERCENT = 5.0, 95.0
_BOX = "the box's range."
_LASTS = f"one drive lasts {LONGEST_S:g} s at most."


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest value of a setting, and what sets the highest (or, where it is tighter, the lowest)."""

    low: float
    high: float
    why: str
    of_fuel: bool = False
    """What may still be let out into the cylinder sets it; stating the isolation anew lifts that."""


class Bound(NamedTuple):
    """One end of a range, and what sets it."""

    value: float
    why: str
    of_fuel: bool = False

    @classmethod
    def of(cls, limit: Limit, factor: float = 1.0) -> Bound:
        """Return a limit of the budget, times a factor, as a bound."""
        return cls(limit.value * factor, limit.reason, limit.of_fuel)


def _range(low: float, highs: Iterable[Bound], lows: Iterable[Bound] = ()) -> Range:
    highest = min(highs, key=lambda bound: bound.value)
    lowest = max([highest._replace(value=low), *lows], key=lambda bound: bound.value)
    tighter = lowest if lowest.value > low else highest
    return Range(lowest.value, highest.value, tighter.why, tighter.of_fuel)


def ranges(way: Way, values: Values, budgets: Sequence[Budget]) -> dict[str, Range]:
    """The range of every setting of a way, given the others.

    Args:
        way: how the channel is driven.
        values: the settings as far as they are numbers; of a missing one the harmless end is assumed.
        budgets: of every channel driven and of every load they reach; the tightest holds.
    """
    if way is Way.HOLD:
        return {"duration_ms": _hold_range(budgets)}
    if way is Way.STEPPER:
        return _stepper_ranges(values, budgets)
    if way is Way.BRIDGE:
        level = _range(
            1.0, [Bound(b.max_duty_permille / 10, b.binding("duty_permille").reason) for b in budgets]
        )
        return {"duration_ms": _hold_range(budgets), "level_percent": level}
    return _train_ranges(way, values, budgets)


def _hold_range(budgets: Sequence[Budget]) -> Range:
    return _range(1, [Bound.of(b.binding("hold_ms")) for b in budgets])


def _train_ranges(way: Way, values: Values, budgets: Sequence[Budget]) -> dict[str, Range]:
    shortest_ms = max(b.ceilings.min_on_time_us for b in budgets) / 1e3
    rates = [values[key] for key in ("frequency_hz", "from_hz", "to_hz") if values.get(key, 0) > 0]
    widths = [values[key] for key in ("width_ms", "from_ms", "to_ms") if values.get(key, 0) > 0]
    if way not in SWEEPS:
        rates, widths = rates[:1], widths[:1]
    # A setting that is beyond all reason by itself must not put the others in the wrong.
    fastest = min(max(rates, default=SLOWEST_HZ), *(1e6 / b.min_period_us for b in budgets))
    longest = max(min(max(widths, default=shortest_ms), *(b.max_on_time_us / 1e3 for b in budgets)), 0.001)
    count = min(max(values.get("count", 1), 1), *(max(b.load_count, 1) for b in budgets))
    width = _range(shortest_ms, _width_bounds(fastest, budgets))
    slowest_hz = 1e6 / math.floor(LONGEST_S * 1e6 / count)
    rate = _range(SLOWEST_HZ, _rate_bounds(longest, budgets), [Bound(slowest_hz, _LASTS)])
    pairs = trains_of(way, values) or [(longest, fastest)]
    found = {"count": _range(1, _count_bounds(pairs, budgets))}
    found |= {"frequency_hz": rate, "from_hz": rate, "to_hz": rate}
    found |= {"width_ms": width, "from_ms": width, "to_ms": width}
    found["trains"] = Range(2, MOST_TRAINS, "a sweep has at least two trains.")
    found["peak_ms"] = Range(shortest_ms, longest, "the peak ends with the pulse.")
    found["hold_percent"] = Range(LOWEST_HOLD_PERCENT, HIGHEST_HOLD_PERCENT, _BOX)
    return found


def _width_bounds(rate_hz: float, budgets: Sequence[Budget]) -> list[Bound]:
    """In whole microseconds, as the box counts."""
    bounds: list[Bound] = []
    for budget in budgets:
        share = budget.max_duty_permille
        longest = budget.binding("on_time_us")
        bounds.append(Bound(budget.max_on_time_us / 1e3, longest.reason, longest.of_fuel))
        longest_us = round(1e6 / rate_hz) * share // 1000
        bounds.append(
            Bound(longest_us / 1e3, f"on for {share / 10:g} % of the time at most, at {rate_hz:.4g} Hz.")
        )
    return bounds


def _rate_bounds(width_ms: float, budgets: Sequence[Budget]) -> list[Bound]:
    bounds: list[Bound] = []
    for budget in budgets:
        share = budget.max_duty_permille
        bounds.append(Bound(1e6 / budget.min_period_us, budget.binding("period_us").reason))
        shortest_us = -(-round(width_ms * 1e3) * 1000 // share)
        why = f"on for {share / 10:g} % of the time at most, {width_ms:.4g} ms each."
        bounds.append(Bound(1e6 / max(shortest_us, 1), why))
    return bounds


def _count_bounds(pairs: Sequence[tuple[float, float]], budgets: Sequence[Budget]) -> list[Bound]:
    """Most pulses of each train; what fuel the budget leaves is shared by all trains."""
    bounds: list[Bound] = [Bound(math.floor(LONGEST_S * min(rate for _, rate in pairs)), _LASTS)]
    for budget in budgets:
        for width_ms, rate_hz in pairs:
            limit = budget.count_limit(round(width_ms * 1e3), round(1e6 / rate_hz))
            bounds.append(Bound.of(limit))
        model = budget.model
        if model.flow_ul_per_ms is not None and model.liquid_ul is not None and len(pairs) > 1:
            each_ul = sum(model.liquid_released_ul(1, round(width * 1e3)) for width, _ in pairs)
            shared = int(model.liquid_ul / each_ul + 1e-9)
            bounds.append(Bound(shared, "the fuel that the budget leaves is shared by all trains."))
    return bounds


def _stepper_ranges(values: Values, budgets: Sequence[Budget]) -> dict[str, Range]:
    rate = min(max(values.get("rate_hz", SLOWEST_STEPS_HZ), SLOWEST_STEPS_HZ), FASTEST_STEPS_HZ)
    step_us = round(1e6 / rate)
    steps: list[Bound] = [
        Bound(CEILINGS.max_count, _BOX),
        Bound(math.floor(LONGEST_S * rate), _LASTS),
    ]
    rates: list[Bound] = [Bound(FASTEST_STEPS_HZ, _BOX)]
    slowest: list[Bound] = [Bound(SLOWEST_STEPS_HZ, _BOX)]
    for budget in budgets:
        limit: Limit = budget.count_limit(step_us, 4 * step_us)
        steps += [Bound.of(limit, 4), Bound(budget.load_count, "the load type's own limit.")]
        rates.append(Bound(4e6 / budget.min_period_us, budget.binding("period_us").reason))
        longest = budget.binding("on_time_us")
        slowest.append(Bound(1e6 / budget.max_on_time_us, longest.reason, longest.of_fuel))
    return {"steps": _range(1, steps), "rate_hz": _range(SLOWEST_STEPS_HZ, rates, slowest)}


def spread(first: float, last: float, count: int) -> list[float]:
    """Return `count` values from first to last in equal steps."""
    return [first + (last - first) * n / (count - 1) for n in range(count)]


def trains_of(way: Way, values: Values) -> list[tuple[float, float]]:
    """Pulse width in ms and frequency in Hz of each train of a sweep; empty while a setting is missing."""
    count = int(values.get("trains", 0))
    if way not in SWEEPS or not 2 <= count <= MOST_TRAINS:
        return []
    ends, other = (
        (("from_hz", "to_hz"), "width_ms")
        if way is Way.FREQUENCY_SWEEP
        else (("from_ms", "to_ms"), "frequency_hz")
    )
    if any(values.get(key, 0) <= 0 for key in (*ends, other)):
        return []
    swept = spread(values[ends[0]], values[ends[1]], count)
    if way is Way.FREQUENCY_SWEEP:
        return [(values[other], rate) for rate in swept]
    return [(width, values[other]) for width in swept]
