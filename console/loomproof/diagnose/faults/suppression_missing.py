"""A load without the diode or resistor that the job says is built in."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import OddsTable, off_shape_odds
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import OffShape
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType


def _fits(load: LoadType) -> bool:
    return load.suppression is not Suppression.NONE


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    """Without its resistor beside it the winding alone is measured."""
    return replace(before, load=before.load.model_copy(update={"suppression": Suppression.NONE}))


SUPPRESSION_MISSING = FaultDefinition(
    kind=FaultKind.SUPPRESSION_MISSING,
    scope=Scope.CHANNEL,
    prior=5e-3,
    name="suppression missing",
    advice=Advice(
        likely="a part without the diode or resistor was fitted, or it has burnt out",
        remedy="fit the part that the job names: without it the driver takes the turn-off voltage",
        next_measurement="read the type from the part",
    ),
    order=4,
    odds=OddsTable(off_shape=off_shape_odds(OffShape.CLAMP)),
    fits=_fits,
    effect=_effect,
    explains=frozenset({Property.SUPPRESSION}),
    separated_by={
        FaultKind.WRONG_LOAD: "read the part's label: it says whether a diode is built in",
    },
)
