"""Verdicts on a channel's circuit: continuity, resistance, inductance, what happens after the pulse, inrush, supply."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.expected.band import FAIL_RATE, FINE_SOURCE_U_OHM, LimitBand
from loomproof.diagnose.expected.stated import OFF_SHAPE_DUE
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.diagnose.predict.odds import Predicted
from loomproof.diagnose.predict.resistances import WeakFeed
from loomproof.diagnose.rules.case import ChannelCase, against, weighed, why_missing, worst
from loomproof.diagnose.rules.decide import decide
from loomproof.facts.estimate import Estimate
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import GapKind, OffShape
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.load_traits import (
    FILAMENT_KINDS,
    INRUSH_KINDS,
    LOAD_TRAITS,
    LOGIC_KINDS,
    WINDING_KINDS,
    WOUND_KINDS,
    Nature,
)

WEAK_SOURCE_OHM = 0.25  # battery, leads and clips; common practice, no source
_SOUND_SUPPLY = LimitBand(
    -1e9, WEAK_SOURCE_OHM, 0.03, 0.0, f"source up to {WEAK_SOURCE_OHM:g} ohm (common practice, no source)"
)
_COARSE_DOUBT_RATE = 0.05  # chance at which a supply seen coarsely is above its limit and no longer passed
_FAR_TOO_HIGH = 5.0
"""A joint that lets a pin rest a volt below the supply has kilohms; judgment."""
_SEEN_RATE = 0.01  # of circuits with the joint that is printed, so many would still be passed
_FEED_DOUBT, _FEED_FAIL = 1.5, 8.0  # logarithms of odds; doubts on one of 927 sound feeds, simulated
_FEWEST_ON_FEED = 2
_FELT = 0.03  # share of a channel's resistance from which its feed's weakness is its own fault too; judgment
_OFF_WORDS = {
    OffShape.CLAMP: "after the pulse the pin goes to the driver's clamp",
    OffShape.DIODE: "after the pulse the pin stays a diode's drop above the supply",
    OffShape.RESISTOR: "after the pulse the pin falls back slowly, as with a resistor",
    OffShape.NOTHING: "after the pulse no energy comes back",
    OffShape.CANNOT_TELL: "the decay was not seen",
}


def rests_at_ground(case: ChannelCase) -> bool:
    """Whether its load is on while every output is off, so that it loads its feed all the time."""
    return case.features.rest is Rest.GROUNDED and case.features.conduct is not Conduct.EXCESS


def loads_its_feed(case: ChannelCase) -> bool:
    """Whether its load draws so much through a path to ground that what hangs on the same feed seems off."""
    return rests_at_ground(case) or case.features.rest is Rest.BETWEEN


def judge_continuity(case: ChannelCase) -> PropertyVerdict:
    """Whether there is a circuit, and no short."""
    about, seen = Property.CONTINUITY, case.features
    if seen.conduct is Conduct.EXCESS:
        at = f", and the pin rests {seen.rest} with the output off" if seen.rest is Rest.BETWEEN else ""
        return case.say(about, Verdict.FAIL, f"far too much current{at}: a short on this circuit")
    if rests_at_ground(case):
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
    if seen.rest is Rest.BETWEEN and _leaks(case):
        reason = (
            f"the pin rests at {seen.rest_v:.1f} V with the output off: a leak to ground, and the load is on"
        )
        return case.say(about, Verdict.FAIL, reason)
    if seen.rest is Rest.BETWEEN:
        reason = "the resting pin is neither at the supply nor at the bias: a leak, or a poor contact"
        return case.say(about, Verdict.UNSURE, reason)
    if seen.conduct is Conduct.FLOWS:
        return case.say(about, Verdict.PASS, "current flows when the channel is on")
    if seen.rest is Rest.CONNECTED:
        reason = "the pin rests at the supply, which a short across the load would also do; drive it to know"
        return case.say(about, Verdict.NOT_TESTED, reason)
    return case.say(about, Verdict.NOT_TESTED, "neither the resting pin nor a pulse was seen")


def _leaks(case: ChannelCase) -> bool:
    """Whether the way to the load is too good for its pin to rest in between by itself."""
    seen, due, signature = case.features, case.expected.resistance.get(case.channel), case.signature
    if signature is None or seen.conduct is not Conduct.FLOWS or due is None or seen.rest_v is None:
        return False
    current, supply = signature.final_current_a, signature.supply_v
    if current is None or supply is None or current.value <= 0.0:
        return False
    ohm = seen.resistance.value if seen.resistance is not None else supply.value / current.value
    return ohm < _FAR_TOO_HIGH * due.high


def judge_resistance(case: ChannelCase) -> PropertyVerdict | None:
    """Load, wire and feed by the odds of a joint or another part, and against an earlier record: the worst of them."""
    measured, about = case.features.resistance, Property.RESISTANCE
    due, before = case.expected.resistance.get(case.channel), case.expected.baseline.get(case.channel)
    if due is None and before is None:
        return None
    if measured is None:
        return case.say(about, Verdict.NOT_TESTED, why_missing(case, "resistance"))
    predicted = case.predicted.resistance.get(case.channel)
    verdicts = []
    if due is not None and predicted is not None:
        verdicts.append(_by_odds_of_a_joint(case, measured, predicted, due))
    elif due is not None:
        verdicts.append(_not_comparable(case, measured, due))
    if before is not None:
        before = replace(before, doubt=0.0) if case.features.cold else before
        verdicts.append(_not_the_others(case, against(case.channel, about, measured, before, "ohm")))
    verdict = worst(verdicts)
    if verdict is not None and case.features.unsteady:
        reason = "the resistance changes from pulse to pulse: an unsteady contact"
        at_worst = Verdict.FAIL if verdict.verdict is Verdict.FAIL else Verdict.UNSURE
        return replace(verdict, verdict=at_worst, reason=reason)
    return verdict


def _by_odds_of_a_joint(
    case: ChannelCase, measured: Estimate, predicted: Predicted, due: LimitBand
) -> PropertyVerdict:
    """By the channel alone; then by its feed, whose weakness all sisters may share."""
    about = Property.RESISTANCE
    warm = case.load.kind in FILAMENT_KINDS and not case.features.cold
    verdict = weighed(case.channel, about, measured, predicted, due, innocent=warm)
    joint = max((verdict.high or 0.0) - predicted.quantile(_SEEN_RATE), 0.0)
    verdict = replace(verdict, least_joint_ohm=joint)
    weak = case.weak_feed
    if weak is not None and verdict.verdict is not Verdict.FAIL and weak.joint_ohm >= _FELT * measured.value:
        by_feed = _of_feed(weak)
        if by_feed is not Verdict.PASS:
            reason = f"every load of feed {weak.feed} measures as behind {weak.joint_ohm:.2g} ohm too much: a weak feed?"
            return replace(verdict, verdict=by_feed, reason=reason, log_odds=weak.log_odds)
    if verdict.verdict is Verdict.PASS:
        note = f"a joint of less than {joint:.2g} ohm would not be seen"
        return replace(verdict, reason=f"{verdict.reason}; {note}")
    return verdict


def _of_feed(weak: WeakFeed) -> Verdict:
    """One load alone cannot tell its feed from itself; and a set with a faulty part may look like a weak feed."""
    if weak.log_odds <= _FEED_DOUBT:
        return Verdict.PASS
    sure = weak.log_odds > _FEED_FAIL and weak.loads >= _FEWEST_ON_FEED
    return Verdict.FAIL if sure else Verdict.UNSURE


def _not_comparable(case: ChannelCase, measured: Estimate, due: LimitBand) -> PropertyVerdict:
    """No load's current flowed, so its resistance is no part's: held against the job alone."""
    return against(case.channel, Property.RESISTANCE, measured, due, "ohm")


def _not_the_others(case: ChannelCase, verdict: PropertyVerdict) -> PropertyVerdict:
    """Turns that are lost show in the inductance first, so lower than before is not yet a fault."""
    catalogue = case.expected.resistance.get(case.channel)
    measured = verdict.measured
    if verdict.verdict is not Verdict.FAIL or measured is None or verdict.low is None or catalogue is None:
        return verdict
    if measured.value >= verdict.low or measured.value < catalogue.low:
        return verdict
    inductance = judge_inductance(case)
    if inductance is None or inductance.verdict is not Verdict.PASS:
        return verdict
    reason = f"{verdict.reason}; its inductance is sound, so it may be the others that have a joint too many"
    return replace(verdict, verdict=Verdict.UNSURE, reason=reason)


def judge_inductance(case: ChannelCase) -> PropertyVerdict | None:
    """By the odds of lost turns or another part; a sense pulse can only accuse."""
    measured, about = case.features.inductance, Property.INDUCTANCE
    due = case.expected.inductance.get(case.channel)
    if case.load.kind not in WOUND_KINDS or due is None:
        return None
    predicted = case.predicted.inductance.get(case.channel)
    if measured is None or predicted is None:
        return case.say(about, Verdict.NOT_TESTED, why_missing(case, "inductance"))
    core = LOAD_TRAITS[case.load.kind].nature is Nature.SPARK_PRIMARY and predicted.alone
    verdict = weighed(case.channel, about, measured, predicted, due, innocent=core)
    own = case.signature is not None and case.signature.inductance_h is not None
    if own or verdict.verdict is Verdict.FAIL:
        return verdict
    return case.say(about, Verdict.NOT_TESTED, why_missing(case, "inductance"))


def judge_suppression(case: ChannelCase) -> PropertyVerdict | None:
    """Whether the energy comes back as it should after the pulse."""
    if case.load.kind not in WINDING_KINDS:
        return None
    about, seen = Property.SUPPRESSION, case.features.off_shape
    due = OFF_SHAPE_DUE[case.load.suppression]
    source = f"the job: suppression {case.load.suppression}"
    signature = case.signature
    if signature is None or case.features.conduct is not Conduct.FLOWS:
        return case.say(about, Verdict.NOT_TESTED, "no pulse was seen to its end", source)
    if seen is due:
        return _resistor_value(case) or case.say(about, Verdict.PASS, _OFF_WORDS[seen], source)
    if seen is OffShape.CANNOT_TELL or (seen is OffShape.NOTHING and signature.tripped):
        reason = next(
            (gap.text for gap in signature.gaps if gap.kind is GapKind.AFTER_PULSE),
            _OFF_WORDS[OffShape.CANNOT_TELL],
        )
        return case.say(about, Verdict.UNSURE, reason, source)
    return case.say(
        about, Verdict.FAIL, f"{_OFF_WORDS[seen]}, not as its {case.load.suppression} would", source
    )


def _resistor_value(case: ChannelCase) -> PropertyVerdict | None:
    ohm, due = case.signature.suppression_ohm if case.signature else None, case.load.suppression_ohm
    if case.load.suppression is not Suppression.RESISTOR or ohm is None or due is None or ohm.relative > 0.15:
        return None
    source = f"{due.value:.4g} ohm +-{due.tolerance_percent:g} % ({due.source})"
    # Its value matters to a factor of two at most; the job's own tolerance is a part's, not a function's.
    band = LimitBand(0.5 * due.low, 2.0 * due.high, due.value, 0.0, f"half to twice {source}")
    return against(case.channel, Property.SUPPRESSION, ohm, band, "ohm")


def judge_inrush(case: ChannelCase) -> PropertyVerdict | None:
    """Steady current of lamps and motors."""
    if case.load.kind not in INRUSH_KINDS:
        return None
    about, band = Property.INRUSH, case.expected.steady.get(case.channel)
    if case.features.steady is None or band is None:
        return case.say(about, Verdict.NOT_TESTED, why_missing(case, "steady current"))
    predicted = case.predicted.steady.get(case.channel)
    if predicted is None:
        return case.say(about, Verdict.NOT_TESTED, why_missing(case, "steady current"))
    slow = replace(band, low=band.high)  # a heavy one draws more for longer, never less
    verdict = weighed(case.channel, about, case.features.steady, predicted, slow, innocent=True)
    inrush = case.features.inrush
    if inrush is None or case.features.steady.value <= 0.0:
        return verdict
    times = inrush.value / case.features.steady.value
    note = f"{verdict.reason}; inrush {inrush.value:.2f} A, {times:.1f} times"
    return replace(verdict, reason=note)


def judge_feed(case: ChannelCase) -> PropertyVerdict | None:
    """Resistance of the supply and its leads."""
    about, source = Property.FEED, case.features.source_ohm
    if case.load.kind in LOGIC_KINDS:
        return _feed_of_input(case)
    if source is None:
        return case.say(about, Verdict.NOT_TESTED, "no loaded supply was seen")
    band = _SOUND_SUPPLY
    if source.u > FINE_SOURCE_U_OHM:
        return _coarse_feed(case, source, band)
    verdict = against(case.channel, about, source, band, "ohm")
    return replace(verdict, low=None)


def _feed_of_input(case: ChannelCase) -> PropertyVerdict | None:
    """What an igniter switches comes from its feed, and the box measures its input only."""
    if not LOAD_TRAITS[case.load.kind].sparks:
        return None
    reason = "only its input was measured: whether its feed carries enough is not known, spark or no spark"
    return case.say(Property.FEED, Verdict.NOT_TESTED, reason)


def _coarse_feed(case: ChannelCase, own: Estimate, band: LimitBand) -> PropertyVerdict:
    """A supply seen too coarsely to be passed may still lie far beyond its limit: by this load, or by all together."""
    about, limit = Property.FEED, band.high
    seen = [(own, "by this load's current")]
    if case.expected.source_ohm is not None:
        seen.append((case.expected.source_ohm, "by the currents of all loads together"))
    for rate, verdict in ((FAIL_RATE, Verdict.FAIL), (_COARSE_DOUBT_RATE, Verdict.UNSURE)):
        for source, by in seen:
            decision = decide(source, None, limit, 1.0 - rate)
            if decision.verdict is Verdict.FAIL:
                off = f"{source.value:.2g} ohm in the battery and its leads, {by}"
                reason = (
                    f"above its limit, {off}"
                    if verdict is Verdict.FAIL
                    else f"probably above its limit, {off}"
                )
                return PropertyVerdict(
                    case.channel,
                    about,
                    verdict,
                    source,
                    None,
                    limit,
                    "ohm",
                    band.source,
                    reason,
                )
    return case.say(about, Verdict.NOT_TESTED, "this load's current is too small to see the supply sag")
