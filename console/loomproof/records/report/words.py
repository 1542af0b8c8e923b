"""Numbers, times and verdicts in the wording of the report."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import ROUND_HALF_EVEN, Decimal

from loomproof.diagnose.faults.registry import FAULTS
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Verdict
from loomproof.records.models import EstimateFact

COVERAGE_FACTOR = 2.0
"""k of the expanded uncertainty U = k u (JCGM 100:2008, 6.2): about 95 % for a normal distribution."""


@dataclass(frozen=True)
class VerdictMark:
    """A verdict as a word and a shape; colour is only an addition. `shape` names a symbol of the template."""

    word: str
    shape: str


MARKS: dict[str, VerdictMark] = {
    Verdict.PASS: VerdictMark("pass", "pass"),
    Verdict.FAIL: VerdictMark("fail", "fail"),
    Verdict.UNSURE: VerdictMark("unsure", "unsure"),
    Verdict.NOT_TESTED: VerdictMark("not tested", "untested"),
    Verdict.NOT_FITTED: VerdictMark("not fitted", "unfitted"),
    "": VerdictMark("no verdict", "untested"),
}


def mark(verdict: str) -> VerdictMark:
    """Return the mark of a verdict; an unknown one keeps its word and is never shown as a pass."""
    word = verdict.replace("_", " ")
    return MARKS.get(word, VerdictMark(word, "unsure"))


def fault_name(fault: str) -> str:
    """Return a fault in the trade's words; an unknown one keeps its own word."""
    return FAULTS[FaultKind(fault)].name if fault in set(FaultKind) else fault.replace("_", " ")


@dataclass(frozen=True)
class Unit:
    """The way a unit is shown: its symbol, and the factor by which values are multiplied for it."""

    symbol: str
    factor: float


_SYMBOLS = {"ohm": "Ω", "h": "H", "henry": "H", "a": "A", "v": "V", "s": "s", "w": "W", "hz": "Hz"}
_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"))
_SCALED = {"H", "s", "A"}


def unit_for(unit: str, *values: float | None) -> Unit:
    """Return the unit with the prefix in which the largest of `values` reads best (mH, ms, mA)."""
    symbol = _SYMBOLS.get(unit.lower(), unit)
    sizes = [abs(v) for v in values if v is not None and math.isfinite(v)]
    if symbol not in _SCALED or not sizes:
        return Unit(symbol, 1.0)
    largest = max(sizes)
    for scale, prefix in _PREFIXES:
        if largest >= scale:
            return Unit(prefix + symbol, 1.0 / scale)
    return Unit("µ" + symbol, 1e6)


def _has_uncertainty(value: float, expanded_u: float) -> bool:
    """Return whether an uncertainty is shown: a finite value without one stands alone."""
    return not (math.isfinite(value) and math.isfinite(expanded_u) and expanded_u <= 0.0)


def expanded(value: float, expanded_u: float) -> str:
    """Return `value ± U`, U with two significant digits and the value rounded to the same place.

    As JCGM 100:2008, 7.2.2 and 7.2.6. Values that are not finite are shown as such.
    """
    if not _has_uncertainty(value, expanded_u):
        return f"{value:.6g}"
    if not (math.isfinite(value) and math.isfinite(expanded_u)):
        return f"{value:g} ± {expanded_u:g}"
    place = Decimal(1).scaleb(math.floor(math.log10(expanded_u)) - 1)
    u = Decimal(repr(expanded_u)).quantize(place, ROUND_HALF_EVEN)
    if u >= place * 100:  # 9.96 became 10.0: still two digits
        place = place.scaleb(1)
        u = u.quantize(place, ROUND_HALF_EVEN)
    v = Decimal(repr(value)).quantize(place, ROUND_HALF_EVEN)
    return f"{v:f} ± {u:f}".replace("-", "−")


def measured(estimate: EstimateFact | None, unit: str, *limits: float | None) -> str:
    """Return a measured value with its expanded uncertainty and unit; empty when nothing was measured."""
    if estimate is None:
        return ""
    shown = unit_for(unit, estimate.value, *limits)
    value, expanded_u = estimate.value * shown.factor, COVERAGE_FACTOR * estimate.u * shown.factor
    text = expanded(value, expanded_u)
    if shown.symbol and _has_uncertainty(value, expanded_u):
        text = f"({text})"
    return f"{text} {shown.symbol}".strip()


def number(value: float) -> str:
    """Return a limit without needless digits."""
    return f"{value:.4g}".replace("-", "−")


def limits(low: float | None, high: float | None, unit: str, value: float | None = None) -> str:
    """Return limits in words: `12.6 to 15.4 Ω`, `at least 3 A`, `at most 2 Ω`; empty without any.

    Args:
        low: lower limit, if any.
        high: upper limit, if any.
        unit: unit of the limits.
        value: a value that is shown with them, so that it gets the same prefix.
    """
    shown = unit_for(unit, low, high, value)
    if low is None and high is None:
        return ""
    if low is not None and high is not None:
        text = f"{number(low * shown.factor)} to {number(high * shown.factor)}"
    elif low is not None:
        text = f"at least {number(low * shown.factor)}"
    else:
        text = f"at most {number((high or 0.0) * shown.factor)}"
    return f"{text} {shown.symbol}".strip()


_ASCII_UNITS = (
    (re.compile(r"\+-\s?"), "±"),
    (re.compile(r"(?<=\d) ?degC\b"), " °C"),
    (re.compile(r"(?<=[\d)]) (m|k)?ohm\b"), r" \1Ω"),
    (re.compile(r"(?<=\d) us\b"), " µs"),
)


def typeset(text: str) -> str:
    """Return a sentence with signs in place of their ASCII spelling, and with a capital at its start."""
    for pattern, sign in _ASCII_UNITS:
        text = pattern.sub(sign, text)
    return text[:1].upper() + text[1:]


def moment(when: datetime) -> str:
    """Return date and time to the second, in UTC."""
    return when.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S")


def clock(when: datetime) -> str:
    """Return the time of day to the second, in UTC."""
    return when.astimezone(UTC).strftime("%H:%M:%S")


def count(n: int, one: str, many: str = "") -> str:
    """Return `1 trace`, `2 traces`, `no traces`."""
    word = one if n == 1 else many or one + "s"
    return f"{n or 'no'} {word}"


def listed(items: list[str]) -> str:
    """Return `a`, `a and b`, `a, b and c`."""
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
