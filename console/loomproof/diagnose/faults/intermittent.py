"""A contact that opens now and then."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Scope
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property
from loomproof.job.load_traits import LOGIC_KINDS

_ODDS = OddsTable(
    rest={Rest.CONNECTED: 0.88, Rest.FLOATING: 0.1, Rest.BETWEEN: 0.01, Rest.GROUNDED: 0.01},
    conduct={Conduct.FLOWS: 0.85, Conduct.NONE: 0.149, Conduct.EXCESS: 0.001},
    moved={HasMoved.YES: 0.7, HasMoved.CANNOT_TELL: 0.2, HasMoved.NO: 0.1},
    noticed={"something": 0.8, "nothing": 0.2},
    pull={"matched": 0.8, "none": 0.15, "other": 0.02, "several": 0.03},
    dropouts=0.97,
    unsteady=0.4,
)
_ON_INPUT = replace(_ODDS, rest={Rest.HELD_LOW: 0.88, Rest.FLOATING: 0.11, Rest.HELD_HIGH: 0.01})

INTERMITTENT = FaultDefinition(
    kind=FaultKind.INTERMITTENT,
    scope=Scope.CHANNEL,
    prior=5e-3,
    name="intermittent contact",
    advice=Advice(
        likely="a loose pin, a broken conductor inside its insulation, or a poor crimp",
        remedy="flex the loom piece by piece while watching this channel",
        next_measurement="run the wiggle test on this channel",
    ),
    order=6,
    odds=_ODDS,
    odds_on=dict.fromkeys(LOGIC_KINDS, _ON_INPUT),
    explains=frozenset({Property.CONTINUITY, Property.LOCATION, Property.CONTACT}),
)
