"""Whether a pin looks like an initiator of a restraint system: a bridge wire of about two ohm, and no inductance (pure).

The bridge of an initiator is about 2 ohm; such parts fire near 1.2 A held for 2 ms and are said not to below 0.4 A (from
memory, no source at hand). The figures serve to refuse and never to permit.
"""

from __future__ import annotations

from loomproof.job.load_traits import LOAD_TRAITS, Nature
from loomproof.job.load_type import LoadType

LEAST_LOOP_OHM, MOST_LOOP_OHM = 1.4, 3.5
"""A bridge of 1.5 to 3 ohm with what is in series: half an ohm at most of wire, driver and feed."""


def looks_like_an_initiator(supply_v: float, current_a: float) -> bool:
    """Whether the current at the end of a very short pulse is that of such a bridge.

    A winding carries next to nothing after some microseconds: 0.3 mH, less than any load of the trade has, looks like
    30 ohm after 10 us.

    Args:
        supply_v: during the pulse, in V.
        current_a: at its end, in A.
    """
    return current_a > 0.0 and LEAST_LOOP_OHM <= supply_v / current_a <= MOST_LOOP_OHM


def may_look_so_itself(load: LoadType) -> bool:
    """Whether the load that is expected is a wire without inductance, too, as low as that or lower: a cold lamp."""
    filament = LOAD_TRAITS[load.kind].nature is Nature.FILAMENT
    return filament and (load.resistance_ohm is None or load.resistance_ohm.low <= MOST_LOOP_OHM)
