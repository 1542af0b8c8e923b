"""Brings one channel's evidence to the few words and numbers that faults differ by."""

from __future__ import annotations

import math

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Conduct, Features
from loomproof.diagnose.observed.pin_at_rest import pin_at_rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import HasMoved, OffShape, Signature
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import FILAMENT_KINDS, MOVING_KINDS, WINDING_KINDS
from loomproof.job.model import Job

_FALLS, _STAYS = 1.5, 1.2
"""Inrush over steady current of a load that acts, and of one that does not; judgment."""
_COLD_U = 0.06  # relative uncertainty up to which a sense pulse says anything of a filament


def features_of(job: Job, evidence: LoomEvidence, expected: Expectations, channel: int) -> Features:
    """The features of one channel.

    Args:
        job: the loom's.
        evidence: everything seen of the loom.
        expected: what a sound loom would show.
        channel: a fitted one.

    Returns:
        What is known of the channel.
    """
    own = evidence.of(channel)
    load = job.load_type(channel)
    signature = own.signature
    rest = pin_at_rest(job, evidence, channel)
    resistance = signature.resistance_ohm if signature else None
    cold = _cold_filament(own) if load.kind in FILAMENT_KINDS else None
    if cold is not None and resistance is not None:
        # Warmth only raises it, so the lower of the two is the filament's own.
        resistance = min(resistance, cold, key=lambda e: e.value)
    return Features(
        channel=channel,
        rest=rest.word,
        conduct=_conduct(own, expected, channel),
        resistance=resistance,
        inductance=_inductance(own, load),
        moved=_moved(signature, load) if signature else None,
        off_shape=signature.off_shape if signature else OffShape.CANNOT_TELL,
        noticed=own.noticed,
        pull=own.pull,
        dropouts=own.dropouts,
        watched=own.watched or own.dropouts > 0,
        steady=signature.steady_a if signature else None,
        inrush=signature.inrush_a if signature else None,
        source_ohm=signature.source_ohm if signature else None,
        unsteady=bool(signature and _unsteady(signature.resistance_ohm)),
        rest_v=rest.pin_v,
        leak_ohm=rest.leak_ohm,
        cold=cold is not None,
    )


def _cold_filament(own: ChannelEvidence) -> Estimate | None:
    """Resistance from the look's sense pulse, which comes before anything has warmed the filament."""
    cold = own.sense.resistance_ohm if own.sense is not None else None
    return cold if cold is not None and cold.relative < _COLD_U else None


def _inductance(own: ChannelEvidence, load: LoadType) -> Estimate | None:
    """From the load's own pulse; where that gave none, roughly from the sense pulse: V t / i.

    The sense pulse is short against any winding's time constant, so resistance takes little of it: 20 %
    covers that. What a resistor across the winding takes is no current of the winding.
    """
    signature, sense = own.signature, own.sense
    if signature is not None and signature.inductance_h is not None:
        return signature.inductance_h
    if load.kind not in WINDING_KINDS or sense is None or sense.tripped or sense.on_time_s <= 0.0:
        return None
    current, supply = sense.final_current_a, sense.supply_v
    if current is None or supply is None:
        return None
    winding_a, u_a = _without_resistor(current, supply, load)
    if winding_a < 5.0 * u_a or supply.value <= 0.0:
        return None
    value = supply.value * sense.on_time_s / winding_a
    return Estimate(value, value * math.hypot(0.2, u_a / winding_a))


def _without_resistor(current: Estimate, supply: Estimate, load: LoadType) -> tuple[float, float]:
    """The winding's share of a sensed current, with its standard uncertainty."""
    resistor = load.suppression_ohm
    if load.suppression is not Suppression.RESISTOR or resistor is None:
        return current.value, current.u
    shunted_a = supply.value / resistor.value
    spread = resistor.tolerance_percent / 100.0 / math.sqrt(3.0)  # GUM 4.3.7: a rectangular distribution
    return current.value - shunted_a, math.hypot(current.u, shunted_a * spread)


def _moved(signature: Signature, load: LoadType) -> HasMoved | None:
    """Armatures by their dip, motors by the fall of their current: a standing rotor makes no back-EMF."""
    if load.moves:
        return signature.moved
    if load.kind not in MOVING_KINDS:
        return None
    inrush, steady = signature.inrush_a, signature.steady_a
    if inrush is None or steady is None or steady.value <= 0.0:
        return HasMoved.CANNOT_TELL
    return current_fall(inrush, steady)[1]


def current_fall(inrush: Estimate, steady: Estimate) -> tuple[float, HasMoved]:
    """Inrush over steady current, and whether that fall shows a filament that heats up or a rotor that turns."""
    fall = inrush.value / steady.value
    u = fall * math.hypot(inrush.relative, steady.relative)
    if fall - 2.0 * u > _FALLS:
        return fall, HasMoved.YES
    return fall, HasMoved.NO if fall + 2.0 * u < _STAYS else HasMoved.CANNOT_TELL


def _unsteady(resistance: Estimate | None) -> bool:
    """Repeats of one train that scatter by more than their noise leave very few degrees of freedom."""
    return resistance is not None and resistance.dof < 5.0 and resistance.relative > 0.02


def _conduct(own: ChannelEvidence, expected: Expectations, channel: int) -> Conduct:
    if own.tripped or any(s is not None and s.tripped for s in (own.signature, own.sense)):
        return Conduct.EXCESS
    signature = own.signature
    if signature is None or signature.final_current_a is None:
        return _sensed(own, expected, channel)
    final = signature.final_current_a
    floor = max(6.0 * final.u_random, 2.0 * final.u, 3e-4)
    if final.value < floor and (signature.resistance_ohm is None):
        return Conduct.NONE
    band = expected.resistance.get(channel)
    ohm = signature.resistance_ohm
    if band is not None and ohm is not None and ohm.value < 0.12 * band.low:
        return Conduct.EXCESS
    if signature.clipped:
        return Conduct.EXCESS
    return Conduct.FLOWS


def _sensed(own: ChannelEvidence, expected: Expectations, channel: int) -> Conduct:
    """From the sense pulse alone: v t / L of the load expected there."""
    band = expected.inductance.get(channel)
    if own.sense_current_a is None or own.sense_on_time_s is None or band is None:
        return Conduct.UNKNOWN
    due = 12.0 * own.sense_on_time_s / band.middle
    u = own.sense_current_u_a or 0.0
    if own.sense_current_a < 0.1 * due and own.sense_current_a + 3.0 * u < 0.5 * due:
        return Conduct.NONE
    if own.sense_current_a - 3.0 * u > 8.0 * due:
        return Conduct.EXCESS
    return Conduct.FLOWS
