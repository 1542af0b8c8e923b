"""A filament's cold resistance from a sense pulse, which hardly warms it: a line back to no energy taken.

R^(1/1.2) against the energy taken is a straight line while little is radiated (tungsten, Desai et al. 1984, as in
`settle`). Two samples are enough for a line; their noise is what limits the result.
"""

from __future__ import annotations

import math

import numpy as np

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace

_TUNGSTEN_POWER = 1.2
_RISEN_S = (
    6e-6  # the inductance of two metres of wire, some 2 uH, has let the current rise by then; from memory
)
_MODEL_U = 0.015


def cold_filament(trace: Trace) -> Estimate | None:
    """Resistance of a lamp's circuit with its filament as it was before the pulse; None with too little to go by."""
    use = trace.on & (trace.time_s >= _RISEN_S)
    if trace.tripped or trace.clipped or int(use.sum()) < 2:
        return None
    time, amps, u_a = trace.time_s[use], trace.current_a[use], trace.current_u_a[use]
    if float(np.min(amps / u_a)) < 20.0:
        return None
    volts = trace.supply_v[use] - trace.drain_v[use]
    ohms, relative = volts / amps, u_a / amps
    if float(ohms.min()) <= 0.0:
        return None
    power = volts * amps
    energy = (
        np.concatenate(([0.0], np.cumsum(np.diff(time) * (power[1:] + power[:-1]) / 2.0)))
        + power[0] * time[0]
    )
    y = ohms ** (1.0 / _TUNGSTEN_POWER)
    u_y = y * relative / _TUNGSTEN_POWER
    design = np.column_stack([np.ones_like(energy), energy / energy[-1]]) / u_y[:, None]
    normal = design.T @ design
    level = float(np.linalg.solve(normal, design.T @ (y / u_y))[0])
    if level <= 0.0:
        return None
    value = level**_TUNGSTEN_POWER
    random = value * _TUNGSTEN_POWER * math.sqrt(float(np.linalg.inv(normal)[0, 0])) / level
    step = trace.drain_step_v / math.sqrt(12.0) / float(volts.mean())
    scale = value * math.sqrt(trace.gain_u_relative**2 + trace.voltage_u_relative**2 + step**2)
    return Estimate(value, math.sqrt(random**2 + scale**2 + (_MODEL_U * value) ** 2), u_gain=scale)
