"""Guard-banded decisions: pass only when surely inside, fail only when surely outside, unsure between.

Source: JCGM 106:2012, clauses 7 (probability of conformity) and 8 (guard bands, guarded acceptance 8.3.2 and
guarded rejection 8.3.3); the same rule as ISO 14253-1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.facts.estimate import Estimate
from loomproof.facts.verdict import Verdict
from loomproof.measure.statistics import probability_below, quantile

CONFIDENCE = 0.977  # one-sided; 2 u for a normal distribution (JCGM 106, 8.3.2.2, w = U)


FAULTY_SHARE = (
    0.02  # of circuits that lie beyond their limits before anything is measured; common practice, no source
)
_BEYOND = 1.5  # over how much of the middle such a value may lie, from half of it to twice; judgment


@dataclass(frozen=True)
class Decision:
    """A verdict with what it rests on.

    `probability` is the probability that the quantity lies within the limits; `risk` the chance that a pass or fail is
    wrong (specific risk).
    """

    verdict: Verdict
    probability: float
    risk: float | None


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
        return Decision(Verdict.PASS, probability, 1.0 - probability)
    if estimate.value < floor - guard or estimate.value > ceiling + guard:
        return Decision(Verdict.FAIL, probability, probability)
    return Decision(Verdict.UNSURE, probability, None)


def risk_among_parts(estimate: Estimate, low: float, high: float) -> float:
    """Specific risk of a pass when it is known what parts there are: most fill their tolerance evenly, few lie beyond.

    The estimate alone takes every value for equally likely beforehand. JCGM 106:2012, clause 6, equation 1: prior
    times likelihood; a tolerance that is evenly filled as in JCGM 100:2008, 4.3.7.
    """
    conforms = probability_of_conformity(estimate, low, high)
    sound = (1.0 - FAULTY_SHARE) * conforms / (high - low)
    faulty = FAULTY_SHARE * (1.0 - conforms) / (_BEYOND * 0.5 * (low + high))
    return faulty / (sound + faulty) if sound + faulty > 0.0 else 1.0
