"""A whole set is another part than the job names: all of them alike, and none as it should be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import median

from loomproof.diagnose.expected.expectations import Expectations
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
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS


def _fits(load: LoadType) -> bool:
    return load.kind not in LOGIC_KINDS


def _effect(_: Site, before: FaultyChannel) -> FaultyChannel:
    return replace(before, other_set=True)


def _amount(fault: Hypothesis, features: Mapping[int, Features], expected: Expectations) -> str:
    """The median of the set, against what is due."""
    seen = [ohm.value for c in fault.channels if (ohm := features[c].resistance) is not None]
    due = [expected.resistance[c].middle for c in fault.channels if c in expected.resistance]
    if not seen or not due:
        return ""
    return f"{median(seen):.3g} ohm where {median(due):.3g} ohm is due"


WRONG_SET = FaultDefinition(
    kind=FaultKind.WRONG_SET,
    scope=Scope.SET,
    prior=5e-3,
    name="the whole set is another part",
    advice=Advice(
        likely="other parts than the job names are fitted throughout, or the job names the wrong ones",
        remedy="read the label of one of them against the job; if the parts are right, correct the job and prove the "
        "loom again",
        next_measurement="unplug one of them and measure it alone: if it has what was measured here, it is the part "
        "and not the loom",
    ),
    order=1,
    # Parts for the same purpose do the same; what they have in common is in their numbers.
    odds=OddsTable(
        conduct={Conduct.FLOWS: 0.92, Conduct.EXCESS: 0.07, Conduct.NONE: 0.01},
        moved={HasMoved.YES: 0.8, HasMoved.CANNOT_TELL: 0.15, HasMoved.NO: 0.05},
        noticed={"something": 0.85, "nothing": 0.15},
    ),
    fits=_fits,
    effect=_effect,
    twins=(FaultKind.FEED_WEAK,),
    why_twins="every load on that feed measures too much by the same, as another part would",
    separated_by={
        FaultKind.ADDED_RESISTANCE: "unplug one of them and measure it alone: if it has what was measured here, it is "
        "the part and not the loom",
        FaultKind.WRONG_LOAD: "compare their labels with one another and with the job",
    },
    amount=_amount,
)
