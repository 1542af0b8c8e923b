"""The worst case of one load for the budgets: lowest resistance and inductance, highest supply (pure)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.facts.approved_drive import Thermal
from loomproof.facts.kinds import Fuel, HazardClass, LoadKind
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.load_type import LoadType
from loomproof.job.sense import longest_sense_s
from loomproof.safety import physics
from loomproof.safety.fuels import allowed_ul

SUPPLY_MARGIN_V = 0.5
"""Added to the measured supply: a charger may come on, and the reading has its own error."""
LOWEST_SUPPLY_V = 12.0
"""A budget never counts on less: a weak supply can recover between two pulses."""
REFERENCE_CYLINDER_CM3 = 500.0
"""The volume used where the job gives no displacement."""


@dataclass(frozen=True, slots=True)
class LoadModel:
    """One load at its worst.

    Attributes:
        supply_v: highest supply to reckon with, V.
        resistance_ohm: lowest resistance of load and wire, or None where it says nothing of heat.
        inductance_h: lowest inductance, 0 where there is none.
        target_a: bare coils: the current the dwell may aim at.
        flow_ul_per_ms: injectors: highest flow at rated pressure.
        liquid_ul: injectors: what may still be let out into one cylinder, were the isolation wrong.
        allowed_ul: injectors: the same before anything was let out.
        warm_k: what earlier drives have left of the load's temperature rise.
    """

    kind: LoadKind
    supply_v: float
    resistance_ohm: float | None = None
    inductance_h: float = 0.0
    target_a: float | None = None
    pull_in_a: float | None = None
    thermal: Thermal | None = None
    flow_ul_per_ms: float | None = None
    liquid_ul: float | None = None
    allowed_ul: float | None = None
    cylinder_cm3: float | None = None
    warm_k: float = 0.0

    def heat_j(self, on_time_s: float) -> float:
        """Heat in J of one pulse; 0 where the model has none."""
        if self.resistance_ohm is None or self.thermal is None:
            return 0.0
        return physics.pulse_heat_j(self.supply_v, self.resistance_ohm, self.inductance_h, on_time_s)

    def pulses_to_rise(self, on_time_s: float, period_s: float) -> float:
        """Pulses until the allowed rise, cooling counted between them; infinite when it never comes."""
        if self.thermal is None:
            return math.inf
        power_w = self.heat_j(on_time_s) / period_s
        thermal = self.thermal
        time_s = physics.time_to_rise_s(
            power_w, thermal.r_th_k_per_w, thermal.c_j_per_k, thermal.rise_k, self.warm_k
        )
        return time_s / period_s

    @property
    def heat_left_j(self) -> float:
        """Heat in J until the allowed rise, if none of it left meanwhile; infinite without a thermal model."""
        if self.thermal is None:
            return math.inf
        return self.thermal.c_j_per_k * max(self.thermal.rise_k - self.warm_k, 0.0)

    def dwell_s(self) -> float:
        """Longest on-time in s of a bare coil: a share of the linear time to its target; else infinite."""
        share = LOAD_TRAITS[self.kind].dwell_share
        if share is None or self.target_a is None:
            return math.inf
        if self.resistance_ohm is None or self.inductance_h == 0.0:
            return math.inf
        whole = physics.time_to_current_s(
            self.supply_v, self.resistance_ohm, self.inductance_h, self.target_a
        )
        return share * whole

    def liquid_released_ul(self, count: int, on_time_us: int) -> float:
        """Liquid in uL that would leave an injector, were the rail under pressure; 0 for other loads."""
        return 0.0 if self.flow_ul_per_ms is None else count * on_time_us * 1e-3 * self.flow_ul_per_ms

    def sense_s(self) -> float:
        """Longest sense pulse in s that neither sparks nor moves anything."""
        return longest_sense_s(self.kind, self.supply_v, self.inductance_h, self.pull_in_a)


def worst_case(
    load: LoadType,
    *,
    supply_v: float,
    wire_ohm: float = 0.0,
    cylinder_cm3: float | None = None,
    fuel: Fuel | None = None,
    rail_dry: bool = False,
    released_ul: float = 0.0,
    warm_k: float = 0.0,
) -> LoadModel:
    """The load at its worst.

    Args:
        load: the channel's load type, overrides applied.
        supply_v: measured supply in V; at least 12 V is assumed and a margin added.
        wire_ohm: lowest resistance of the wiring, in ohm.
        cylinder_cm3: one cylinder's displacement, for injectors; None: 500 cm3.
        fuel: what the injectors let out; None: the fuel of which the least is flammable.
        rail_dry: nothing can press fuel into the injectors, so that no liquid counts.
        released_ul: liquid that place would already have received (`FuelLedger`), in uL.
        warm_k: what is left of earlier drives' heat (`HeatLedger`), in K.
    """
    worst_v = max(supply_v, LOWEST_SUPPLY_V) + SUPPLY_MARGIN_V
    resistance = None if load.resistance_ohm is None else load.resistance_ohm.low + wire_ohm
    inductance = 0.0 if load.inductance_mh is None else load.inductance_mh.low * 1e-3
    target: float | None = None
    traits = LOAD_TRAITS[load.kind]
    if traits.dwell_share is not None:
        saturation = load.limits.max_current_a if load.saturation_a is None else load.saturation_a.low
        target = min(saturation, load.limits.max_current_a)
    injector = traits.hazard is HazardClass.FUEL and not rail_dry
    cylinder = (cylinder_cm3 or REFERENCE_CYLINDER_CM3) if injector else None
    flow = load.flow_cc_min.high if injector and load.flow_cc_min is not None else None
    whole = None if cylinder is None or flow is None else allowed_ul(cylinder, fuel)
    return LoadModel(
        kind=load.kind,
        supply_v=worst_v,
        resistance_ohm=resistance,
        inductance_h=inductance,
        target_a=target,
        pull_in_a=None if load.pull_in_a is None else load.pull_in_a.low,
        thermal=traits.thermal,
        flow_ul_per_ms=None if flow is None else physics.flow_ul_per_ms(flow),
        liquid_ul=None if whole is None else max(0.0, whole - released_ul),
        allowed_ul=whole,
        cylinder_cm3=cylinder,
        warm_k=warm_k,
    )
