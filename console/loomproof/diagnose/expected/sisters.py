"""What the other loads of the same type say that a channel should measure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

from loomproof.diagnose.expected.band import DOUBT_RATE, FAIL_RATE, Among, LimitBand
from loomproof.diagnose.expected.temperature import spread_about
from loomproof.facts.estimate import Estimate
from loomproof.measure.statistics import quantile

# Sisters of one batch: their own spread is estimated from them, with a prior so that three or four cannot look
# perfect by luck. 1 % is about the standard deviation of parts within +-1.5 % (rectangular, GUM 4.3.7) and a little
# more; common practice, no source.
_SPREAD = {"resistance": 0.01, "inductance": 0.03}  # inductance follows an air gap of tenths of a millimetre
_SPREAD_DOF = 6.0
# Nothing sound or faulty but shorted turns makes a resistance low, and they take the inductance with them. So a low
# one is doubted only where parts within +-3.5 % (rectangular) would not reach; common practice, no source.
_LOW_SPREAD, _LOW_DOF = 0.02, 3.0
_JOINTS_OHM = 0.012  # one standard deviation of a circuit's sound joints; common practice, no source
_WIRE_SHARE = 0.1  # lengths and sections of wires are nominal; common practice, no source


@dataclass(frozen=True)
class Sister:
    """One channel as its sisters see it: what was measured, and of it the wire that the job states."""

    measured: Estimate
    wire: float = 0.0


def sister_bands(
    groups: Mapping[int, tuple[int, ...]], seen: Mapping[int, Sister], what: str, *, joints: bool
) -> dict[int, LimitBand]:
    """Bands from the other loads of the same type: their median, and their spread with a prior.

    The spread's estimate has a scaled inverse chi-square prior (Gelman et al., Bayesian Data Analysis, 2.6), so the
    prediction of one more sister is Student's t with the prior's and the sisters' degrees of freedom together.

    Args:
        groups: the channels of each channel's type, itself included.
        seen: every channel that counts as a measure for its sisters.
        what: the word for the quantity.
        joints: the quantity is a resistance, to which wires and joints add.
    """
    bands: dict[int, LimitBand] = {}
    for channel, group in groups.items():
        others = [c for c in group if c != channel and c in seen]
        if len(others) < 2:
            continue
        loads = [seen[c].measured.value - seen[c].wire for c in others]
        middle = median(loads)
        if middle <= 0.0:
            continue
        own_wire = seen[channel].wire if channel in seen else _mean_wire(seen, others)
        own_u = max((seen[c].measured.u for c in (channel, *others) if c in seen), default=0.0)
        wires = (own_wire, _mean_wire(seen, others))
        bands[channel] = _band(loads, middle, wires, own_u, what, joints=joints)
    return bands


def _mean_wire(seen: Mapping[int, Sister], others: list[int]) -> float:
    return sum(seen[c].wire for c in others) / len(others)


def _band(
    loads: list[float],
    middle: float,
    own_and_their_wire: tuple[float, float],
    measured_u: float,
    what: str,
    *,
    joints: bool,
) -> LimitBand:
    own_wire, their_wire = own_and_their_wire
    wires = _WIRE_SHARE * (own_wire - their_wire)
    extra = math.hypot(_JOINTS_OHM, wires, measured_u) if joints else measured_u
    batch = _Batch(len(loads), middle, spread_about([load / middle for load in loads], 1.0), extra)
    doubt, fail = batch.reach(_SPREAD[what], _SPREAD_DOF)
    low, low_fail = (doubt, fail) if not joints else batch.reach(_LOW_SPREAD, _LOW_DOF)
    return LimitBand(
        middle + own_wire - low,
        middle + own_wire + doubt,
        middle + own_wire,
        0.0,
        f"median {what} of {len(loads)} sisters, {_sides(low / middle, doubt / middle)} from their own spread",
        doubt=fail - doubt,
        doubt_below=low_fail - low,
        among=Among.SISTERS,
        statistical=True,
    )


@dataclass(frozen=True)
class _Batch:
    """What sisters say of one more: how many, their median, their relative spread, and what else blurs a comparison."""

    count: int
    middle: float
    spread: float
    extra: float

    def reach(self, prior: float, prior_dof: float) -> tuple[float, float]:
        """Distances from the median at which one more is doubted and failed, for a relative prior spread."""
        dof = prior_dof + self.count - 1
        variance = (prior_dof * prior**2 + (self.count - 1) * self.spread**2) / dof
        single = math.hypot(self.middle * math.sqrt(variance), self.extra)
        sigma = single * math.sqrt(1.0 + math.pi / 2.0 / self.count)
        return quantile(1.0 - DOUBT_RATE, dof) * sigma, quantile(1.0 - FAIL_RATE, dof) * sigma


def _sides(low: float, high: float) -> str:
    if abs(low - high) < 5e-4:
        return f"+-{high * 100:.1f} %"
    return f"-{low * 100:.1f} to +{high * 100:.1f} %"
