"""How long a sense pulse may be, so that it neither sparks nor moves anything (pure)."""

import math

from loomproof.facts.kinds import LoadKind
from loomproof.job.load_traits import (
    LEAST_SPARK_COIL_H,
    LOAD_TRAITS,
    SENSE_ENERGY_J,
    SENSE_PULL_IN_SHARE,
)


def longest_sense_s(
    kind: LoadKind, supply_v: float, inductance_h: float = 0.0, pull_in_a: float | None = None
) -> float:
    """Return the longest sense pulse in s; infinite where nothing stores energy.

    The current is taken as V t / L, which is never less than the true one: t <= sqrt(2 E L) / V for the energy and
    t <= 0.5 I L / V for the armature.

    Args:
        kind: of the load; what sparks is never taken for more than `LEAST_SPARK_COIL_H`.
        supply_v: highest supply, in V.
        inductance_h: lowest inductance, in H; 0: none is known.
        pull_in_a: lowest pull-in current, in A; None: nothing in it moves.
    """
    stores_h = inductance_h
    if LOAD_TRAITS[kind].sparks:
        stores_h = min(inductance_h or LEAST_SPARK_COIL_H, LEAST_SPARK_COIL_H)
    if stores_h == 0.0:
        return math.inf
    longest_s = math.sqrt(2.0 * SENSE_ENERGY_J * stores_h) / supply_v
    if pull_in_a is not None:
        longest_s = min(longest_s, SENSE_PULL_IN_SHARE * pull_in_a * inductance_h / supply_v)
    return longest_s
