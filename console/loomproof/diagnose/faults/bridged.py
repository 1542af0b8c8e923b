"""The wires of two channels touch: each drives both loads."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.expected.stated import direct_ohm
from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.elsewhere import LOAD_ON_LOGIC
from loomproof.diagnose.faults.odds import Odds, OddsTable, sound_odds
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS, REFERENCE_V

_SEEN_V = 0.7  # how far below the supply a pin is seen to rest; judgment


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    beside = site.job.load_type(next(c for c in site.fault.channels if c != site.channel))
    own = site.job.load_type(site.channel)
    if (own.kind in LOGIC_KINDS) != (beside.kind in LOGIC_KINDS):
        return _input_and_load(before, own, beside)
    both = conduct_of(site.job, site.channel, before.load, beside)
    odds = before.odds
    if own.kind in LOGIC_KINDS:
        odds = replace(odds, rest=sound_odds(own).rest, conduct=sound_odds(own).conduct)
    elif both[Conduct.EXCESS] > 0.5:
        odds = replace(odds, conduct=both, noticed=None)
    return replace(before, odds=odds, beside=beside)


def _input_and_load(before: FaultyChannel, own: LoadType, beside: LoadType) -> FaultyChannel:
    """The load holds the input up; the input draws the load's pin down by as much as the two divide the supply."""
    pull = before.odds.pull
    if own.kind in LOGIC_KINDS:
        return replace(before, odds=replace(before.odds.under(LOAD_ON_LOGIC), pull=pull), garbled=True)
    load_ohm, input_ohm = direct_ohm(own), direct_ohm(beside)
    share = load_ohm.value / (load_ohm.value + input_ohm.value) if load_ohm and input_ohm else 0.0
    low = REFERENCE_V * share > _SEEN_V
    rest: Odds = {
        Rest.BETWEEN: 0.9 if low else 0.08,
        Rest.CONNECTED: 0.08 if low else 0.9,
        Rest.FLOATING: 0.02,
    }
    due = sound_odds(own)
    odds = replace(due, rest=rest, pull=pull, off_shape=before.odds.off_shape, noticed=before.odds.noticed)
    return replace(before, odds=odds)


BRIDGED = FaultDefinition(
    kind=FaultKind.BRIDGED,
    scope=Scope.PAIR,
    prior=5e-4,
    name="bridged channels",
    advice=Advice(
        likely="the two wires touch, or a strand lies between their pins",
        remedy="look at both cavities and where the two wires run together",
        next_measurement="with the supply off and both loads unplugged, measure between the two cavities",
    ),
    order=7,
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.93, Conduct.EXCESS: 0.068, Conduct.NONE: 0.002},
        moved={HasMoved.YES: 0.65, HasMoved.CANNOT_TELL: 0.28, HasMoved.NO: 0.07},
        off_shape={str(s): 0.12 for s in OffShape} | {str(OffShape.CLAMP): 0.52},
        noticed={"something": 0.9, "nothing": 0.1},
        pull={"none": 0.6, "several": 0.35, "matched": 0.04, "other": 0.01},
    ),
    effect=_effect,
    separated_by={
        FaultKind.LEAK_TO_GROUND: "with the supply off and both loads unplugged, measure from the cavity to ground and to "
        "the other cavity",
        FaultKind.SHORT_TO_SUPPLY: "with the supply off and both loads unplugged, measure between the two cavities",
        FaultKind.WRONG_LOAD: "unplug the other load and drive this one again: if it now measures right, the two wires "
        "touch",
    },
)
