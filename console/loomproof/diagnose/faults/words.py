"""Findings in words that a loom builder acts on: what, where, why one thinks so, what to do, what to measure next."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.explain.likelihood import Scorer
from loomproof.diagnose.faults.features import Features
from loomproof.diagnose.faults.hypotheses import Hypothesis
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import PullResult
from loomproof.facts.fault_kind import FaultKind
from loomproof.job.model import Job

NAMES = {
    FaultKind.OPEN: "open circuit",
    FaultKind.SHORT_TO_GROUND: "short to ground",
    FaultKind.SHORT_TO_SUPPLY: "short to the supply",
    FaultKind.SHORT_ACROSS_LOAD: "short across the load",
    FaultKind.ADDED_RESISTANCE: "added resistance",
    FaultKind.SWAPPED: "swapped",
    FaultKind.BRIDGED: "bridged channels",
    FaultKind.FEED_OPEN: "dead feed",
    FaultKind.FEED_WEAK: "weak feed",
    FaultKind.SHORTED_TURNS: "shorted turns",
    FaultKind.STUCK_ARMATURE: "stuck",
    FaultKind.SUPPRESSION_MISSING: "suppression missing",
    FaultKind.SUPPRESSION_REVERSED: "suppression diode reversed",
    FaultKind.WRONG_LOAD: "wrong load",
    FaultKind.INTERMITTENT: "intermittent contact",
    FaultKind.WEAK_SUPPLY: "weak supply",
}


@dataclass(frozen=True)
class Advice:
    """What to do about one kind of fault, and what would settle a doubt."""

    likely: str
    remedy: str
    next_measurement: str


ADVICE = {
    FaultKind.OPEN: Advice(
        "a broken wire, a pin not seated, or the load's connector not plugged in",
        "see that the load's connector is plugged in, then check the pin in its cavity, the crimp and the wire end to end",
        "with the supply off, measure from the cavity to the load's own pin, then across the load",
    ),
    FaultKind.SHORT_TO_GROUND: Advice(
        "the wire chafed through to metal, or pinched",
        "unplug the load: if the pin still rests at ground the wire is shorted; look where it passes metal",
        "with the supply off and the load unplugged, measure from the cavity to ground",
    ),
    FaultKind.SHORT_TO_SUPPLY: Advice(
        "the wire touches a supply wire",
        "unplug the load: if the pin still rests at the supply the wire is shorted; part the loom where both run together",
        "unplug the load and read the resting pin again: at the bias the short is in the load, at the supply in the wire",
    ),
    FaultKind.SHORT_ACROSS_LOAD: Advice(
        "both wires touch at the load's connector, or the load is shorted inside",
        "unplug the load and measure it; look into its connector for a stray strand",
        "unplug the load and read the resting pin again: at the bias the short is in the load, at the supply in the wire",
    ),
    FaultKind.ADDED_RESISTANCE: Advice(
        "crimp or pin",
        "check the crimp and the pin fit at both ends, then for corrosion and a strand-cut wire",
        "measure the voltage drop from cavity to load while it is driven, end by end",
    ),
    FaultKind.SWAPPED: Advice(
        "the pins sit in each other's cavity, or the connectors are plugged crosswise",
        "see whether the connectors at the loads can be exchanged; if not, move the pins in the header",
        "pull the connectors named here once more, one at a time",
    ),
    FaultKind.BRIDGED: Advice(
        "the two wires touch, or a strand lies between their pins",
        "look at both cavities and where the two wires run together",
        "with the supply off and both loads unplugged, measure between the two cavities",
    ),
    FaultKind.FEED_OPEN: Advice(
        "the fuse, its relay, or the feed's wire",
        "check the fuse, then the voltage at the feed's splice",
        "measure the voltage at one of its loads' connectors against ground",
    ),
    FaultKind.FEED_WEAK: Advice(
        "the feed's fuse holder, relay contact or splice",
        "measure the drop from the supply to the splice while one of its loads is driven",
        "measure the voltage at two of its loads' connectors while one of them is driven",
    ),
    FaultKind.SHORTED_TURNS: Advice(
        "insulation burnt through inside the winding",
        "replace the load, or exchange it with a sister and measure again",
        "exchange it with a sister: the finding must go with the load",
    ),
    FaultKind.STUCK_ARMATURE: Advice(
        "gummed up, seized or held",
        "clean or free it, or exchange it with a sister and measure again",
        "drive it again at full supply, with a hand on it",
    ),
    FaultKind.SUPPRESSION_MISSING: Advice(
        "a part without the diode or resistor was fitted, or it has burnt out",
        "fit the part that the job names: without it the driver takes the turn-off voltage",
        "read the type from the part",
    ),
    FaultKind.SUPPRESSION_REVERSED: Advice(
        "the two wires of a load with a diode are exchanged",
        "exchange the wires 85 and 86 at the load, then measure again",
        "unplug the load: if the short is gone and the load alone measures right one way round, the diode is reversed",
    ),
    FaultKind.WRONG_LOAD: Advice(
        "another part than the job names is fitted, or it is damaged",
        "read the part's label against the job",
        "unplug it and measure its resistance",
    ),
    FaultKind.INTERMITTENT: Advice(
        "a loose pin, a broken conductor inside its insulation, or a poor crimp",
        "flex the loom piece by piece while watching this channel",
        "run the wiggle test on this channel",
    ),
    FaultKind.WEAK_SUPPLY: Advice(
        "a discharged battery, thin leads or poor clips",
        "charge the battery or use better leads, then measure again: every result leans on the supply",
        "measure the voltage at the box while the largest load is driven",
    ),
}

# What this box cannot separate, and why.
TWINS = {
    FaultKind.OPEN: (FaultKind.FEED_OPEN,),
    FaultKind.FEED_OPEN: (FaultKind.OPEN,),
    FaultKind.ADDED_RESISTANCE: (FaultKind.FEED_WEAK,),
    FaultKind.FEED_WEAK: (FaultKind.ADDED_RESISTANCE,),
    FaultKind.SHORT_TO_SUPPLY: (FaultKind.SHORT_ACROSS_LOAD, FaultKind.SUPPRESSION_REVERSED),
    FaultKind.SHORT_ACROSS_LOAD: (FaultKind.SHORT_TO_SUPPLY, FaultKind.SUPPRESSION_REVERSED),
    FaultKind.SUPPRESSION_REVERSED: (FaultKind.SHORT_ACROSS_LOAD, FaultKind.SHORT_TO_SUPPLY),
}
# What it cannot separate from a wrong load when the channel is off again before anything was measured.
UNMEASURED = {
    FaultKind.SHORT_TO_GROUND: (FaultKind.WRONG_LOAD,),
    FaultKind.SHORT_TO_SUPPLY: (FaultKind.WRONG_LOAD,),
    FaultKind.SHORT_ACROSS_LOAD: (FaultKind.WRONG_LOAD,),
    FaultKind.WRONG_LOAD: (
        FaultKind.SHORT_TO_GROUND,
        FaultKind.SHORT_TO_SUPPLY,
        FaultKind.SHORT_ACROSS_LOAD,
    ),
}
_WHY_TWINS = {
    FaultKind.SHORT_TO_GROUND: "nothing could be measured of what is there",
    FaultKind.WRONG_LOAD: "nothing could be measured of what is there",
    FaultKind.OPEN: "nothing else hangs on that feed to compare with",
    FaultKind.FEED_OPEN: "nothing else hangs on that feed to compare with",
    FaultKind.ADDED_RESISTANCE: "no other load on that feed draws enough to compare with",
    FaultKind.FEED_WEAK: "no other load on that feed draws enough to compare with",
    FaultKind.SHORT_TO_SUPPLY: "it switches the low side only and cannot take the feed away",
    FaultKind.SHORT_ACROSS_LOAD: "it switches the low side only and cannot take the feed away",
    FaultKind.SUPPRESSION_REVERSED: "a diode's drop is lost in the current of a short",
}


def place(job: Job, channel: int) -> str:
    """`channel 5, cavity H1-14 GN/WH, cylinder 3 injector`."""
    item = job.channel(channel)
    location = job.location_of(channel)
    colour = f" {item.wire}" if item.wire else ""
    where = (
        f" at {location.name}"
        if location is not None and location.name.lower() not in item.name.lower()
        else ""
    )
    return f"channel {channel}, cavity {item.cavity}{colour}, {item.name}{where}"


def likelihood_text(likelihood: float) -> str:
    """`82 %`; never `100 %`: the likelihood is among the faults considered, and is not certainty."""
    return f"{likelihood * 100:.0f} %" if likelihood < 0.995 else "over 99 %"


def how_much(fault: Hypothesis, features: dict[int, Features], expected: Expectations) -> str:
    """The size of the fault where it has one."""
    if fault.kind is FaultKind.WEAK_SUPPLY:
        seen = [f.source_ohm for f in features.values() if f.source_ohm is not None]
        best = min(seen, key=lambda e: e.u, default=None)
        return f"{best.value:.2f} ohm in the battery and its leads" if best else ""
    if fault.kind not in {
        FaultKind.ADDED_RESISTANCE,
        FaultKind.FEED_WEAK,
        FaultKind.WRONG_LOAD,
        FaultKind.SHORTED_TURNS,
    }:
        return ""
    if fault.kind is FaultKind.FEED_WEAK:
        return _common_excess(fault, features, expected)
    channel = fault.channels[0]
    ohm = features[channel].resistance
    band, among = _reference(channel, expected)
    if ohm is None or band is None:
        return ""
    if fault.kind is FaultKind.ADDED_RESISTANCE:
        return f"{ohm.value - band:+.2g} ohm against {among}"
    return f"{ohm.value:.3g} ohm where {band:.3g} ohm is due"


def _reference(channel: int, expected: Expectations) -> tuple[float | None, str]:
    for bands, words in (
        (expected.baseline, "its own earlier record"),
        (expected.sisters, "its sisters"),
        (expected.resistance, "the catalogue"),
    ):
        if channel in bands:
            return bands[channel].middle, words
    return None, ""


def _common_excess(fault: Hypothesis, features: dict[int, Features], expected: Expectations) -> str:
    excess = sorted(
        ohm.value - expected.resistance[c].middle
        for c in fault.channels
        if (ohm := features[c].resistance) is not None and c in expected.resistance
    )
    return f"about {excess[len(excess) // 2]:+.2g} ohm on each of its loads" if excess else ""


def sentence(job: Job, fault: Hypothesis, amount: str, twins: tuple[FaultKind, ...]) -> str:
    """What the operator reads first."""
    advice = ADVICE[fault.kind]
    body = f"{amount}, " if amount else ""
    act = f"{body}likely {advice.likely}. What to do: {advice.remedy}"
    if fault.kind is FaultKind.WEAK_SUPPLY:
        return f"Supply: {act}."
    if fault.kind in {FaultKind.FEED_OPEN, FaultKind.FEED_WEAK}:
        feed = next(f for f in job.feeds if f.id == fault.feed)
        at = f", cavity {feed.cavity}" if feed.cavity else ""
        named = ", ".join(str(c) for c in fault.channels)
        return f"Feed {feed.id} ({feed.name}{at}), channels {named}: {NAMES[fault.kind]}, {act}."
    heads = [place(job, c) for c in fault.channels]
    if fault.kind is FaultKind.SWAPPED and len(heads) == 2:
        where, name = " and ".join(heads), NAMES[fault.kind]
    else:
        where = "; ".join(heads)
        name = "rotated among themselves" if fault.kind is FaultKind.SWAPPED else NAMES[fault.kind]
    text = f"{where[0].upper()}{where[1:]}: {name}, {act}."
    if twins:
        others = " or ".join(NAMES[t] for t in twins)
        text += f" This box cannot tell it from {others}: {_WHY_TWINS[fault.kind]}."
    return text


def evidence_against(scorer: Scorer, fault: Hypothesis) -> tuple[str, ...]:
    """What was seen on the fault's channels although such a fault seldom shows it."""
    out = []
    for channel in fault.channels:
        odd = scorer.shape(channel, (fault,)).words.surprises(scorer.features[channel])
        if odd:
            out.append(f"channel {channel}: {', '.join(odd)}: seldom so with this fault")
    return tuple(out)


