"""What a person beside a load would notice of its last pulse, judged from the plant.

A coil must spark, a lamp must glow, a logic input must see a level. The thresholds are assumptions of this
project, without a source: a spark from 5 mJ of stored energy, a lamp from half its hot current, a level from
2 V.
"""

import numpy as np

from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    CoilSpec,
    IgniterSpec,
    LampSpec,
    LoadSpec,
    LogicInputSpec,
    WindingSpec,
)

SPARK_J = 5e-3
LIT_SHARE = 0.5
LEVEL_V = 2.0
STEP_V = 5.0
"""A stepper's winding moves the rotor from the current that this voltage drives through it."""
LOOK_S = 0.11
"""How long the current is looked at; the longest pulse takes 100 ms."""
_POINTS = 441


def acted(plant: Plant, channel: int) -> bool:
    """Return whether a person would have noticed the last pulse of the load on a channel."""
    spec = next((b.load for b in plant.loom.branches if b.channel == channel), None)
    since_s = plant.last_on_s(channel)
    if spec is None or since_s is None:
        return False
    if isinstance(spec, CoilSpec | IgniterSpec | LampSpec | LogicInputSpec | WindingSpec):
        return _by_current(plant, channel, spec, since_s)
    return plant.moved(channel)


def _by_current(plant: Plant, channel: int, spec: LoadSpec, since_s: float) -> bool:
    times = np.linspace(since_s, min(plant.now_s, since_s + LOOK_S), _POINTS)
    if isinstance(spec, CoilSpec | IgniterSpec):
        coil = spec.coil if isinstance(spec, IgniterSpec) else spec
        peak_a = float(np.abs(plant.primary_current(channel, times)).max())
        return not coil.shorted_fraction and 0.5 * coil.inductance_h * peak_a**2 >= SPARK_J
    amperes = np.abs(plant.load_current(channel, times))
    if isinstance(spec, LampSpec):
        return float(amperes.max()) >= LIT_SHARE * spec.steady_current_a
    if isinstance(spec, LogicInputSpec):
        return float(amperes.max()) * spec.input_ohm >= LEVEL_V
    assert isinstance(spec, WindingSpec)
    return float(amperes.max()) * spec.resistance_ohm >= STEP_V
