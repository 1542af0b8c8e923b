"""The kinds of fault that a loom can have: the simulator makes them, diagnosis names them."""

from enum import StrEnum


class FaultKind(StrEnum):
    """One fault that changes the circuit of one channel or several, a connector, a ground, a feed or the supply."""

    OPEN = "open"
    SHORT_TO_GROUND = "short_to_ground"
    LEAK_TO_GROUND = "leak_to_ground"
    SHORT_TO_SUPPLY = "short_to_supply"
    SHORT_ACROSS_LOAD = "short_across_load"
    ADDED_RESISTANCE = "added_resistance"
    SWAPPED = "swapped"
    SHIFTED = "shifted"
    BRIDGED = "bridged"
    TWO_ON_ONE_WIRE = "two_on_one_wire"
    GROUND_OPEN = "ground_open"
    FEED_OPEN = "feed_open"
    FEED_WEAK = "feed_weak"
    SHORTED_TURNS = "shorted_turns"
    STUCK_ARMATURE = "stuck_armature"
    SUPPRESSION_MISSING = "suppression_missing"
    SUPPRESSION_REVERSED = "suppression_reversed"
    WRONG_LOAD = "wrong_load"
    WRONG_SET = "wrong_set"
    INTERMITTENT = "intermittent"
    WEAK_SUPPLY = "weak_supply"
