"""The loom's own copper as a thermometer: how warm it is, and how much warmer than at an earlier record."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import median

import numpy as np
from numpy.typing import NDArray
from scipy import special

from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import JobSetting
from loomproof.job.load_traits import WINDING_KINDS
from loomproof.job.model import Job

COPPER_PER_K = 0.00393  # IEC 60028:1925, annealed copper at 20 degC

# How far the loads may be from the ambient temperature that the job states, one standard deviation in K. Common
# practice, no source: on a bench everything has settled; on a vehicle the engine may be half warm.
AMBIENT_U_K = {JobSetting.BENCH: 5.0, JobSetting.CLASSROOM: 5.0, JobSetting.VEHICLE: 15.0}

_FEWEST_LOADS = 3
_GRID_C = np.linspace(-60.0, 160.0, 881)
_GRID_FACTOR = 1.0 + COPPER_PER_K * (_GRID_C - 20.0)
_TYPE_OUTLIER = 0.05  # chance that a whole type is not what the job says; judgment
_EDGE = 0.01  # how sharp the edge of a tolerance is, relative; judgment
# Loads of one loom do not warm alike; judgment, with the weight of so many loads' evidence.
_GRADIENT = 0.003
_GRADIENT_DOF = 6.0
_LEAST_SHIFT_LOADS = 3


def copper_factor(temperature_c: float, per_k: float = COPPER_PER_K) -> float:
    """Resistance at a temperature over that at 20 degC (IEC 60028)."""
    return 1.0 + per_k * (temperature_c - 20.0)


def resistance_of(evidence: ChannelEvidence) -> Estimate | None:
    """The channel's measured resistance, from its own pulse."""
    return evidence.signature.resistance_ohm if evidence.signature is not None else None


def loom_temperature(job: Job, evidence: LoomEvidence) -> Estimate:
    """Temperature of the loom's copper: what was stated, corrected by the loom's own thermometer.

    Parts fill their tolerance evenly (GUM 4.3.7), so each type of load rules out the temperatures at which its
    median would lie outside; what several types leave over is narrow. A type that fits no temperature counts as a
    fault and not as heat.
    """
    stated = evidence.temperature_c or Estimate(job.ambient_c, AMBIENT_U_K[job.setting])
    seen = _from_copper(job, evidence)
    if seen is None or stated.u <= 0.0:
        return stated
    return _summed(seen - 0.5 * ((_GRID_C - stated.value) / stated.u) ** 2)


def copper_thermometer(job: Job, evidence: LoomEvidence) -> Estimate | None:
    """What the copper alone says; None with fewer than three loads."""
    seen = _from_copper(job, evidence)
    return None if seen is None else _summed(seen)


def _from_copper(job: Job, evidence: LoomEvidence) -> NDArray[np.float64] | None:
    """Log likelihood of every temperature of the grid."""
    by_type: dict[tuple[str, float], list[float]] = {}
    for channel in job.channels:
        load = job.load_type(channel.channel)
        measured = resistance_of(evidence.of(channel.channel))
        expected = direct_ohm(load)
        if not channel.fitted or load.kind not in WINDING_KINDS or measured is None or expected is None:
            continue
        at_20 = expected.value + series_ohm(job, channel.channel)
        key = (f"{load.key}|{expected.value}", expected.tolerance_percent / 100.0)
        by_type.setdefault(key, []).append(measured.value / at_20)
    if sum(len(v) for v in by_type.values()) < _FEWEST_LOADS:
        return None
    factor = _GRID_FACTOR
    total = np.zeros_like(_GRID_C)
    for (_, tolerance), ratios in by_type.items():
        part = median(ratios) / factor
        inside = special.ndtr((part - 1.0 + tolerance) / _EDGE) - special.ndtr(
            (part - 1.0 - tolerance) / _EDGE
        )
        total += np.log((1.0 - _TYPE_OUTLIER) * inside / (2.0 * tolerance) + _TYPE_OUTLIER)
    return total


def _summed(log_weights: NDArray[np.float64]) -> Estimate:
    """Mean and standard deviation of a temperature on the grid."""
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    mean = float(weights @ _GRID_C)
    return Estimate(mean, math.sqrt(float(weights @ (_GRID_C - mean) ** 2)))


def warming(job: Job, evidence: LoomEvidence, but: int) -> tuple[Estimate, float, float]:
    """How much copper has changed since the earlier record, relative, from all other copper loads.

    Args:
        job: the loom's.
        evidence: with baselines.
        but: the channel in question, which is no measure for itself.

    Returns:
        The common relative change with its uncertainty; the standard deviation of single loads about it; the
        degrees of freedom of that.
    """
    changes = list(_changes(job, evidence, but).values())
    if len(changes) < _LEAST_SHIFT_LOADS:
        u = COPPER_PER_K * math.sqrt(2.0) * AMBIENT_U_K[job.setting]
        return Estimate(0.0, u), _GRADIENT, _GRADIENT_DOF
    middle = median(changes)
    spread = spread_about(changes, middle)
    count = len(changes)
    dof = _GRADIENT_DOF + count - 1
    sigma = math.sqrt((_GRADIENT_DOF * _GRADIENT**2 + (count - 1) * spread**2) / dof)
    return Estimate(middle, sigma * math.sqrt(math.pi / 2.0 / count)), sigma, dof


def _changes(job: Job, evidence: LoomEvidence, but: int) -> Mapping[int, float]:
    out = {}
    for item in job.channels:
        own = evidence.of(item.channel)
        now = resistance_of(own)
        before = own.baseline.resistance_ohm if own.baseline is not None else None
        copper = job.load_type(item.channel).kind in WINDING_KINDS
        if item.channel != but and item.fitted and copper and now is not None and before is not None:
            out[item.channel] = now.value / before.value - 1.0
    return out


# What makes the root mean square of n deviations from their median, the largest quarter left out, estimate the standard
# deviation of normal values: from 100 000 samples of each size (tests/diagnose/test_references.py does it again).
_TRIMMED = {
    2: 1.415,
    3: 1.135,
    4: 1.790,
    5: 1.575,
    6: 1.477,
    7: 1.385,
    8: 1.691,
    9: 1.586,
    10: 1.532,
    11: 1.476,
    12: 1.667,
    13: 1.604,
    14: 1.561,
    15: 1.517,
}


def spread_about(values: Sequence[float], middle: float) -> float:
    """Standard deviation of two to fifteen values that a quarter of them, however bad, cannot inflate."""
    count = len(values)
    left_out = max(1, count // 4) if count > 3 else 0
    kept = sorted([(value - middle) ** 2 for value in values])[: count - left_out]
    return _TRIMMED[min(count, 15)] * math.sqrt(sum(kept) / len(kept))
