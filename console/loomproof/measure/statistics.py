"""A value with its standard uncertainty and degrees of freedom.

Source of the rules: JCGM 100:2008 (GUM), clauses 5.1.2 (combination), 6.2 (expanded uncertainty) and
annex G.4.1 (Welch-Satterthwaite).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from loomproof.facts.estimate import Estimate

_UNSTEADY = 0.001  # chance of calling steady repeats unsteady


@lru_cache(maxsize=4096)
def quantile(probability: float, dof: float) -> float:
    """Quantile of Student's t; of the normal distribution for unlimited degrees of freedom."""
    if math.isinf(dof) or dof > 1e6:
        return float(special.ndtri(probability))
    return float(special.stdtrit(max(dof, 1.0), probability))


def probability_below(limit: float, estimate: Estimate) -> float:
    """Probability that the quantity lies below `limit` (JCGM 106:2012, clause 7), given its estimate."""
    if estimate.u == 0.0:
        return 1.0 if estimate.value <= limit else 0.0
    t = (limit - estimate.value) / estimate.u
    if math.isinf(estimate.dof) or estimate.dof > 1e6:
        return float(special.ndtr(t))
    return float(special.stdtr(max(estimate.dof, 1.0), t))


def welch_satterthwaite(u_parts: Sequence[float], dofs: Sequence[float]) -> float:
    """Effective degrees of freedom of the root-sum-square of `u_parts` (GUM equation G.2b)."""
    total = sum(u * u for u in u_parts)
    if total == 0.0:
        return math.inf
    weight = sum(u**4 / dof for u, dof in zip(u_parts, dofs, strict=True) if not math.isinf(dof))
    return math.inf if weight == 0.0 else total**2 / weight


def propagate(gradient: NDArray[np.float64], covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Covariance of functions with that Jacobian (GUM equation 13 and H.9).

    Args:
        gradient: (m, n) partial derivatives of m results to n inputs.
        covariance: (n, n) covariance of the inputs.

    Returns:
        (m, m) covariance of the results.
    """
    jacobian = np.atleast_2d(np.asarray(gradient, dtype=np.float64))
    return np.asarray(jacobian @ np.asarray(covariance, dtype=np.float64) @ jacobian.T)


def straight_line(
    x: NDArray[np.float64], y: NDArray[np.float64], weight: NDArray[np.float64] | None = None
) -> tuple[float, float]:
    """Slope and value at zero of a least-squares line; `weight` is 1 / u^2 (closed form, any textbook)."""
    if weight is None:
        mean_x, mean_y = float(x.sum()) / x.size, float(y.sum()) / y.size
        away = off = x - mean_x
    else:
        total = float(weight.sum())
        mean_x, mean_y = float(weight @ x) / total, float(weight @ y) / total
        off = x - mean_x
        away = weight * off
    slope = float(away @ (y - mean_y)) / float(away @ off)
    return slope, mean_y - slope * mean_x


def pooled(estimates: Sequence[Estimate]) -> Estimate:
    """Mean of repeats on one channel, weighted by their random parts; the scale part is common and stays.

    Where the repeats scatter significantly more than their noise, the scatter sets the random part and its
    degrees of freedom (Birge's ratio).
    """
    if not estimates:
        raise ValueError("nothing to pool")
    if len(estimates) == 1:
        return estimates[0]
    values = np.array([e.value for e in estimates])
    randoms = np.array([e.u_random for e in estimates])
    # In units of the least of them, so that neither none at all nor a huge one leaves the range of numbers.
    unit = max(float(randoms.min()), float(randoms.max()) * 1e-6)
    weights = (unit / np.maximum(randoms, unit)) ** 2 if unit > 0.0 else np.ones(len(estimates))
    total = float(weights.sum())
    mean = float(weights @ values) / total
    u_inner = unit / math.sqrt(total)
    count = len(estimates)
    scatter = float(weights @ (values - mean) ** 2)
    # Repeats without any random part of their own may differ by a rounding of their values.
    own = max(unit, 1e-12 * float(np.abs(values).max()), 1e-300)
    chi2 = scatter / own / own
    u_gain = float(np.mean([e.u_gain for e in estimates]))
    if float(special.chdtrc(count - 1, chi2)) < _UNSTEADY:
        # The repeats disagree by more than their own noise: only their scatter can be believed.
        u_random, dof = math.sqrt(scatter / total / (count - 1)), float(count - 1)
    else:
        u_random, dof = u_inner, float(sum(e.dof for e in estimates))
    u = math.hypot(u_random, u_gain)
    return Estimate(mean, u, welch_satterthwaite([u_random, u_gain], [dof, math.inf]), u_gain)
