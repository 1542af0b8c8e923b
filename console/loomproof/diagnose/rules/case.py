"""One channel with all that is known of it, and the decision on one of its numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Features
from loomproof.diagnose.predict.loom import Predictions
from loomproof.diagnose.predict.odds import Predicted
from loomproof.diagnose.predict.resistances import WeakFeed
from loomproof.diagnose.rules.decide import Decision, bounds, by_odds, decide
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence
from loomproof.facts.signature import GapKind, Signature
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.catalogue import LoadType


@dataclass(frozen=True)
class ChannelCase:
    """One channel with all that is known of it."""

    channel: int
    load: LoadType
    own: ChannelEvidence
    features: Features
    expected: Expectations
    predicted: Predictions = field(default_factory=Predictions)
    weak_feed: WeakFeed | None = None

    @property
    def signature(self) -> Signature | None:
        """From the load's own pulse."""
        return self.own.signature

    def say(self, about: Property, verdict: Verdict, reason: str, limit_source: str = "") -> PropertyVerdict:
        """A verdict that rests on no number.

        Args:
            about: the property.
            verdict: of it.
            reason: why, for a person.
            limit_source: where the limits come from, if there are any.

        Returns:
            The verdict of this channel.
        """
        return PropertyVerdict(self.channel, about, verdict, reason=reason, limit_source=limit_source)


def against(
    case_channel: int, about: Property, measured: Estimate, band: LimitBand, unit: str
) -> PropertyVerdict:
    """A guarded decision. The limits' own uncertainty (temperature) widens the guard of a fail only.

    A sound part at a temperature not quite known is not to be doubted for that; a part is only failed when no
    such temperature, and nothing else that the band leaves in doubt, explains it.

    Args:
        case_channel: the channel.
        about: the property.
        measured: its value.
        band: its limits.
        unit: of value and limits.

    Returns:
        Pass, fail or unsure.
    """
    if band.same_scale:
        measured = replace(measured, u=measured.u_random, u_gain=0.0)
    if band.statistical:
        return _predicted(case_channel, about, measured, band, unit)
    decision = decide(measured, band.low, band.high)
    compared = measured
    if band.u:
        compared = Estimate(measured.value, math.hypot(measured.u, band.u), measured.dof, measured.u_gain)
    if decision.verdict is not Verdict.PASS:
        decision = decide(compared, band.low - band.doubt_below, band.high + band.doubt)
        if decision.verdict is Verdict.PASS:
            decision = Decision(Verdict.UNSURE, decision.probability)
    return PropertyVerdict(
        case_channel,
        about,
        decision.verdict,
        compared,
        band.low,
        band.high,
        unit,
        band.source,
        _reason(decision.verdict, measured, band, unit),
    )


_COARSEST = 0.25
"""Relative standard uncertainty beyond which a value proves nothing; judgement of this project, unchecked."""
_TOO_COARSE = "measured too coarsely to tell a faulty part from a sound one"


def weighed(
    case_channel: int,
    about: Property,
    measured: Estimate,
    predicted: Predicted,
    known: LimitBand,
    *,
    innocent: bool = False,
) -> PropertyVerdict:
    """By how much likelier the value is with a fault that matters than without one.

    Args:
        case_channel: the channel.
        about: the property.
        measured: its value.
        predicted: what a sound part would measure there.
        known: where the stated value comes from, and up to where a value has an innocent explanation.
        innocent: such an explanation may hold, so that what it reaches is not failed.

    Returns:
        Pass, fail or unsure; its limits are those between which such a value is passed.
    """
    odds, unit = predicted.at(measured.value), _UNITS[about]
    verdict = by_odds(about, odds)
    low, high = predicted.limits(bounds(about).doubt)
    reached = known.low - known.doubt_below <= measured.value <= known.high + known.doubt
    if verdict is Verdict.FAIL and innocent and reached:
        verdict = Verdict.UNSURE
    coarse = measured.relative > _COARSEST
    if coarse and verdict is Verdict.PASS:
        verdict = Verdict.UNSURE
    band = LimitBand(low, high, predicted.quantile(0.5), 0.0, known.source)
    return PropertyVerdict(
        case_channel,
        about,
        verdict,
        measured,
        low,
        high,
        unit,
        known.source,
        _TOO_COARSE if coarse and verdict is Verdict.UNSURE else _why(verdict, measured, band, unit, odds),
        odds,
    )


def _why(verdict: Verdict, measured: Estimate, band: LimitBand, unit: str, odds: float) -> str:
    if verdict is Verdict.PASS:
        return "as a sound part would measure"
    off = _amount(measured.value - band.middle, unit)
    side = "above" if measured.value > band.middle else "below"
    sure = "far" if verdict is Verdict.FAIL else "too far"
    return (
        f"{sure} {side} what a sound part would measure here, {off}; a fault makes it {_times(odds)} likelier"
    )


def _times(odds: float) -> str:
    times = math.exp(min(odds, 20.0))
    return f"{times:.2g} times" if times < 1000.0 else "over 1000 times"


def _predicted(
    channel: int, about: Property, measured: Estimate, band: LimitBand, unit: str
) -> PropertyVerdict:
    """Against the limits of a prediction, which hold the measurement's uncertainty already."""
    low, high = band.low - band.doubt_below, band.high + band.doubt
    verdict = Verdict.PASS if band.low <= measured.value <= band.high else Verdict.UNSURE
    if not low <= measured.value <= high:
        verdict = Verdict.FAIL
    reason = _reason(verdict, measured, band, unit)
    return PropertyVerdict(channel, about, verdict, measured, band.low, band.high, unit, band.source, reason)


def _reason(verdict: Verdict, measured: Estimate, band: LimitBand, unit: str) -> str:
    """Why, and by how much it is off the middle of what it was compared with."""
    if verdict is Verdict.PASS:
        return "inside its limits"
    off = _amount(measured.value - band.middle, unit)
    if verdict is Verdict.FAIL:
        side = "above its limit" if measured.value > band.high else "below its limit"
        return f"{side}, {off} against {band.among}"
    side = "too near a limit for the uncertainty of this measurement"
    if not band.low <= measured.value <= band.high:
        side = "outside its limits, but not by enough to be sure"
    return f"{side}, {off} against {band.among}"


_UNITS = {Property.RESISTANCE: "ohm", Property.INDUCTANCE: "H", Property.INRUSH: "A"}
_SHOWN = {"H": (1e3, "mH"), "ohm": (1.0, "ohm"), "A": (1.0, "A")}


def _amount(value: float, unit: str) -> str:
    factor, shown = _SHOWN.get(unit, (1.0, unit))
    return f"{value * factor:+.2g} {shown}"


def worst(verdicts: list[PropertyVerdict]) -> PropertyVerdict | None:
    """The worst verdict; of equal ones that with the narrowest limits."""
    order = {Verdict.FAIL: 0, Verdict.UNSURE: 1, Verdict.PASS: 2}
    return min(verdicts, key=lambda v: (order[v.verdict], (v.high or 0.0) - (v.low or 0.0)), default=None)


def why_missing(case: ChannelCase, what: str) -> str:
    """Why a quantity was not measured."""
    signature = case.signature
    if signature is None:
        return "no pulse was measured"
    reasons = [gap.text for gap in signature.gaps if gap.kind is GapKind.VALUE]
    return "; ".join(reasons) if reasons else f"this pulse does not give the {what}"
