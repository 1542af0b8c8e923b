"""One verdict per channel and property, each against limits that name their source."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from loomproof.diagnose.decide import decide
from loomproof.diagnose.evidence import Noticed
from loomproof.diagnose.expect import LOGIC_KINDS, Band, Expectations, expect
from loomproof.diagnose.features import Conduct, Features, Rest, features_of
from loomproof.diagnose.verdicts import Property, PropertyVerdict, Verdict
from loomproof.job.kinds import LoadKind, Suppression
from loomproof.measure.quantities import Estimate
from loomproof.measure.signature import Moved, OffShape, Signature

if TYPE_CHECKING:
    from loomproof.diagnose.evidence import ChannelEvidence, LoomEvidence
    from loomproof.job.catalogue import LoadType
    from loomproof.job.model import Job

WEAK_SOURCE_OHM = 0.25  # battery, leads and clips; common practice, no source
_WOUND_KINDS = frozenset({LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.STEPPER, LoadKind.COIL})
_ACTING_BY_CURRENT = frozenset({LoadKind.LAMP, LoadKind.MOTOR})
_SUPPRESSED_AS = {
    Suppression.NONE: OffShape.CLAMP,
    Suppression.DIODE: OffShape.DIODE,
    Suppression.RESISTOR: OffShape.RESISTOR,
}


@dataclass(frozen=True)
class _Case:
    """One channel with all that is known of it."""

    channel: int
    load: LoadType
    own: ChannelEvidence
    features: Features
    expected: Expectations

    @property
    def signature(self) -> Signature | None:
        return self.own.signature

    def say(self, about: Property, verdict: Verdict, reason: str, limit_source: str = "") -> PropertyVerdict:
        return PropertyVerdict(self.channel, about, verdict, reason=reason, limit_source=limit_source)


def judge(job: Job, evidence: LoomEvidence) -> tuple[PropertyVerdict, ...]:
    """All verdicts of a loom, in channel order; a channel that is not fitted gets `not fitted` only."""
    expected = expect(job, evidence)
    verdicts: list[PropertyVerdict] = []
    for item in sorted(job.channels, key=lambda c: c.channel):
        number = item.channel
        if not item.fitted:
            reason = "the job says that this load is not fitted"
            verdicts.append(PropertyVerdict(number, Property.CONTINUITY, Verdict.NOT_FITTED, reason=reason))
            continue
        case = _Case(
            number,
            job.load_type(number),
            evidence.of(number),
            features_of(job, evidence, expected, number),
            expected,
        )
        for rule in _RULES:
            verdict = rule(case)
            if verdict is not None:
                verdicts.append(verdict)
    return tuple(verdicts)


def against(case_channel: int, about: Property, measured: Estimate, band: Band, unit: str) -> PropertyVerdict:
    """A guarded decision. The limits' own uncertainty (temperature) widens the guard of a fail only.

    A sound part at a temperature not quite known is not to be doubted for that; a part is only failed when no
    such temperature, and nothing else that the band leaves in doubt, explains it.
    """
    decision = decide(measured, band.low, band.high)
    compared = replace(measured, u=math.hypot(measured.u, band.u))
    if decision.verdict is not Verdict.PASS:
        decision = decide(compared, band.low, band.high + band.doubt)
        if decision.verdict is Verdict.PASS:
            decision = replace(decision, verdict=Verdict.UNSURE, risk=None)
    words = {
        Verdict.PASS: "inside its limits",
        Verdict.FAIL: "above its limit" if measured.value > band.high else "below its limit",
        Verdict.UNSURE: "too near a limit for the uncertainty of this measurement",
    }
    return PropertyVerdict(
        case_channel,
        about,
        decision.verdict,
        compared,
        band.low,
        band.high,
        unit,
        band.source,
        words.get(decision.verdict, ""),
        decision.probability,
        decision.risk,
    )


def _worst(verdicts: list[PropertyVerdict]) -> PropertyVerdict | None:
    order = {Verdict.FAIL: 0, Verdict.UNSURE: 1, Verdict.PASS: 2}
    return min(verdicts, key=lambda v: (order[v.verdict], (v.high or 0.0) - (v.low or 0.0)), default=None)


def _continuity(case: _Case) -> PropertyVerdict:
    about, seen = Property.CONTINUITY, case.features
    if seen.conduct is Conduct.EXCESS:
        return case.say(about, Verdict.FAIL, "far too much current: a short on this circuit")
    if seen.rest is Rest.GROUNDED:
        return case.say(about, Verdict.FAIL, "the pin rests at ground with the output off: a short to ground")
    if seen.conduct is Conduct.NONE:
        where = {
            Rest.CONNECTED: " although the pin rests at the supply",
            Rest.FLOATING: " and the pin floats: the circuit is open",
        }.get(seen.rest, "")
        return case.say(about, Verdict.FAIL, f"no current flows{where}")
    if seen.rest is Rest.FLOATING:
        if seen.conduct is Conduct.FLOWS:
            reason = (
                "current flows, yet the resting pin floated: an unsteady contact, or a plug moved in between"
            )
            return case.say(about, Verdict.UNSURE, reason)
        return case.say(about, Verdict.FAIL, "the resting pin floats: the circuit is open")
    if seen.rest is Rest.BETWEEN:
        reason = "the resting pin is neither at the supply nor at the bias: a leak, or a poor contact"
        return case.say(about, Verdict.UNSURE, reason)
    if seen.conduct is Conduct.FLOWS:
        return case.say(about, Verdict.PASS, "current flows when the channel is on")
    if seen.rest is Rest.CONNECTED:
        reason = "the pin rests at the supply, which a short across the load would also do; drive it to know"
        return case.say(about, Verdict.UNSURE, reason)
    return case.say(about, Verdict.NOT_TESTED, "neither the resting pin nor a pulse was seen")


def _resistance(case: _Case) -> PropertyVerdict | None:
    measured, about = case.features.resistance, Property.RESISTANCE
    if case.channel not in case.expected.resistance and case.channel not in case.expected.baseline:
        return None
    if measured is None:
        return case.say(about, Verdict.NOT_TESTED, _why_missing(case, "resistance"))
    bands = [
        m.get(case.channel) for m in (case.expected.resistance, case.expected.sisters, case.expected.baseline)
    ]
    known = [b for b in bands if b is not None]
    verdict = _worst([against(case.channel, about, measured, band, "ohm") for band in known])
    if verdict is None:
        return None
    if case.features.unsteady:
        reason = "the resistance changes from pulse to pulse: an unsteady contact"
        worst = Verdict.FAIL if verdict.verdict is Verdict.FAIL else Verdict.UNSURE
        return replace(verdict, verdict=worst, reason=reason, risk=None)
    if verdict.verdict is Verdict.PASS:
        blind = max(
            min(b.high for b in known) + 2.0 * measured.u - min(max(b.low for b in known), measured.value), 0
        )
        return replace(
            verdict, reason=f"{verdict.reason}; a joint of less than {blind:.2g} ohm would not be seen"
        )
    return verdict


def _why_missing(case: _Case, what: str) -> str:
    signature = case.signature
    if signature is None:
        return "no pulse was measured"
    reasons = [r for r in signature.refusals if not r.startswith(("motion", "after the pulse"))]
    return "; ".join(reasons) if reasons else f"this pulse does not give the {what}"


def _inductance(case: _Case) -> PropertyVerdict | None:
    measured, about = case.features.inductance, Property.INDUCTANCE
    if case.load.kind not in _WOUND_KINDS or case.channel not in case.expected.inductance:
        return None
    if measured is None:
        return case.say(about, Verdict.NOT_TESTED, _why_missing(case, "inductance"))
    bands = [case.expected.inductance[case.channel], case.expected.inductance_sisters.get(case.channel)]
    verdict = _worst(
        [against(case.channel, about, measured, band, "H") for band in bands if band is not None]
    )
    own = case.signature is not None and case.signature.inductance_h is not None
    if own or verdict is None or verdict.verdict is Verdict.FAIL:
        return verdict
    return case.say(about, Verdict.NOT_TESTED, _why_missing(case, "inductance"))  # a sense pulse only accuses


_NOTICED = {
    Noticed.HEARD: "the operator heard it",
    Noticed.SEEN: "the operator saw it",
    Noticed.NOTHING: "the operator noticed nothing",
}


def _action(case: _Case) -> PropertyVerdict | None:
    about, noticed = Property.ACTION, case.features.noticed
    if case.signature is None and noticed is Noticed.NOT_ASKED:
        return case.say(about, Verdict.NOT_TESTED, "it was not driven")
    if case.features.conduct in {Conduct.NONE, Conduct.EXCESS}:
        return case.say(about, Verdict.FAIL, "its circuit is not sound, so it cannot act")
    if case.load.moves:
        return _moving_action(case)
    if case.load.kind in _ACTING_BY_CURRENT and case.signature is not None:
        return _current_action(case)
    if noticed in {Noticed.HEARD, Noticed.SEEN}:
        return case.say(about, Verdict.PASS, _NOTICED[noticed])
    if noticed is Noticed.NOTHING:
        if case.load.kind is LoadKind.STEPPER:
            reason = "nothing was noticed: one winding alone moves little, but all in turn run the spindle"
            return case.say(about, Verdict.UNSURE, f"{reason}; are two of them exchanged?")
        return case.say(
            about, Verdict.UNSURE, "nothing was noticed, and its current does not show its action"
        )
    return case.say(about, Verdict.NOT_TESTED, "its current does not show its action, and nobody was asked")


def _moving_action(case: _Case) -> PropertyVerdict:
    about, noticed = Property.ACTION, case.features.noticed
    moved = case.features.moved or Moved.CANNOT_TELL
    seen = noticed in {Noticed.HEARD, Noticed.SEEN}
    source = "dip in the current"
    if moved is Moved.YES:
        when = case.signature.move_time_s if case.signature else None
        at = f" {when.value * 1e3:.2f} ms after switching on" if when else ""
        return case.say(about, Verdict.PASS, f"the current dips as the armature lands{at}", source)
    if moved is Moved.NO:
        if seen:
            reason = f"no dip in the current, yet {_NOTICED[noticed]}: was it this load?"
            return case.say(about, Verdict.UNSURE, reason, source)
        return case.say(
            about, Verdict.FAIL, "the current shows no landing: the armature does not move", source
        )
    if seen:
        return case.say(about, Verdict.PASS, f"{_NOTICED[noticed]}; the current alone cannot tell")
    note = "nobody was asked" if noticed is Noticed.NOT_ASKED else _NOTICED[noticed]
    return case.say(about, Verdict.UNSURE, f"the current cannot tell whether it moved, and {note}", source)


def _current_action(case: _Case) -> PropertyVerdict:
    about, noticed = Property.ACTION, case.features.noticed
    inrush, steady = case.features.inrush, case.features.steady
    if inrush is None or steady is None or steady.value <= 0.0:
        if noticed in {Noticed.HEARD, Noticed.SEEN}:
            return case.say(about, Verdict.PASS, _NOTICED[noticed])
        return case.say(about, Verdict.UNSURE, "inrush and steady current were not both seen")
    fall = inrush.value / steady.value
    u = fall * math.hypot(inrush.relative, steady.relative)
    if fall - 2.0 * u > 1.5:
        what = "the filament heats up" if case.load.kind is LoadKind.LAMP else "the motor turns"
        return case.say(about, Verdict.PASS, f"the current falls to 1/{fall:.1f} of its inrush: {what}")
    if fall + 2.0 * u < 1.2:
        if noticed in {Noticed.HEARD, Noticed.SEEN}:
            reason = f"the current stays at its inrush, yet {_NOTICED[noticed]}"
            return case.say(about, Verdict.UNSURE, reason)
        return case.say(about, Verdict.FAIL, "the current stays at its inrush: nothing heats up or turns")
    return case.say(about, Verdict.UNSURE, f"the current falls only to 1/{fall:.1f} of its inrush")


def _suppression(case: _Case) -> PropertyVerdict | None:
    if case.load.kind not in {LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.STEPPER}:
        return None
    about, seen = Property.SUPPRESSION, case.features.off_shape
    due = _SUPPRESSED_AS[case.load.suppression]
    source = f"the job: suppression {case.load.suppression}"
    signature = case.signature
    if signature is None or case.features.conduct is not Conduct.FLOWS:
        return case.say(about, Verdict.NOT_TESTED, "no pulse was seen to its end", source)
    if seen is due:
        return _resistor_value(case) or case.say(about, Verdict.PASS, _OFF_WORDS[seen], source)
    if seen is OffShape.CANNOT_TELL or (seen is OffShape.NOTHING and signature.tripped):
        reason = next(
            (r for r in signature.refusals if r.startswith("after the pulse")), "the decay was not seen"
        )
        return case.say(about, Verdict.UNSURE, reason, source)
    return case.say(
        about, Verdict.FAIL, f"{_OFF_WORDS[seen]}, not as its {case.load.suppression} would", source
    )


def _resistor_value(case: _Case) -> PropertyVerdict | None:
    ohm, due = case.signature.suppression_ohm if case.signature else None, case.load.suppression_ohm
    if case.load.suppression is not Suppression.RESISTOR or ohm is None or due is None or ohm.relative > 0.15:
        return None
    source = f"{due.value:.4g} ohm +-{due.tolerance_percent:g} % ({due.source})"
    # Its value matters to a factor of two at most; the job's own tolerance is a part's, not a function's.
    band = Band(0.5 * due.low, 2.0 * due.high, due.value, 0.0, f"half to twice {source}")
    return against(case.channel, Property.SUPPRESSION, ohm, band, "ohm")


_OFF_WORDS = {
    OffShape.CLAMP: "after the pulse the pin goes to the driver's clamp",
    OffShape.DIODE: "after the pulse the pin stays a diode's drop above the supply",
    OffShape.RESISTOR: "after the pulse the pin falls back slowly, as with a resistor",
    OffShape.NOTHING: "after the pulse no energy comes back",
    OffShape.CANNOT_TELL: "the decay was not seen",
}


def _inrush(case: _Case) -> PropertyVerdict | None:
    if case.load.kind not in _ACTING_BY_CURRENT:
        return None
    about, band = Property.INRUSH, case.expected.steady.get(case.channel)
    if case.features.steady is None or band is None:
        return case.say(about, Verdict.NOT_TESTED, _why_missing(case, "steady current"))
    verdict = against(case.channel, about, case.features.steady, band, "A")
    inrush = case.features.inrush
    if inrush is None:
        return verdict
    times = inrush.value / case.features.steady.value
    note = f"{verdict.reason}; inrush {inrush.value:.2f} A, {times:.1f} times"
    return replace(verdict, reason=note)


def _feed(case: _Case) -> PropertyVerdict | None:
    about, source = Property.FEED, case.features.source_ohm
    if case.load.kind in LOGIC_KINDS:
        return None
    if source is None:
        return case.say(about, Verdict.NOT_TESTED, "no loaded supply was seen")
    band = Band(
        -math.inf,
        WEAK_SOURCE_OHM,
        0.03,
        0.0,
        f"source up to {WEAK_SOURCE_OHM:g} ohm (common practice, no source)",
    )
    if source.u > WEAK_SOURCE_OHM / 4.0:
        return case.say(about, Verdict.NOT_TESTED, "this load's current is too small to see the supply sag")
    verdict = against(case.channel, about, source, replace(band, low=-1e9), "ohm")
    return replace(verdict, low=None)


def _location(case: _Case) -> PropertyVerdict | None:
    about, pull = Property.LOCATION, case.features.pull
    if pull is None or pull.outcome == "skipped":
        return case.say(about, Verdict.NOT_TESTED, "its connector was not pulled")
    if pull.outcome == "matched":
        return case.say(about, Verdict.PASS, "pulling its connector opened this channel and no other")
    if pull.outcome == "other":
        named = ", ".join(str(c) for c in pull.moved_channels)
        return case.say(about, Verdict.FAIL, f"pulling its connector opened channel {named} instead")
    if pull.outcome == "several":
        named = ", ".join(str(c) for c in pull.moved_channels)
        return case.say(about, Verdict.FAIL, f"pulling its connector changed several channels: {named}")
    return case.say(about, Verdict.UNSURE, "pulling its connector changed nothing that the box can see")


def _contact(case: _Case) -> PropertyVerdict | None:
    """Whether the path holds while the loom is flexed; None where no wiggle test was asked for."""
    about, dropouts = Property.CONTACT, case.features.dropouts
    if dropouts:
        times = "once" if dropouts == 1 else f"{dropouts} times"
        return case.say(about, Verdict.FAIL, f"it let go {times} while the loom was flexed: a contact opens")
    if case.own.watched:
        return case.say(about, Verdict.PASS, "it held while the loom was flexed")
    if case.own.unwatchable:
        reason = "its pin shows no load at rest, so nothing could be watched while the loom was flexed"
        return case.say(about, Verdict.NOT_TESTED, reason)
    return None


_RULES: tuple[Callable[[_Case], PropertyVerdict | None], ...] = (
    _continuity,
    _resistance,
    _inductance,
    _action,
    _suppression,
    _inrush,
    _feed,
    _location,
    _contact,
)
