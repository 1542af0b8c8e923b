"""A feed that carries nothing: all of its loads are dead."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Scope
from loomproof.diagnose.faults.odds import DEAD, NO_CIRCUIT, OddsTable
from loomproof.facts.fault_kind import FaultKind
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS

FEED_OPEN = FaultDefinition(
    kind=FaultKind.FEED_OPEN,
    scope=Scope.FEED,
    prior=5e-3,
    name="dead feed",
    advice=Advice(
        likely="the fuse, its relay, or the feed's wire",
        remedy="check the fuse, then the voltage at the feed's splice",
        next_measurement="measure the voltage on both sides of its fuse against ground: on one side only, the fuse is "
        "blown; on neither, the relay or what feeds it is dead; on both, it is the wire behind it",
    ),
    order=11,
    odds=NO_CIRCUIT,
    # An input lies between pin and ground; only what it commands hangs on the feed.
    odds_on={
        kind: OddsTable(noticed=DEAD) if LOAD_TRAITS[kind].sparks else OddsTable() for kind in LOGIC_KINDS
    },
    twins=(FaultKind.OPEN, FaultKind.FEED_WEAK),
    why_twins="nothing else hangs on that feed to compare with",
    separated_by={
        FaultKind.FEED_WEAK: "measure the voltage at one of its loads' connectors, at rest and while that load is driven: "
        "none at rest is a dead feed, one that falls only then a weak one",
    },
)
