"""All kinds of fault. A new one is its own file here, its code in `facts/fault_kind.py`, and its circuit in the simulator."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.diagnose.faults.added_resistance import ADDED_RESISTANCE
from loomproof.diagnose.faults.bridged import BRIDGED
from loomproof.diagnose.faults.definition import FaultDefinition, Hypothesis, Scope
from loomproof.diagnose.faults.feed_open import FEED_OPEN
from loomproof.diagnose.faults.feed_weak import FEED_WEAK
from loomproof.diagnose.faults.ground_open import GROUND_OPEN
from loomproof.diagnose.faults.intermittent import INTERMITTENT
from loomproof.diagnose.faults.leak_to_ground import LEAK_TO_GROUND
from loomproof.diagnose.faults.open import OPEN
from loomproof.diagnose.faults.shifted import SHIFTED
from loomproof.diagnose.faults.short_across_load import SHORT_ACROSS_LOAD
from loomproof.diagnose.faults.short_to_ground import SHORT_TO_GROUND
from loomproof.diagnose.faults.short_to_supply import SHORT_TO_SUPPLY
from loomproof.diagnose.faults.shorted_turns import SHORTED_TURNS
from loomproof.diagnose.faults.stuck_armature import STUCK_ARMATURE
from loomproof.diagnose.faults.suppression_missing import SUPPRESSION_MISSING
from loomproof.diagnose.faults.suppression_reversed import SUPPRESSION_REVERSED
from loomproof.diagnose.faults.swapped import SWAPPED
from loomproof.diagnose.faults.two_on_one_wire import TWO_ON_ONE_WIRE
from loomproof.diagnose.faults.weak_supply import WEAK_SUPPLY
from loomproof.diagnose.faults.wrong_load import WRONG_LOAD
from loomproof.diagnose.faults.wrong_set import WRONG_SET
from loomproof.facts.fault_kind import FaultKind

FAULTS: Mapping[FaultKind, FaultDefinition] = {
    fault.kind: fault
    for fault in (
        OPEN,
        SHORT_TO_GROUND,
        LEAK_TO_GROUND,
        SHORT_TO_SUPPLY,
        SHORT_ACROSS_LOAD,
        ADDED_RESISTANCE,
        WRONG_LOAD,
        WRONG_SET,
        INTERMITTENT,
        SHORTED_TURNS,
        STUCK_ARMATURE,
        SUPPRESSION_MISSING,
        SUPPRESSION_REVERSED,
        BRIDGED,
        SWAPPED,
        SHIFTED,
        TWO_ON_ONE_WIRE,
        GROUND_OPEN,
        FEED_OPEN,
        FEED_WEAK,
        WEAK_SUPPLY,
    )
}


def of_scope(scope: Scope) -> list[FaultDefinition]:
    """The kinds that touch a channel, a pair, a feed or the supply."""
    return [fault for fault in FAULTS.values() if fault.scope is scope]


def definition_of(fault: Hypothesis) -> FaultDefinition:
    """What its kind is."""
    return FAULTS[fault.kind]


def separated_by(one: FaultKind, other: FaultKind) -> str | None:
    """What to measure to separate two kinds of fault; None where nothing particular is known."""
    return FAULTS[one].separated_by.get(other) or FAULTS[other].separated_by.get(one)
