"""A channel's wire touches ground: its load is on while everything is off."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import ANY_OFF_SHAPE, DEAD, OddsTable
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property
from loomproof.job.load_traits import LOGIC_KINDS

_ON_INPUT = OddsTable(
    rest={Rest.HELD_LOW: 0.99, Rest.HELD_HIGH: 0.005, Rest.FLOATING: 0.005},
    conduct={Conduct.EXCESS: 0.95, Conduct.FLOWS: 0.04, Conduct.NONE: 0.01},
    noticed=DEAD,
)


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    """An input hangs between pin and ground and is driven high, so there the short lies across it."""
    if before.load.kind in LOGIC_KINDS:
        return replace(before, low=True)
    return replace(before, leaky=True)


SHORT_TO_GROUND = FaultDefinition(
    kind=FaultKind.SHORT_TO_GROUND,
    scope=Scope.CHANNEL,
    prior=3e-3,
    name="short to ground",
    advice=Advice(
        likely="the wire chafed through to metal, or pinched",
        remedy="unplug the load: if the pin still rests at ground the wire is shorted; look where it passes metal",
        next_measurement="with the supply off and the load unplugged, measure from the cavity to ground",
    ),
    order=9,
    odds=OddsTable(
        # Of what flows all the time the driver takes its share, if the short leaves any.
        rest={Rest.GROUNDED: 0.95, Rest.BETWEEN: 0.03, Rest.FLOATING: 0.01, Rest.CONNECTED: 0.01},
        conduct={Conduct.NONE: 0.25, Conduct.FLOWS: 0.72, Conduct.EXCESS: 0.03},
        moved={HasMoved.YES: 0.2, HasMoved.CANNOT_TELL: 0.5, HasMoved.NO: 0.3},
        off_shape=ANY_OFF_SHAPE,
        noticed={"something": 0.15, "nothing": 0.85},
        pull={"none": 0.93, "matched": 0.05, "other": 0.01, "several": 0.01},
    ),
    odds_on=dict.fromkeys(LOGIC_KINDS, _ON_INPUT),
    effect=_effect,
    explains=frozenset({Property.CONTINUITY}),
    twins=(FaultKind.LEAK_TO_GROUND,),
    twins_unmeasured=(FaultKind.WRONG_LOAD,),
    why_twins="only what flows would tell how much conducts there",
    separated_by={
        FaultKind.WRONG_LOAD: "unplug the load and look at the resting pin again: still at ground, the wire is shorted",
    },
    one_side=True,
    loads_feed=True,
)
