"""What a sound loom should measure: catalogue, wire, temperature, sisters, an earlier record.

Every expectation names its source. Temperatures come in twice: the loom's own copper is a thermometer, and
its uncertainty widens every comparison that leans on it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from scipy import special

from loomproof.diagnose.expected.band import (
    DOUBT_RATE,
    FAIL_RATE,
    FINE_SOURCE_U_OHM,
    TERMINALS_OHM,
    WARM_FILAMENT,
    Among,
    LimitBand,
)
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.sisters import Sister, sister_bands
from loomproof.diagnose.expected.stated import direct_ohm, series_ohm
from loomproof.diagnose.expected.temperature import (
    COPPER_PER_K,
    copper_factor,
    loom_temperature,
    resistance_of,
    warming,
)
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import FILAMENT_KINDS, LOAD_TRAITS, LOGIC_KINDS, REFERENCE_V, Nature
from loomproof.job.model import Job
from loomproof.measure.statistics import pooled

_RESEATED_OHM = 0.01  # one standard deviation of a connector seated anew; common practice, no source
_OTHER_CORE = 0.2  # common practice, no source
_COLD_FILAMENT = 0.02  # repeatability of a cold filament, relative; common practice, no source


def expect(job: Job, evidence: LoomEvidence) -> Expectations:
    """The expectations of every fitted channel."""
    temperature = loom_temperature(job, evidence)
    fitted = [c.channel for c in job.channels if c.fitted]
    resistance = {c: b for c in fitted if (b := _catalogue_ohm(job, c, temperature)) is not None}
    inductance = {c: b for c in fitted if (b := _catalogue_henry(job.load_type(c))) is not None}
    wire = {c: series_ohm(job, c) * copper_factor(temperature.value) for c in fitted}
    ohms = {c: Sister(e, wire[c]) for c in fitted if (e := resistance_of(evidence.of(c))) is not None}
    henries = {c: Sister(e) for c in fitted if (e := _inductance_of(evidence.of(c))) is not None}
    groups = {c: (c, *job.sisters(c)) for c in fitted if job.load_type(c).kind not in LOGIC_KINDS}
    inputs = {c: (c, *job.sisters(c)) for c in fitted if c not in groups}
    cold = {c: g for c, g in groups.items() if job.load_type(c).kind not in FILAMENT_KINDS}
    return Expectations(
        temperature_c=temperature,
        resistance=resistance,
        sisters=sister_bands(cold, _within(ohms, resistance), "resistance", joints=True),
        baseline={c: b for c in fitted if (b := _baseline(job, evidence, c)) is not None},
        inductance=inductance,
        inductance_sisters=sister_bands(groups, _within(henries, inductance), "inductance", joints=False),
        steady={c: b for c in fitted if (b := _steady(job, c, evidence.of(c))) is not None},
        input_sisters=sister_bands(inputs, _within(ohms, resistance), "resistance", joints=False),
        source_ohm=_source(evidence, groups),
    )


def _source(evidence: LoomEvidence, channels: Iterable[int]) -> Estimate | None:
    """The supply's resistance by all loads together: finer than by each where a ripple leaves every one coarse."""
    signatures = [s for c in channels if (s := evidence.of(c).signature) is not None]
    seen = [s.source_ohm for s in signatures if s.source_ohm is not None and not s.tripped]
    if not seen or min(e.u for e in seen) <= FINE_SOURCE_U_OHM:
        return None
    return pooled(seen)


def _within(seen: Mapping[int, Sister], bands: Mapping[int, LimitBand]) -> dict[int, Sister]:
    """Those that their own catalogue band does not already fail: a faulty part is no measure for its sisters."""
    return {c: s for c, s in seen.items() if c not in bands or _near(s.measured, bands[c])}


def _near(e: Estimate, band: LimitBand) -> bool:
    slack = 2.0 * (e.u + band.u)
    return band.low - slack <= e.value <= band.high + slack


def _inductance_of(evidence: ChannelEvidence) -> Estimate | None:
    return evidence.signature.inductance_h if evidence.signature is not None else None


