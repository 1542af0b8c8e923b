"""What the steady current of a lamp or a motor should be: within its tolerance, each part by itself."""

from __future__ import annotations

import math

import numpy as np

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.predict.odds import Predicted, ValueShift
from loomproof.diagnose.predict.part_set import HENRY_SPREADS, Part, PartSet
from loomproof.facts.estimate import Estimate

_FALLS = ValueShift(0.05, 0.6)
"""What a joint in series, or a part that is worn, takes of a steady current; judgment."""


def predicted_steady(measured: Estimate, due: LimitBand) -> Predicted | None:
    """What a sound part would draw, in A.

    Args:
        measured: the steady current, in A.
        due: its limits at the voltage that reached it, their own uncertainty in `u`.
    """
    if measured.value <= 0.0 or due.middle <= 0.0:
        return None
    tolerance = min((due.high - due.low) / (2.0 * due.middle), 0.95)
    blur = math.hypot(measured.relative, due.u / due.middle)
    part = Part(0, math.log(measured.value / due.middle), blur)
    parts = PartSet((part,), tolerance, HENRY_SPREADS)
    amps = due.middle * np.exp(parts.grid)
    row = parts.predictions(parts.flat())[0]
    mass = row * parts.step
    return Predicted(amps, mass / mass.sum(), row / amps, _FALLS, due.middle, adds=False, alone=True)
