"""What should move does not: an armature, or a motor's rotor."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Scope
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import MOVING_KINDS


def _fits(load: LoadType) -> bool:
    return load.kind in MOVING_KINDS


STUCK_ARMATURE = FaultDefinition(
    kind=FaultKind.STUCK_ARMATURE,
    scope=Scope.CHANNEL,
    prior=5e-3,
    name="stuck",
    advice=Advice(
        likely="gummed up, seized or held",
        remedy="clean or free it, or exchange it with a sister and measure again",
        next_measurement="drive it again at full supply, with a hand on it",
    ),
    order=3,
    odds=OddsTable(
        moved={HasMoved.NO: 0.88, HasMoved.CANNOT_TELL: 0.115, HasMoved.YES: 0.005},
        noticed={"something": 0.03, "nothing": 0.97},
    ),
    fits=_fits,
    explains=frozenset({Property.ACTION}),
    separated_by={
        FaultKind.WRONG_LOAD: "read the part's label; if it is the right one, it does not move",
        FaultKind.SHORTED_TURNS: "unplug the load and measure it alone: a resistance below the catalogue's is its "
        "winding, a right one is its armature",
    },
)
