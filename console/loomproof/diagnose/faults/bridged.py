"""The wires of two channels touch: each drives both loads."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.observed.features import Conduct
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS


def _fits(one: LoadType, other: LoadType) -> bool:
    return not {one.kind, other.kind} & LOGIC_KINDS


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    beside = site.job.load_type(next(c for c in site.fault.channels if c != site.channel))
    both = conduct_of(site.job, site.channel, before.load, beside)
    odds = before.odds
    if both[Conduct.EXCESS] > 0.5:
        odds = replace(odds, conduct=both, noticed=None)
    return replace(before, odds=odds, beside=beside)


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
    fits=_fits,
    effect=_effect,
    separated_by={
        FaultKind.SHORT_TO_SUPPLY: "with the supply off and both loads unplugged, measure between the two cavities",
        FaultKind.WRONG_LOAD: "unplug the other load and drive this one again: if it now measures right, the two wires "
        "touch",
    },
)
