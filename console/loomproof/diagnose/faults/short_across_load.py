"""Both wires of a load touch, or the load is shorted inside."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import SHORTED
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS


def _fits(load: LoadType) -> bool:
    """An input lies between its pin and ground: there it would be a short to ground."""
    return load.kind not in LOGIC_KINDS


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    return replace(before, low=True)


SHORT_ACROSS_LOAD = FaultDefinition(
    kind=FaultKind.SHORT_ACROSS_LOAD,
    scope=Scope.CHANNEL,
    prior=2e-3,
    name="short across the load",
    advice=Advice(
        likely="both wires touch at the load's connector, or the load is shorted inside",
        remedy="unplug the load and measure it; look into its connector for a stray strand",
        next_measurement="unplug the load and read the resting pin again: at the bias the short is in the load, at the "
        "supply in the wire",
    ),
    order=9,
    odds=SHORTED,
    fits=_fits,
    effect=_effect,
    explains=frozenset({Property.CONTINUITY, Property.RESISTANCE}),
    twins=(FaultKind.SHORT_TO_SUPPLY, FaultKind.SUPPRESSION_REVERSED),
    twins_unmeasured=(FaultKind.WRONG_LOAD,),
    why_twins="it switches the low side only and cannot take the feed away",
    separated_by={
        FaultKind.SUPPRESSION_REVERSED: "unplug the load and measure it alone: near nothing both ways round is a short, "
        "one way round only is the diode",
        FaultKind.WRONG_LOAD: "unplug the load and measure it alone: near nothing is a short, any other value is "
        "another part",
    },
)
