"""What a sound loom should measure: catalogue, wire, temperature, sisters, an earlier record.

Every expectation names its source. Temperatures come in twice: the loom's own copper is a thermometer, and
its uncertainty widens every comparison that leans on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from loomproof.job.kinds import LoadKind, Setting, Suppression
from loomproof.measure.quantities import Estimate

if TYPE_CHECKING:
    from loomproof.diagnose.evidence import ChannelEvidence, LoomEvidence
    from loomproof.job.catalogue import LoadType
    from loomproof.job.model import Job
    from loomproof.job.quantity import Quantity

COPPER_PER_K = 0.00393  # IEC 60028:1925, annealed copper at 20 degC
TERMINALS_OHM = 0.05  # all crimps and pins of one circuit, sound; common practice, no source
WARM_FILAMENT = 1.3  # a small filament cools for seconds after the look before; common practice, no source
COPPER_KINDS = frozenset({LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.STEPPER})
LOGIC_KINDS = frozenset({LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT})

# How far the loads may be from the ambient temperature that the job states, one standard deviation in K. Common
# practice, no source: on a bench everything has settled; on a vehicle the engine may be half warm.
_AMBIENT_U_K = {Setting.BENCH: 4.0, Setting.CLASSROOM: 4.0, Setting.VEHICLE: 15.0}

# Sisters of one batch: their own spread is estimated from them, with this much of a prior so that three or four
# cannot look perfect by luck. 1.5 % is common practice, no source.
_SISTER_SPREAD = 0.015
_SISTER_PRIOR_DOF = 4.0
_SISTER_FALSE_ALARM = 5e-4  # one-sided, per channel


@dataclass(frozen=True)
class Band:
    """Limits of a sound quantity, its middle, and how uncertain the limits themselves are (one sigma).

    Between `high` and `high` + `doubt` lies what has an innocent explanation, but no proof of it: never a pass, never
    a fail.
    """

    low: float
    high: float
    middle: float
    u: float
    source: str
    doubt: float = 0.0


@dataclass(frozen=True)
class Expectations:
    """What is expected of every channel of one loom.

    `resistance` and `sisters` are in ohm as measured at the box (load, wire, feed); `inductance` in H.
    """

    temperature_c: Estimate
    resistance: Mapping[int, Band] = field(default_factory=dict)
    sisters: Mapping[int, Band] = field(default_factory=dict)
    baseline: Mapping[int, Band] = field(default_factory=dict)
    inductance: Mapping[int, Band] = field(default_factory=dict)
    inductance_sisters: Mapping[int, Band] = field(default_factory=dict)
    steady: Mapping[int, Band] = field(default_factory=dict)

    def tightest_resistance(self, channel: int) -> Band | None:
        """The narrowest of the bands known for a channel."""
        known = [m[channel] for m in (self.resistance, self.sisters, self.baseline) if channel in m]
        return min(known, key=lambda b: b.high - b.low, default=None)


def copper_factor(temperature_c: float, per_k: float = COPPER_PER_K) -> float:
    """Resistance at a temperature over that at 20 degC (IEC 60028)."""
    return 1.0 + per_k * (temperature_c - 20.0)


def direct_ohm(load: LoadType) -> Quantity | None:
    """Direct-current resistance at 20 degC of the load itself, its built-in resistor beside it included."""
    ohm = load.resistance_ohm
    if ohm is None or load.suppression is not Suppression.RESISTOR or load.suppression_ohm is None:
        return ohm
    beside = load.suppression_ohm.value
    return ohm.model_copy(update={"value": ohm.value * beside / (ohm.value + beside)})


def series_ohm(job: Job, channel: int) -> float:
    """Wire and feed in series with a channel's load, at 20 degC."""
    feed = job.feed_of(channel)
    return job.wire_ohm(channel) + (job.feed_ohm(feed.id) if feed is not None else 0.0)


def resistance_of(evidence: ChannelEvidence) -> Estimate | None:
    """The channel's measured resistance, from its own pulse."""
    return evidence.signature.resistance_ohm if evidence.signature is not None else None


