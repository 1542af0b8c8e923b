"""One channel with all that is known of it, and the guarded decision on one of its numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Features
from loomproof.diagnose.rules.decide import Decision, decide, probability_of_conformity, risk_among_parts
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
        Pass, fail or unsure, with its probability of conformity and its risk.
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
            decision = Decision(Verdict.UNSURE, decision.probability, None)
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
        decision.probability,
        decision.risk,
    )


def vouched(
    verdict: PropertyVerdict, measured: Estimate, band: LimitBand, sisters: LimitBand | None
) -> PropertyVerdict:
    """Simple acceptance (JCGM 106:2012, 8.2.1) in place of a guarded one, where the sisters vouch for a value.

    A fault of one circuit sets it off from its sisters, so one that is like them and inside its limits is not to be
    doubted for lying within the measurement's uncertainty of their edge. A measurement that could not tell the limits
    apart (its expanded uncertainty beyond half their distance: capability index under 1, 7.6.3 there) proves nothing.

    Args:
        verdict: the guarded one.
        measured: the value.
        band: the limits it was held against.
        sisters: what the other loads of its type say; None where there are too few.

    Returns:
        A pass in place of an unsure where the sisters vouch for it, else the verdict as it is.
    """
    if verdict.verdict is not Verdict.UNSURE or sisters is None or 4.0 * measured.u > band.high - band.low:
        return verdict
    low, high = max(band.low, sisters.low), min(band.high, sisters.high)
    if not low <= measured.value <= high:
        return verdict
    reason = "inside its limits, and like its sisters"
    risk = risk_among_parts(measured, band.low, band.high)
    return replace(verdict, verdict=Verdict.PASS, reason=reason, risk=risk)


def _predicted(
    channel: int, about: Property, measured: Estimate, band: LimitBand, unit: str
) -> PropertyVerdict:
    """Against the limits of a prediction, which hold the measurement's uncertainty already."""
    low, high = band.low - band.doubt_below, band.high + band.doubt
    verdict = Verdict.PASS if band.low <= measured.value <= band.high else Verdict.UNSURE
    if not low <= measured.value <= high:
        verdict = Verdict.FAIL
    conforms = probability_of_conformity(measured, low, high)
    risk = {Verdict.PASS: 1.0 - conforms, Verdict.FAIL: conforms}.get(verdict)
    reason = _reason(verdict, measured, band, unit)
    return PropertyVerdict(
        channel, about, verdict, measured, band.low, band.high, unit, band.source, reason, conforms, risk
    )


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
