"""The safe order: passive look, harmless loads, spark while the cylinders are dry, fuel, the pump last.

The pump comes last because driving it voids the isolation and may put the rail under pressure.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum

from loomproof.facts.kinds import HazardClass
from loomproof.job.model import Job
from loomproof.safety.statements import hazards_of


class Phase(IntEnum):
    """The parts of a run sheet, in their order."""

    LOOK = 0
    WALK = 1
    HARMLESS = 2
    HEAT = 3
    MOTION = 4
    CRANK = 5
    SPARK = 6
    FUEL = 7
    PUMP = 8
    SUMMARY = 9


_PHASE_OF: Mapping[HazardClass, Phase] = {
    HazardClass.NONE: Phase.HARMLESS,
    HazardClass.HEAT: Phase.HEAT,
    HazardClass.MOTION: Phase.MOTION,
    HazardClass.CRANK: Phase.CRANK,
    HazardClass.SPARK: Phase.SPARK,
    HazardClass.FUEL: Phase.FUEL,
}


def phase_of(job: Job, channel: int) -> Phase:
    """The phase in which a channel is driven."""
    if job.channel(channel).fuel_pump:
        return Phase.PUMP
    return max(_PHASE_OF[hazard] for hazard in hazards_of(job.load_type(channel)))


def safe_order(job: Job) -> tuple[int, ...]:
    """The fitted channels in the order in which they are driven; within a phase by number."""
    fitted = [c.channel for c in job.channels if c.fitted]
    return tuple(sorted(fitted, key=lambda channel: (phase_of(job, channel), channel)))