def loom_temperature(job: Job, evidence: LoomEvidence) -> Estimate:
    """Temperature of the loom's copper: the job's statement and the loom's own thermometer, by their weights.

    The thermometer is the median over copper loads of measured over catalogue resistance. Parts of one type
    share their type's error, so types, not channels, are what it averages over.
    """
    stated = evidence.temperature_c or Estimate(job.ambient_c, _AMBIENT_U_K[job.setting])
    thermometer = copper_thermometer(job, evidence)
    if thermometer is None:
        return stated
    weights = (1.0 / stated.u**2, 1.0 / thermometer.u**2) if stated.u > 0.0 else (1.0, 0.0)
    total = sum(weights)
    value = (weights[0] * stated.value + weights[1] * thermometer.value) / total
    return Estimate(value, math.sqrt(1.0 / total) if stated.u > 0.0 else 0.0)


def copper_thermometer(job: Job, evidence: LoomEvidence) -> Estimate | None:
    """What the copper alone says; None with fewer than three loads."""
    by_type: dict[str, list[float]] = {}
    tolerance: dict[str, float] = {}
    for channel in job.channels:
        load = job.load_type(channel.channel)
        measured = resistance_of(evidence.of(channel.channel))
        expected = direct_ohm(load)
        if not channel.fitted or load.kind not in COPPER_KINDS or measured is None or expected is None:
            continue
        at_20 = expected.value + series_ohm(job, channel.channel)
        by_type.setdefault(load.key, []).append(measured.value / at_20)
        tolerance[load.key] = expected.tolerance_percent / 100.0
    ratios = [r for values in by_type.values() for r in values]
    if len(ratios) < 3:
        return None
    medians = np.array([float(np.median(v)) for v in by_type.values()])
    sigma = np.array([tolerance[k] / math.sqrt(3.0) for k in by_type])
    middle = float(np.median(medians)) if len(medians) > 2 else float(np.mean(medians))
    # A median of n costs sqrt(pi / 2) over a mean for normal errors.
    u = (
        float(np.sqrt(np.sum(sigma**2)))
        / len(medians)
        * (math.sqrt(math.pi / 2) if len(medians) > 2 else 1.0)
    )
    return Estimate(20.0 + (middle - 1.0) / COPPER_PER_K, u / COPPER_PER_K)


def expect(job: Job, evidence: LoomEvidence) -> Expectations:
    """The expectations of every fitted channel."""
    temperature = loom_temperature(job, evidence)
    fitted = [c.channel for c in job.channels if c.fitted]
    resistance = {c: b for c in fitted if (b := _catalogue_ohm(job, c, temperature)) is not None}
    inductance = {c: b for c in fitted if (b := _catalogue_henry(job.load_type(c))) is not None}
    ohms = {c: e for c in fitted if (e := resistance_of(evidence.of(c))) is not None}
    henries = {c: e for c in fitted if (e := _inductance_of(evidence.of(c))) is not None}
    groups = {c: (c, *job.sisters(c)) for c in fitted if job.load_type(c).kind not in LOGIC_KINDS}
    cold = {c: g for c, g in groups.items() if job.load_type(c).kind is not LoadKind.LAMP}
    return Expectations(
        temperature_c=temperature,
        resistance=resistance,
        sisters=_sister_bands(
            cold, _within(ohms, resistance), "resistance", dict.fromkeys(fitted, TERMINALS_OHM)
        ),
        baseline={c: b for c in fitted if (b := _baseline(evidence.of(c), temperature)) is not None},
        inductance=inductance,
        inductance_sisters=_sister_bands(groups, _within(henries, inductance), "inductance", {}),
        steady={c: b for c in fitted if (b := _steady(job.load_type(c), evidence.of(c))) is not None},
    )


def _within(measured: Mapping[int, Estimate], bands: Mapping[int, Band]) -> dict[int, Estimate]:
    """Those that their own catalogue band does not already fail: a faulty part is no measure for its sisters."""
    return {
        c: e
        for c, e in measured.items()
        if c not in bands
        or bands[c].low - 2.0 * (e.u + bands[c].u) <= e.value <= bands[c].high + 2.0 * (e.u + bands[c].u)
    }


def _inductance_of(evidence: ChannelEvidence) -> Estimate | None:
    return evidence.signature.inductance_h if evidence.signature is not None else None


