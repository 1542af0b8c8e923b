"""Resistance in a feed: all of its loads measure high by the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import median_high

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.amounts import more_ohm
from loomproof.diagnose.faults.definition import (
    Advice,
    FaultDefinition,
    FaultyChannel,
    Hypothesis,
    Scope,
    Site,
)
from loomproof.diagnose.faults.odds import DEAD, OddsTable
from loomproof.diagnose.observed.features import Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS


def _amount(fault: Hypothesis, features: Mapping[int, Features], expected: Expectations) -> str:
    """The median of what its loads measure too much."""
    excess = [
        ohm.value - expected.resistance[c].middle
        for c in fault.channels
        if (ohm := features[c].resistance) is not None and c in expected.resistance
    ]
    added = more_ohm(median_high(excess), "on each of its loads") if excess else ""
    return f"about {added}" if added else ""


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    """Where only inputs could be measured, what they command shows a feed's weakness by not acting at all."""
    if before.load.kind not in LOGIC_KINDS:
        return replace(before, behind_feed=True)
    unmeasured = all(site.job.load_type(c).kind in LOGIC_KINDS for c in site.fault.channels)
    if not (unmeasured and LOAD_TRAITS[before.load.kind].sparks):
        return before
    return replace(before, odds=replace(before.odds, noticed=DEAD))


FEED_WEAK = FaultDefinition(
    kind=FaultKind.FEED_WEAK,
    scope=Scope.FEED,
    prior=3e-3,
    name="weak feed",
    advice=Advice(
        likely="the feed's fuse holder, relay contact or splice",
        remedy="measure the drop from the supply to the splice while one of its loads is driven",
        next_measurement="measure the voltage at two of its loads' connectors while one of them is driven",
    ),
    order=8,
    odds=OddsTable(
        moved={HasMoved.YES: 0.8, HasMoved.CANNOT_TELL: 0.12, HasMoved.NO: 0.08},
        noticed={"something": 0.85, "nothing": 0.15},
    ),
    odds_on=dict.fromkeys(LOGIC_KINDS, OddsTable()),  # an input does not hang on the feed
    effect=_effect,
    twins=(FaultKind.ADDED_RESISTANCE, FaultKind.FEED_OPEN, FaultKind.WRONG_SET),
    why_twins="nothing else on that feed was measured that would tell them apart",
    separated_by={
        FaultKind.WRONG_SET: "unplug one of its loads and measure it alone: if it has what was measured here, it is the "
        "part; if it has what the job says, it is the feed",
    },
    amount=_amount,
    adds_ohm=True,
)
