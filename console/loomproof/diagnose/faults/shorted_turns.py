"""Turns of a winding touch: less inductance, less resistance."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.amounts import measured_and_due
from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import WOUND_KINDS


def _fits(load: LoadType) -> bool:
    return load.kind in WOUND_KINDS


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    return replace(before, lost_turns=True)


SHORTED_TURNS = FaultDefinition(
    kind=FaultKind.SHORTED_TURNS,
    scope=Scope.CHANNEL,
    prior=2e-3,
    name="shorted turns",
    advice=Advice(
        likely="insulation burnt through inside the winding",
        remedy="replace the load, or exchange it with a sister and measure again",
        next_measurement="exchange it with a sister: the finding must go with the load",
    ),
    order=2,
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.9, Conduct.EXCESS: 0.099, Conduct.NONE: 0.001},
        moved={HasMoved.YES: 0.3, HasMoved.CANNOT_TELL: 0.4, HasMoved.NO: 0.3},
        # The shorted ring lets the flux, and with it the pin, come down slowly: it looks like a resistor.
        off_shape={str(s): 0.05 for s in OffShape} | {str(OffShape.CLAMP): 0.2, str(OffShape.RESISTOR): 0.65},
        noticed={"something": 0.5, "nothing": 0.5},
    ),
    fits=_fits,
    effect=_effect,
    explains=frozenset({Property.RESISTANCE, Property.INDUCTANCE, Property.SUPPRESSION}),
    separated_by={
        FaultKind.WRONG_LOAD: "read the part's label; then exchange it with a sister",
        FaultKind.ADDED_RESISTANCE: "unplug the load and measure it alone: too low is its winding, right is the path to "
        "it",
    },
    amount=measured_and_due,
)
