"""The truth behind the pins: every part drawn, from ranges wider than the estimators assume.

Resistance, inductance and steady current fill the tolerance of the job, for a part outside it is a faulty part.
Everything that the job does not state (stroke, spring, damping, saturation, filament, diode, wire, joints) reaches
beyond what `measure` takes for usual.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from loomproof.facts.kinds import JobSetting
from loomproof.job.model import Job
from loomproof.job.quantity import Quantity
from loomproof_sim.loom import Draw, sound_loom
from loomproof_sim.plant.loads.lamp import filament_heat_capacity_j_per_k
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    IgniterSpec,
    InjectorSpec,
    LampSpec,
    LoadSpec,
    LoomSpec,
    MotorSpec,
    MovingSpec,
    RelaySpec,
    SupplySpec,
    WoundSpec,
)
from loomproof_sim.profiles import BoardProfile

STROKE_GAIN = {InjectorSpec: (0.04, 0.4), RelaySpec: (0.08, 1.0)}
"""Rise of inductance over the stroke; the estimators rule out 2.5 % (relays 7 %) before they call a part stuck."""
_VALVE_GAIN = (0.06, 0.6)
TEMPERATURE_OFF_K = {JobSetting.BENCH: 10.0, JobSetting.CLASSROOM: 10.0, JobSetting.VEHICLE: 35.0}
"""How far the loom may be from what the job says; the estimators take 4 and 15 K for one standard deviation."""
SECOND_LAW_SHARE = 0.1


@dataclass(frozen=True)
class Ripple:
    """What a charger leaves on the supply."""

    amplitude_v: float = 0.0
    frequency_hz: float = 1000.0
    phase: float = 0.0


class WideDraw(Draw):
    """Parts that fill their tolerance: a batch's deviation and each part's own."""

    def __init__(self, rng: np.random.Generator, own_sigma: float) -> None:
        super().__init__(0, 1.0)
        self._rng, self._own = rng, own_sigma
        self._batch: dict[tuple[str, str], float] = {}

    def value(self, quantity: Quantity, load_key: str, name: str) -> float:
        """One part's value; pull-in and opening reach 1.2 times beyond their tolerance."""
        tolerance = quantity.tolerance_percent / 100.0
        hidden = name in {"pull_in_a", "opening_ms", "saturation_a"}
        reach = 1.2 * tolerance if hidden else tolerance
        batch = self._batch.setdefault((load_key, name), float(self._rng.uniform(-1, 1)))
        own = self._own * (2.0 if name == "inductance_mh" else 1.0) * float(self._rng.standard_normal())
        room = max(reach - 2.0 * self._own, 0.5 * reach)
        return quantity.value * (1.0 + float(np.clip(batch * room + own, -reach, reach)))


@dataclass(frozen=True)
class Truth:
    """What really is there."""

    loom: LoomSpec
    ripple: Ripple
    temperature_c: float
    own_sigma: float


def draw_truth(job: Job, rng: np.random.Generator, board: BoardProfile) -> tuple[Truth, WideDraw]:
    """A sound loom for a job."""
    own_sigma = float(rng.choice([0.003, 0.005, 0.01, 0.015]))
    draw = WideDraw(rng, own_sigma)
    off = TEMPERATURE_OFF_K[job.setting]
    heat = float(np.clip(job.ambient_c + rng.uniform(-off, off), -20.0, 70.0))
    supply = SupplySpec(float(rng.uniform(11.6, 14.6)), float(10.0 ** rng.uniform(-2.0, -0.9)))
    loom = sound_loom(job, draw, board, supply, heat)
    law: Literal["first", "second"] = "second" if rng.random() < SECOND_LAW_SHARE else "first"
    drivers = {
        c: replace(d, on_ohm=d.on_ohm * float(rng.uniform(0.5, 2.0)) if d.kind == "low_side" else d.on_ohm)
        for c, d in loom.drivers.items()
    }
    branches = tuple(_branch(b, rng) for b in loom.branches)
    loom = replace(loom, branches=branches, drivers=drivers, law=law)
    ripple = Ripple()
    if rng.random() < 0.5:
        ripple = Ripple(
            float(rng.uniform(0.02, 0.4)), float(10 ** rng.uniform(2.0, 3.6)), float(rng.uniform(0, 6.28))
        )
    return Truth(loom, ripple, heat, own_sigma), draw


def _branch(branch: BranchSpec, rng: np.random.Generator) -> BranchSpec:
    load = _hidden(branch.load, rng) if branch.load is not None else None
    joints = float(rng.uniform(0.0, 0.04))
    return replace(
        branch, load=load, wire_ohm=branch.wire_ohm * float(rng.uniform(0.85, 1.15)), series_ohm=joints
    )


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _hidden(load: LoadSpec, rng: np.random.Generator) -> LoadSpec:
    """What no job states."""
    if isinstance(load, WoundSpec) and load.suppression.kind == "diode":
        load = replace(load, suppression=replace(load.suppression, diode_v=float(rng.uniform(0.5, 1.1))))
    if isinstance(load, MovingSpec):
        low, high = STROKE_GAIN.get(type(load), _VALVE_GAIN)
        return replace(
            load,
            stroke_gain=_log(rng, low, high),
            spring_ratio=float(rng.uniform(0.05, 1.0)),
            damping_ratio=float(rng.uniform(0.0, 0.6)),
        )
    if isinstance(load, CoilSpec):
        return replace(load, saturated_share=float(rng.uniform(0.05, 0.35)))
    if isinstance(load, IgniterSpec):
        return replace(load, threshold_v=float(rng.uniform(1.2, 2.8)))
    if isinstance(load, MotorSpec):
        return replace(load, inertia_kg_m2=_log(rng, 5e-7, 8e-6))
    if isinstance(load, LampSpec):
        usual = filament_heat_capacity_j_per_k(
            load.test_v * load.steady_current_a, load.test_v / load.steady_current_a
        )
        return replace(load, heat_capacity_j_per_k=usual * _log(rng, 0.7, 1.6))
    return load