def _catalogue_ohm(job: Job, channel: int, temperature: Estimate) -> Band | None:
    load = job.load_type(channel)
    ohm = direct_ohm(load)
    if ohm is None:
        return None
    per_k = load.temperature_coefficient_per_k
    factor = copper_factor(temperature.value, per_k)
    wire = series_ohm(job, channel) * copper_factor(temperature.value)
    spread = 0.1 * wire  # lengths and sections are nominal
    source = (
        f"{ohm.value:.4g} ohm +-{ohm.tolerance_percent:g} % ({ohm.source}), wire and feed {wire * 1e3:.0f} mohm "
        f"from the job, at {temperature.value:.0f} degC"
    )
    low = ohm.low * factor + wire - spread
    warm = WARM_FILAMENT if load.kind is LoadKind.LAMP else 1.0
    high = ohm.high * factor + wire + spread + TERMINALS_OHM
    u = abs(per_k) * ohm.value * temperature.u
    doubt = (warm - 1.0) * ohm.high * factor
    return Band(low, high, ohm.value * factor + wire, u, source, doubt)


def _catalogue_henry(load: LoadType) -> Band | None:
    henry = load.inductance_mh
    if henry is None:
        return None
    source = f"{henry.value:.4g} mH +-{henry.tolerance_percent:g} % ({henry.source})"
    return Band(henry.low * 1e-3, henry.high * 1e-3, henry.value * 1e-3, 0.0, source)


def _steady(load: LoadType, evidence: ChannelEvidence) -> Band | None:
    """Steady current, brought from 13.5 V to the voltage there was."""
    current = load.steady_current_a
    signature = evidence.signature
    if current is None or signature is None or signature.supply_v is None:
        return None
    volts = signature.supply_v.value
    if signature.steady_a is not None and signature.source_ohm is not None:
        volts -= signature.source_ohm.value * signature.steady_a.value
    # A filament's resistance grows with its temperature: i ~ v^0.55 (common practice, no source); a motor's
    # friction rises with its speed: i ~ v.
    power = 0.55 if load.kind is LoadKind.LAMP else 1.0
    factor = (max(volts, 1.0) / 13.5) ** power
    source = f"{current.value:.3g} A +-{current.tolerance_percent:g} % at 13.5 V ({current.source})"
    return Band(current.low * factor, current.high * factor, current.value * factor, 0.0, source)


def _baseline(evidence: ChannelEvidence, temperature: Estimate) -> Band | None:
    """This loom's own earlier value: 3 % and 30 mohm cover sockets re-seated and a few kelvin."""
    if evidence.baseline is None or evidence.baseline.resistance_ohm is None:
        return None
    before = evidence.baseline.resistance_ohm
    half = 0.03 * before.value + 0.03
    u = math.hypot(before.u_random, COPPER_PER_K * before.value * min(temperature.u, 5.0))
    return Band(
        before.value - half,
        before.value + half,
        before.value,
        u,
        "this loom's own earlier record, +-3 % and 30 mohm",
    )


def _sister_bands(
    groups: Mapping[int, tuple[int, ...]],
    measured: Mapping[int, Estimate],
    what: str,
    allowance: Mapping[int, float],
) -> dict[int, Band]:
    """Bands from the other loads of the same type: their median, and their spread with a prior.

    The spread's estimate has a scaled inverse chi-square prior (Gelman et al., Bayesian Data Analysis,
    2.6), so the prediction of one more sister is Student's t with the prior's and the sisters' degrees of
    freedom together.
    """
    bands: dict[int, Band] = {}
    for channel, group in groups.items():
        others = [measured[c].value for c in group if c != channel and c in measured]
        if len(others) < 2:
            continue
        middle = float(np.median(others))
        if middle <= 0.0:
            continue
        deviations = np.abs(np.array(others) / middle - 1.0)
        robust = 1.4826 * float(np.median(deviations))  # sigma of a normal from its median deviation
        count = len(others)
        dof = _SISTER_PRIOR_DOF + count - 1
        variance = (_SISTER_PRIOR_DOF * _SISTER_SPREAD**2 + (count - 1) * robust**2) / dof
        reach = float(special.stdtrit(dof, 1.0 - _SISTER_FALSE_ALARM)) * math.sqrt(
            variance * (1.0 + math.pi / 2.0 / count)
        )
        slack = allowance.get(channel, 0.0)
        bands[channel] = Band(
            middle * (1.0 - reach) - slack,
            middle * (1.0 + reach) + slack,
            middle,
            0.0,
            f"median {what} of {count} sisters, +-{reach * 100:.1f} % from their own spread",
        )
    return bands
