"""What people write into a job that a job does not describe: each with what to do instead.

Nothing of this is guessed at or taken for another key: a loom that needs it is not proven by this box, or is proven without
it, and the remedy says which.
"""

from collections.abc import Mapping

_GROUND = (
    "grounds are not described: of a load that is switched to ground the box is its ground, and an input finds its own. "
    "Remove the line; a lost ground shows as no current, or as no spark"
)
_HIGH_SIDE = (
    "every output switches to ground (or feeds a logic input, or is one end of a half-bridge). A load that is switched to "
    "the supply cannot be driven by this box: leave its channel out and prove it by hand"
)
_BALLAST = (
    "a resistor in series is not described by itself: state the load's resistance with it, as override = { resistance_ohm = "
    '{ value = ..., tolerance_percent = ..., source = "measured with the resistor" } }'
)
_VOLTS = (
    "looms of 12 V only: the box takes 16 V at most, and every limit is worked out for that. A 24 V loom must not be "
    "connected"
)
_RELAY = (
    "what feeds a feed is not described: close its relay, or bridge its socket with a fused lead, before the loom is proven, "
    "and remove the line"
)
_SECOND = "one channel has one load: two loads on one wire are not described, and measure as one of about half the resistance"

NOT_DESCRIBED: Mapping[str, Mapping[str, str]] = {
    "Channel": {
        **dict.fromkeys(("ground", "earth", "gnd", "return", "ground_point"), _GROUND),
        **dict.fromkeys(("high_side", "side", "switched", "switch", "driver", "polarity"), _HIGH_SIDE),
        **dict.fromkeys(
            ("ballast", "ballast_ohm", "series_ohm", "resistor", "resistor_ohm", "dropper"), _BALLAST
        ),
        **dict.fromkeys(("volts", "voltage", "supply_v", "voltage_v"), _VOLTS),
        **dict.fromkeys(("loads", "second_load", "load2", "parallel"), _SECOND),
    },
    "Feed": {
        **dict.fromkeys(("relay", "relay_channel", "switched_by"), _RELAY),
        **dict.fromkeys(("volts", "voltage", "supply_v", "voltage_v"), _VOLTS),
    },
    "Job": {
        **dict.fromkeys(("grounds", "earths"), _GROUND),
        **dict.fromkeys(("volts", "voltage", "supply_v", "voltage_v", "system_v", "battery_v"), _VOLTS),
    },
}
"""By the table that the key stands in, and the key."""
