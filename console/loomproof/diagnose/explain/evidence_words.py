"""What speaks for a fault and what against it, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from loomproof.diagnose.explain.likelihood import Scorer
from loomproof.diagnose.faults.definition import Hypothesis
from loomproof.diagnose.observed.features import Features
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import PullResult


def evidence_against(scorer: Scorer, fault: Hypothesis) -> tuple[str, ...]:
    """What was seen on the fault's channels although it is rare with such a fault."""
    out = []
    for channel in fault.channels:
        odd = scorer.channel_under(channel, (fault,)).odds.surprises(scorer.features[channel])
        if odd:
            out.append(f"channel {channel}: {', '.join(odd)}, which is rare with this fault")
    return tuple(out)


def evidence_for(fault: Hypothesis, features: Mapping[int, Features]) -> tuple[str, ...]:
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
