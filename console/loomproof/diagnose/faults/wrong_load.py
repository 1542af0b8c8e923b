"""Another part than the job names hangs there, or it is damaged beyond knowing."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.amounts import measured_and_due
from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.elsewhere import INPUT_ON_LOW_SIDE
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.facts.verdict import Property
from loomproof.job.load_traits import LOGIC_KINDS

_ON_INPUT = OddsTable(
    # One that hangs on a feed pulls the pin up, and a logic output only sources.
    rest={Rest.HELD_LOW: 0.68, Rest.HELD_HIGH: 0.3, Rest.FLOATING: 0.02},
    conduct={Conduct.NONE: 0.45, Conduct.FLOWS: 0.35, Conduct.EXCESS: 0.2},
    noticed={"something": 0.2, "nothing": 0.8},
)


_INPUT_INSTEAD = {LoadKind.COIL: 0.15}  # a coil with its igniter inside looks like a bare one
_INPUT_SELDOM = 0.01


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    """Any part may be there; one with an input between pin and ground shows at rest and takes no current."""
    found = replace(before, unknown_type=True)
    if before.load.kind in LOGIC_KINDS:
        return found
    share = _INPUT_INSTEAD.get(before.load.kind, _INPUT_SELDOM)
    return replace(found, or_else=(share, before.odds.under(INPUT_ON_LOW_SIDE)))


WRONG_LOAD = FaultDefinition(
    kind=FaultKind.WRONG_LOAD,
    scope=Scope.CHANNEL,
    prior=5e-3,
    name="wrong load",
    advice=Advice(
        likely="another part than the job names is fitted, or it is damaged",
        remedy="read the part's label against the job",
        next_measurement="unplug it and measure its resistance",
    ),
    order=1,
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.78, Conduct.EXCESS: 0.2, Conduct.NONE: 0.02},
        moved={HasMoved.YES: 0.5, HasMoved.CANNOT_TELL: 0.35, HasMoved.NO: 0.15},
        off_shape={str(s): 0.08 for s in OffShape} | {str(OffShape.CLAMP): 0.68},
        noticed={"something": 0.6, "nothing": 0.4},
    ),
    odds_on=dict.fromkeys(LOGIC_KINDS, _ON_INPUT),
    effect=_effect,
    explains=frozenset(
        {
            Property.CONTINUITY,
            Property.RESISTANCE,
            Property.INDUCTANCE,
            Property.ACTION,
            Property.SUPPRESSION,
            Property.INRUSH,
            Property.LOCATION,
        }
    ),
    twins_unmeasured=(FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY, FaultKind.SHORT_ACROSS_LOAD),
    why_twins="nothing could be measured of what is there",
    amount=measured_and_due,
)
