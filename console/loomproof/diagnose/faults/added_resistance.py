"""A poor joint in a channel's own path."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.amounts import more_ohm, reference
from loomproof.diagnose.faults.definition import (
    Advice,
    FaultDefinition,
    FaultyChannel,
    Hypothesis,
    Scope,
    Site,
)
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.observed.features import Conduct, Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    return replace(before, added=True)


def _amount(fault: Hypothesis, features: Mapping[int, Features], expected: Expectations) -> str:
    channel = fault.channels[0]
    ohm, due = features[channel].resistance, reference(channel, expected)
    if ohm is None or due is None:
        return ""
    return more_ohm(ohm.value - due.middle, f"against {due.among}")


ADDED_RESISTANCE = FaultDefinition(
    kind=FaultKind.ADDED_RESISTANCE,
    scope=Scope.CHANNEL,
    prior=1e-2,
    name="added resistance",
    advice=Advice(
        likely="crimp or pin",
        remedy="check the crimp and the pin fit at both ends, then for corrosion and a strand-cut wire",
        next_measurement="measure the voltage drop from cavity to load while it is driven, end by end",
    ),
    order=5,
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.97, Conduct.NONE: 0.029, Conduct.EXCESS: 0.001},
        moved={HasMoved.YES: 0.8, HasMoved.CANNOT_TELL: 0.12, HasMoved.NO: 0.08},
        noticed={"something": 0.85, "nothing": 0.15},
    ),
    effect=_effect,
    explains=frozenset({Property.RESISTANCE, Property.INRUSH}),
    twins=(FaultKind.FEED_WEAK,),
    why_twins="no other load on that feed draws enough to compare with",
    separated_by={
        FaultKind.FEED_WEAK: "measure the voltage at the load's feed pin while it is driven: if the drop is already "
        "there, it is the feed",
        FaultKind.WRONG_LOAD: "unplug the load and measure it alone: if it has what the job says, the rest is in wire, "
        "crimp or pin",
        FaultKind.INTERMITTENT: "drive it several times: a joint gives the same value each time, a loose contact does "
        "not",
    },
    amount=_amount,
    adds_ohm=True,
)