def _catalogue_ohm(job: Job, channel: int, temperature: Estimate) -> LimitBand | None:
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
        f"from the job, at {temperature.value:.0f} degC (u {temperature.u:.0f} K)"
    )
    low = ohm.low * factor + wire - spread
    warm = WARM_FILAMENT if load.kind in FILAMENT_KINDS else 1.0
    high = ohm.high * factor + wire + spread + TERMINALS_OHM
    u = abs(per_k) * ohm.value * temperature.u
    doubt = (warm - 1.0) * ohm.high * factor
    return LimitBand(low, high, ohm.value * factor + wire, u, source, doubt)


def _catalogue_henry(load: LoadType) -> LimitBand | None:
    henry = load.inductance_mh
    if henry is None:
        return None
    source = f"{henry.value:.4g} mH +-{henry.tolerance_percent:g} % ({henry.source})"
    # A coil's core bends its rise from the first ampere on, and another core's shape bends it otherwise.
    doubt = _OTHER_CORE * henry.low * 1e-3 if LOAD_TRAITS[load.kind].nature is Nature.SPARK_PRIMARY else 0.0
    return LimitBand(henry.low * 1e-3, henry.high * 1e-3, henry.value * 1e-3, 0.0, source, doubt, doubt)


def _steady(job: Job, channel: int, evidence: ChannelEvidence) -> LimitBand | None:
    """Steady current, brought from the reference voltage to the voltage that reached the load."""
    load, signature = job.load_type(channel), evidence.signature
    current, inrush = load.steady_current_a, LOAD_TRAITS[load.kind].inrush
    if current is None or inrush is None or signature is None or signature.supply_v is None:
        return None
    volts = signature.supply_v.value
    if signature.steady_a is not None:
        source = signature.source_ohm.value if signature.source_ohm is not None else 0.0
        driver = signature.driver_ohm.value if signature.driver_ohm is not None else 0.0
        volts -= (max(source, 0.0) + driver + series_ohm(job, channel)) * signature.steady_a.value
    power, volts = inrush.steady_exponent, max(volts, 1.0)
    factor = (volts / REFERENCE_V) ** power
    # The exponent holds to a tenth, and wires and sockets take a few hundredths of a volt.
    u = current.value * factor * math.hypot(0.1 * power * math.log(REFERENCE_V / volts), 0.005)
    # A heavy filament is not quite hot when the pulse ends, a heavy rotor not quite up to speed: both draw more.
    doubt = inrush.still_high * current.high * factor
    text = f"{current.value:.3g} A +-{current.tolerance_percent:g} % at {REFERENCE_V:g} V ({current.source})"
    return LimitBand(current.low * factor, current.high * factor, current.value * factor, u, text, doubt)


def _baseline(job: Job, evidence: LoomEvidence, channel: int) -> LimitBand | None:
    """This loom's own earlier value, warmed as all other copper loads have warmed since."""
    own = evidence.of(channel)
    before = own.baseline.resistance_ohm if own.baseline is not None else None
    if before is None or before.value <= 0.0:
        return None
    kind = job.load_type(channel).kind
    if kind in LOGIC_KINDS:
        return None
    change, sigma, dof = warming(job, evidence, channel)
    if kind in FILAMENT_KINDS:
        sigma = math.hypot(sigma, _COLD_FILAMENT)
    middle = before.value * (1.0 + change.value)
    now = resistance_of(own)
    same = evidence.baseline_same_box
    measured_u = 0.0 if now is None else now.u_random if same else now.u
    drift_u = before.value * change.u
    single = math.hypot(before.value * sigma, _RESEATED_OHM, before.u_random, measured_u, drift_u)
    doubt, fail = (float(special.stdtrit(dof, 1.0 - rate)) * single for rate in (DOUBT_RATE, FAIL_RATE))
    warm = (WARM_FILAMENT - 1.0) * middle if kind in FILAMENT_KINDS else 0.0
    kelvin = change.value / COPPER_PER_K
    return LimitBand(
        middle - doubt,
        middle + doubt,
        middle,
        0.0,
        f"this loom's own earlier record, {before.value:.4g} ohm, copper {kelvin:+.0f} K since (u "
        f"{change.u / COPPER_PER_K:.0f} K), +-{doubt / middle * 100:.1f} %",
        doubt=fail - doubt + warm,
        doubt_below=fail - doubt,
        same_scale=same,
        among=Among.EARLIER_RECORD,
        statistical=True,
    )
