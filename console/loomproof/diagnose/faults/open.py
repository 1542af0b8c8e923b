"""A channel's circuit is broken."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Scope
from loomproof.diagnose.faults.odds import NO_CIRCUIT
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property

OPEN = FaultDefinition(
    kind=FaultKind.OPEN,
    scope=Scope.CHANNEL,
    prior=1e-2,
    name="open circuit",
    advice=Advice(
        likely="a broken wire, a pin not seated, or the load's connector not plugged in",
        remedy="see that the load's connector is plugged in, then check the pin in its cavity, the crimp and the wire "
        "end to end",
        next_measurement="with the supply off, measure from the cavity to the load's own pin, then across the load",
    ),
    order=10,
    odds=NO_CIRCUIT,
    explains=frozenset({Property.CONTINUITY, Property.ACTION, Property.CONTACT}),
    twins=(FaultKind.FEED_OPEN,),
    why_twins="nothing else hangs on that feed to compare with",
    separated_by={
        FaultKind.FEED_OPEN: "measure the voltage at the load's connector against ground: none there is the feed, full "
        "supply is the wire to the header",
        FaultKind.INTERMITTENT: "flex the loom piece by piece while this channel is watched",
    },
)
