"""Pass, fail or unsure, by what each mistake costs; and guarded decisions where a limit stands for itself.

A number is decided by how much likelier it is with a fault that matters than without one (`predict/odds.py`): JCGM
106:2012, clause 8, lets the acceptance limits follow from the costs of both mistakes (8.1), and leaves the choice of
costs to who decides. Limits that are no part's tolerance (a supply's resistance, a resistor within half to twice) are
guarded: clauses 7 (probability of conformity), 8.3.2 and 8.3.3 (guarded acceptance and rejection), as in ISO 14253-1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.facts.estimate import Estimate
from loomproof.facts.verdict import Property, Verdict
from loomproof.measure.statistics import probability_below, quantile

CONFIDENCE = 0.977  # one-sided; 2 u for a normal distribution (JCGM 106, 8.3.2.2, w = U)


# What mistakes cost, in terms of one doubt that a person has to settle; judgement of this project, unchecked.
MISSED_COSTS = 19.0
FALSE_ALARM_COSTS = 4.0
FAULTY_SHARE = {Property.RESISTANCE: 0.02, Property.INDUCTANCE: 0.0075, Property.INRUSH: 0.0125}
"""Of circuits with such a fault, before anything is measured; common practice, no source."""


@dataclass(frozen=True)
class Bounds:
    """Natural logarithms of odds (fault against none): above the first no longer passed, above the second failed."""

    doubt: float
    fail: float


def bounds(about: Property) -> Bounds:
    """Where a doubt is cheaper than the chance of either mistake."""
    share = FAULTY_SHARE[about]
    prior = math.log(share / (1.0 - share))
    missed, alarm = 1.0 / MISSED_COSTS, 1.0 / FALSE_ALARM_COSTS
    return Bounds(math.log(missed / (1.0 - missed)) - prior, math.log((1.0 - alarm) / alarm) - prior)


def by_odds(about: Property, log_odds: float) -> Verdict:
    """The verdict that costs least."""
    limits = bounds(about)
    if log_odds <= limits.doubt:
        return Verdict.PASS
    return Verdict.FAIL if log_odds > limits.fail else Verdict.UNSURE


@dataclass(frozen=True)
class Decision:
    """A verdict, and the probability that the quantity lies within the limits."""

    verdict: Verdict
    probability: float


def probability_of_conformity(estimate: Estimate, low: float | None, high: float | None) -> float:
    """Probability that the quantity lies between the limits, from its estimate alone (JCGM 106, 7.2 to 7.4)."""
    below_high = 1.0 if high is None else probability_below(high, estimate)
    below_low = 0.0 if low is None else probability_below(low, estimate)
    return min(max(below_high - below_low, 0.0), 1.0)


def decide(
    estimate: Estimate, low: float | None, high: float | None, confidence: float = CONFIDENCE
) -> Decision:
    """Guarded acceptance and guarded rejection against a one- or two-sided limit.

    Args:
        estimate: what was measured.
        low: lower limit, if any.
        high: upper limit, if any.
        confidence: one-sided confidence that sets both guard bands.

    Raises:
        ValueError: limits the wrong way round.
    """
    if low is not None and high is not None and low > high:
        raise ValueError(f"the lower limit {low} lies above the upper limit {high}")
    guard = quantile(confidence, estimate.dof) * estimate.u
    probability = probability_of_conformity(estimate, low, high)
    floor = -math.inf if low is None else low
    ceiling = math.inf if high is None else high
    if floor + guard <= estimate.value <= ceiling - guard:
        return Decision(Verdict.PASS, probability)
    if estimate.value < floor - guard or estimate.value > ceiling + guard:
        return Decision(Verdict.FAIL, probability)
    return Decision(Verdict.UNSURE, probability)
