"""A channel's wire touches a supply wire, past its load."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import DEAD, SHORTED, OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property
from loomproof.job.load_traits import LOGIC_KINDS

_ON_INPUT = OddsTable(
    rest={Rest.HELD_HIGH: 0.98, Rest.HELD_LOW: 0.01, Rest.FLOATING: 0.01},
    conduct={Conduct.NONE: 0.9, Conduct.FLOWS: 0.08, Conduct.EXCESS: 0.02},
    noticed=DEAD,
)


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    """An input hangs between pin and ground and is driven high, so there no current of its own is seen."""
    if before.load.kind in LOGIC_KINDS:
        return replace(before, garbled=True)
    return replace(before, low=True)


SHORT_TO_SUPPLY = FaultDefinition(
    kind=FaultKind.SHORT_TO_SUPPLY,
    scope=Scope.CHANNEL,
    prior=2e-3,
    name="short to the supply",
    advice=Advice(
        likely="the wire touches a supply wire",
        remedy="unplug the load: if the pin still rests at the supply the wire is shorted; part the loom where both run "
        "together",
        next_measurement="unplug the load and read the resting pin again: at the bias the short is in the load, at the "
        "supply in the wire",
    ),
    order=9,
    odds=SHORTED,
    odds_on=dict.fromkeys(LOGIC_KINDS, _ON_INPUT),
    effect=_effect,
    explains=frozenset({Property.CONTINUITY, Property.RESISTANCE}),
    twins=(FaultKind.SHORT_ACROSS_LOAD, FaultKind.SUPPRESSION_REVERSED),
    twins_unmeasured=(FaultKind.WRONG_LOAD,),
    why_twins="it switches the low side only and cannot take the feed away",
    separated_by={
        FaultKind.SHORT_ACROSS_LOAD: "unplug the load and look at the resting pin again: at the bias the short was in "
        "the load, still at the supply it is in the wire",
        FaultKind.SUPPRESSION_REVERSED: "unplug the load and look at the resting pin again: at the bias it was the "
        "diode, still at the supply it is the wire",
        FaultKind.WRONG_LOAD: "unplug the load and look at the resting pin again: still at the supply, the wire is "
        "shorted",
    },
    one_side=True,
)
