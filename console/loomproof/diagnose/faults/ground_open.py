"""Inputs that have lost the ground they share: none takes current, and nothing that they command acts."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Scope
from loomproof.diagnose.faults.odds import DEAD, OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS


def _fits(load: LoadType) -> bool:
    """A load that the box switches to ground has its ground in the box."""
    return load.kind in LOGIC_KINDS


GROUND_OPEN = FaultDefinition(
    kind=FaultKind.GROUND_OPEN,
    scope=Scope.GROUND,
    prior=3e-3,
    name="their common ground is lost",
    advice=Advice(
        likely="the ground's bolt, its ring terminal or its splice",
        remedy="switch the supply off and measure from one of their ground pins to the battery's negative pole, then clean "
        "and tighten the ground",
        next_measurement="with the supply off, measure from the ground pin of two of them to the battery's negative pole: "
        "open at both is their ground, open at neither is their wires to the header",
    ),
    order=10,
    odds=OddsTable(
        # What hangs on a feed inside lifts the ground that it has lost.
        rest={Rest.FLOATING: 0.75, Rest.HELD_HIGH: 0.2, Rest.HELD_LOW: 0.05},
        conduct={Conduct.NONE: 0.95, Conduct.FLOWS: 0.04, Conduct.EXCESS: 0.01},
        noticed=DEAD,
        pull={"none": 0.97, "matched": 0.01, "other": 0.01, "several": 0.01},
    ),
    fits=_fits,
    separated_by={
        FaultKind.OPEN: "with the supply off, measure from the load's ground pin to the battery's negative pole: open is its "
        "ground, closed is the wire to the header",
    },
)