def evidence_for(fault: Hypothesis, features: dict[int, Features]) -> tuple[str, ...]:
    """What was seen on the fault's channels."""
    out = []
    for channel in fault.channels:
        seen = features[channel]
        words = [f"its pin rests {seen.rest}", str(seen.conduct)]
        if seen.resistance is not None:
            words.append(_expanded(seen.resistance, 1.0, "ohm"))
        if seen.inductance is not None:
            words.append(_expanded(seen.inductance, 1e3, "mH"))
        if seen.moved is not None:
            words.append(f"moved: {seen.moved}")
        if seen.pull is not None and seen.pull.outcome != "skipped":
            words.append(_opened(seen.pull))
        if seen.dropouts:
            words.append("1 dropout" if seen.dropouts == 1 else f"{seen.dropouts} dropouts")
        out.append(f"channel {channel}: " + ", ".join(words))
    return tuple(out)


def _expanded(value: Estimate, factor: float, unit: str) -> str:
    """A value with its expanded uncertainty (k = 2), as the report and the console give it."""
    value_shown, expanded = value.value * factor, 2.0 * value.u * factor
    digits = max(0, 1 - math.floor(math.log10(expanded))) if 0.0 < expanded < math.inf else 3
    return f"({value_shown:.{digits}f} ± {expanded:.{digits}f}) {unit}"


def _opened(pull: PullResult) -> str:
    """What pulling the connector at its place did."""
    named = ", ".join(str(c) for c in pull.moved_channels)
    if not named:
        return "pulling its connector opened no channel"
    if pull.outcome == "matched":
        return "pulling its connector opened it and no other"
    return f"pulling its connector opened channel{'s' if len(pull.moved_channels) > 1 else ''} {named}"
