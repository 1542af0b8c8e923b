"""The measurement that separates two faults which explain a loom about equally well."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.facts.fault_kind import FaultKind

_K = FaultKind
_UNPLUG_OHM = "unplug the load and measure it alone: "

SEPARATES: Mapping[frozenset[FaultKind], str] = {
    frozenset({_K.OPEN, _K.FEED_OPEN}): (
        "measure the voltage at the load's connector against ground: none there is the feed, full supply is the wire "
        "to the header"
    ),
    frozenset({_K.ADDED_RESISTANCE, _K.FEED_WEAK}): (
        "measure the voltage at the load's feed pin while it is driven: if the drop is already there, it is the feed"
    ),
    frozenset({_K.SHORT_TO_SUPPLY, _K.SHORT_ACROSS_LOAD}): (
        "unplug the load and look at the resting pin again: at the bias the short was in the load, still at the supply "
        "it is in the wire"
    ),
    frozenset({_K.SHORT_ACROSS_LOAD, _K.SUPPRESSION_REVERSED}): (
        _UNPLUG_OHM + "near nothing both ways round is a short, one way round only is the diode"
    ),
    frozenset({_K.SHORT_TO_SUPPLY, _K.SUPPRESSION_REVERSED}): (
        "unplug the load and look at the resting pin again: at the bias it was the diode, still at the supply it is the "
        "wire"
    ),
    frozenset({_K.ADDED_RESISTANCE, _K.WRONG_LOAD}): (
        _UNPLUG_OHM + "if it has what the job says, the rest is in wire, crimp or pin"
    ),
    frozenset({_K.SHORTED_TURNS, _K.WRONG_LOAD}): "read the part's label; then exchange it with a sister",
    frozenset({_K.SHORTED_TURNS, _K.ADDED_RESISTANCE}): _UNPLUG_OHM
    + "too low is its winding, right is the path to it",
    frozenset(
        {_K.STUCK_ARMATURE, _K.WRONG_LOAD}
    ): "read the part's label; if it is the right one, it does not move",
    frozenset({_K.STUCK_ARMATURE, _K.SHORTED_TURNS}): (
        _UNPLUG_OHM + "a resistance below the catalogue's is its winding, a right one is its armature"
    ),
    frozenset({_K.OPEN, _K.INTERMITTENT}): "flex the loom piece by piece while this channel is watched",
    frozenset({_K.ADDED_RESISTANCE, _K.INTERMITTENT}): (
        "drive it several times: a joint gives the same value each time, a loose contact does not"
    ),
    frozenset(
        {_K.SWAPPED, _K.WRONG_LOAD}
    ): "pull both connectors named here, one at a time, and see which pin lets go",
    frozenset({_K.BRIDGED, _K.SHORT_TO_SUPPLY}): (
        "with the supply off and both loads unplugged, measure between the two cavities"
    ),
    frozenset({_K.BRIDGED, _K.WRONG_LOAD}): (
        "unplug the other load and drive this one again: if it now measures right, the two wires touch"
    ),
    frozenset({_K.SHORT_TO_GROUND, _K.WRONG_LOAD}): (
        "unplug the load and look at the resting pin again: still at ground, the wire is shorted"
    ),
    frozenset({_K.SHORT_ACROSS_LOAD, _K.WRONG_LOAD}): _UNPLUG_OHM
    + "near nothing is a short, any other value is another part",
    frozenset({_K.SHORT_TO_SUPPLY, _K.WRONG_LOAD}): (
        "unplug the load and look at the resting pin again: still at the supply, the wire is shorted"
    ),
    frozenset({_K.WEAK_SUPPLY, _K.FEED_WEAK}): (
        "measure the voltage at the box while one of the feed's loads is driven: if it sags there, it is the supply"
    ),
    frozenset(
        {_K.SUPPRESSION_MISSING, _K.WRONG_LOAD}
    ): "read the part's label: it says whether a diode is built in",
}


def separating(one: FaultKind, other: FaultKind) -> str | None:
    """What to measure to tell two kinds of fault apart; None where nothing particular is known."""
    return SEPARATES.get(frozenset({one, other}))
