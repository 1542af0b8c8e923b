"""Two loads hang on the wire of one channel, and the other channel's cavity holds nothing that leads to a load."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.elsewhere import seeing_nothing
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.observed.features import Conduct
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS


def _fits(one: LoadType, other: LoadType) -> bool:
    """An input and a load on one wire hold each other up: a bridge."""
    return not {one.kind, other.kind} & LOGIC_KINDS


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    """The first channel of the fault has both loads, the second none."""
    first, second = site.fault.channels
    if site.channel == second:
        return seeing_nothing(before)
    beside = site.job.load_type(second)
    odds, both = before.odds, conduct_of(site.job, first, before.load, beside)
    if both[Conduct.EXCESS] > 0.5:
        odds = replace(odds, conduct=both, noticed=None)
    return replace(before, odds=odds, beside=beside)


TWO_ON_ONE_WIRE = FaultDefinition(
    kind=FaultKind.TWO_ON_ONE_WIRE,
    scope=Scope.PAIR,
    prior=5e-4,
    name="both loads on the wire of the first",
    advice=Advice(
        likely="the second load's wire was joined to the first one's, at a splice or in one crimp",
        remedy="follow both wires from the loads: one of them does not reach its own cavity; put it there",
        next_measurement="pull the second load's connector and drive the first channel again: if it now measures right, "
        "both hung on it",
    ),
    order=7,
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.93, Conduct.EXCESS: 0.068, Conduct.NONE: 0.002},
        moved={HasMoved.YES: 0.65, HasMoved.CANNOT_TELL: 0.28, HasMoved.NO: 0.07},
        off_shape={str(s): 0.12 for s in OffShape} | {str(OffShape.CLAMP): 0.52},
        noticed={"something": 0.9, "nothing": 0.1},
        pull={"none": 0.9, "matched": 0.05, "several": 0.04, "other": 0.01},
    ),
    fits=_fits,
    effect=_effect,
    separated_by={
        FaultKind.BRIDGED: "drive the second channel: a bridge reaches both loads from either, two loads on one wire leave "
        "the second without any",
        FaultKind.WRONG_LOAD: "pull the second load's connector and drive the first channel again: if it now measures right, "
        "both hung on it",
        FaultKind.OPEN: "pull the second load's connector and see whether the first channel changes",
    },
    ordered=True,
)
