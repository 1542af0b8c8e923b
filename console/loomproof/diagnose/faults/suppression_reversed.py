"""The wires of a load with a diode are exchanged: the diode conducts while the load is on."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import SHORTED
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import Suppression
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType


def _fits(load: LoadType) -> bool:
    return load.suppression is Suppression.DIODE


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    return replace(before, low=True)


SUPPRESSION_REVERSED = FaultDefinition(
    kind=FaultKind.SUPPRESSION_REVERSED,
    scope=Scope.CHANNEL,
    prior=2e-3,
    name="suppression diode reversed",
    advice=Advice(
        likely="the two wires of a load with a diode are exchanged",
        remedy="exchange the wires 85 and 86 at the load, then measure again",
        next_measurement="unplug the load: if the short is gone and the load alone measures right one way round, the "
        "diode is reversed",
    ),
    order=9,
    odds=SHORTED,
    fits=_fits,
    effect=_effect,
    explains=frozenset({Property.CONTINUITY, Property.RESISTANCE}),
    twins=(FaultKind.SHORT_ACROSS_LOAD, FaultKind.SHORT_TO_SUPPLY),
    why_twins="a diode's drop is lost in the current of a short",
)
