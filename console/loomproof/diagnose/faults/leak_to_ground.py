"""A path of some ohm from a channel's wire to ground: its load is on, more or less, while everything is off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.amounts import plain
from loomproof.diagnose.faults.definition import (
    Advice,
    FaultDefinition,
    FaultyChannel,
    Hypothesis,
    Scope,
    Site,
)
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.observed.features import Conduct, Features, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.facts.verdict import Property
from loomproof.job.load_traits import LOGIC_KINDS

_ON_INPUT = OddsTable(
    rest={Rest.HELD_LOW: 0.99, Rest.HELD_HIGH: 0.005, Rest.FLOATING: 0.005},
    conduct={Conduct.FLOWS: 0.75, Conduct.EXCESS: 0.24, Conduct.NONE: 0.01},
    noticed={"something": 0.5, "nothing": 0.5},
)


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    """Beside an input it lies across it; a load that is on already takes its whole current at once."""
    if before.load.kind in LOGIC_KINDS:
        return replace(before, leaky=True)
    odds = before.odds
    if conduct_of(site.job, site.channel, before.load)[Conduct.EXCESS] > 0.5:
        odds = replace(odds, conduct={Conduct.EXCESS: 0.5, Conduct.FLOWS: 0.48, Conduct.NONE: 0.02})
    return replace(before, odds=odds, leaky=True)


def _amount(fault: Hypothesis, features: Mapping[int, Features], _: Expectations) -> str:
    seen = features[fault.channels[0]]
    if seen.leak_ohm is None or seen.rest_v is None or seen.leak_ohm <= 0.0:
        return ""
    return (
        f"about {plain(seen.leak_ohm)} ohm, so {plain(seen.rest_v / seen.leak_ohm)} A flow through its load while "
        "every output is off"
    )


LEAK_TO_GROUND = FaultDefinition(
    kind=FaultKind.LEAK_TO_GROUND,
    scope=Scope.CHANNEL,
    prior=2e-3,
    name="leak to ground, the load is on while everything is off",
    advice=Advice(
        likely="a wire half chafed through, a strand against metal, or water or oil in a connector",
        remedy="switch the supply off first: the load is on and may heat up; then unplug it and look where its wire "
        "passes metal and into both connectors for water or oil",
        next_measurement="with the supply off and the load unplugged, measure from the cavity to ground, and again "
        "with the connectors dried: water changes, a chafed wire does not",
    ),
    order=9,
    odds=OddsTable(
        # By chance it rests at the bias, or so near the supply that nothing shows.
        rest={Rest.BETWEEN: 0.83, Rest.FLOATING: 0.06, Rest.GROUNDED: 0.01, Rest.CONNECTED: 0.1},
        conduct={Conduct.FLOWS: 0.97, Conduct.NONE: 0.015, Conduct.EXCESS: 0.015},
        moved={HasMoved.YES: 0.35, HasMoved.CANNOT_TELL: 0.5, HasMoved.NO: 0.15},
        # What the load holds goes on flowing through the leak, so the pin comes down as it likes.
        off_shape={
            OffShape.NOTHING: 0.35,
            OffShape.RESISTOR: 0.3,
            OffShape.CLAMP: 0.13,
            OffShape.DIODE: 0.12,
            OffShape.CANNOT_TELL: 0.1,
        },
        noticed={"something": 0.5, "nothing": 0.5},
        # Its pin does not go to the bias when its load is unplugged, so a look sees no load go.
        pull={"none": 0.93, "matched": 0.05, "other": 0.01, "several": 0.01},
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
        }
    ),
    twins=(FaultKind.SHORT_TO_GROUND,),
    why_twins="it is the same path, only how much it conducts differs",
    separated_by={
        FaultKind.SHORTED_TURNS: "unplug the load and measure it alone; then measure from its cavity to ground",
        FaultKind.ADDED_RESISTANCE: "with the supply off and the load unplugged, measure from the cavity to ground: an "
        "insulated wire shows nothing",
        FaultKind.WRONG_LOAD: "with the supply off and the load unplugged, measure from the cavity to ground: an "
        "insulated wire shows nothing",
        FaultKind.SHORT_TO_SUPPLY: "unplug the load and look at the resting pin again: near ground it leaks there, "
        "at the supply it is the supply's wire",
        FaultKind.SHORT_ACROSS_LOAD: "unplug the load and look at the resting pin again: near ground it leaks there, "
        "at the bias the short was in the load",
    },
    amount=_amount,
    one_side=True,
    loads_feed=True,
)
