"""The loom behind the box's pins as plain data: supply, feeds, wires, loads, drivers.

Resistances of copper are given at 20 °C; `LoomSpec.temperature_c` sets the temperature of everything.
A fault is a change of these data (see `faults.apply_fault`), never a special case in the solver.
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import Literal

from loomproof.job.load_traits import REFERENCE_V
from loomproof_sim.plant.materials import COPPER_COEFFICIENT_PER_K


class Drive(Enum):
    """The state of a channel's output stage."""

    OFF = "off"
    """Not conducting (high impedance; the bias still shows)."""
    ON = "on"
    """Conducting: low-side to ground, high-side to the supply, logic to its high level."""
    HIGH = "high"
    """Half-bridge or logic output to its high level."""
    LOW = "low"
    """Half-bridge or logic output to ground."""


DriverKind = Literal["low_side", "high_side", "logic", "half_bridge"]


@dataclass(frozen=True, slots=True)
class SupplySpec:
    """The battery or bench supply: an electromotive force behind a resistance."""

    emf_v: float = 13.5
    internal_ohm: float = 0.03
    on: bool = True


@dataclass(frozen=True, slots=True)
class FeedSpec:
    """The shared supply wire, fuse and relay of a group of loads."""

    id: str
    resistance_ohm: float = 0.01
    open: bool = False


@dataclass(frozen=True, slots=True)
class SuppressionSpec:
    """The part fitted across a winding to absorb its turn-off voltage.

    Attributes:
        kind: nothing, a diode or a resistor.
        ohm: the resistor.
        diode_v: forward drop of the diode.
        reversed: the diode is the wrong way round and conducts while the load is driven.
    """

    kind: Literal["none", "diode", "resistor"] = "none"
    ohm: float = 680.0
    diode_v: float = 0.7
    reversed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundSpec:
    """What every load with a winding has.

    Attributes:
        resistance_ohm: winding at 20 °C.
        inductance_h: with the armature at rest and no saturation.
        shorted_fraction: share of the turns shorted on themselves (0 = sound).
        suppression: across the winding.
    """

    resistance_ohm: float
    inductance_h: float
    temperature_coefficient_per_k: float = COPPER_COEFFICIENT_PER_K
    shorted_fraction: float = 0.0
    suppression: SuppressionSpec = field(default_factory=SuppressionSpec)


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingSpec(WoundSpec):
    """A winding that pulls an armature or plunger over a stroke between two stops.

    Attributes:
        pull_in_a: current at which the resting armature lets go of its stop.
        opening_s: from switch-on to the far stop, at 13.5 V straight across the winding at 20 °C.
        stroke_gain: rise of inductance over the stroke, relative to rest (this makes the dip).
        spring_ratio: rise of spring force over the stroke, relative to the preload.
        damping_ratio: friction proportional to speed, 0 = none.
        stuck: the armature does not move at all.
    """

    pull_in_a: float
    opening_s: float
    stroke_gain: float = 0.2
    spring_ratio: float = 0.3
    damping_ratio: float = 0.0
    stuck: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class InjectorSpec(MovingSpec):
    """A fuel injector, high- or low-resistance."""

    resistance_ohm: float = 14.0
    inductance_h: float = 14e-3
    pull_in_a: float = 0.35
    opening_s: float = 1.5e-3
    stroke_gain: float = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class RelaySpec(MovingSpec):
    """A relay coil with its armature."""

    resistance_ohm: float = 90.0
    inductance_h: float = 0.3
    pull_in_a: float = 0.075
    opening_s: float = 8e-3
    stroke_gain: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveSpec(MovingSpec):
    """A solenoid valve. A spool valve has a small `stroke_gain` and a large `spring_ratio`."""

    resistance_ohm: float = 25.0
    inductance_h: float = 30e-3
    pull_in_a: float = 0.2
    opening_s: float = 4e-3
    stroke_gain: float = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSpec(WoundSpec):
    """A bare ignition coil's primary.

    Attributes:
        saturation_a: current scale of saturation: L(i) = Ls + (L - Ls)/cosh²(i/saturation_a).
        saturated_share: Ls/L, what is left in full saturation.
        gap_breakdown_v: secondary voltage at which the spark gap breaks down.
        turns_ratio: secondary to primary.
    """

    resistance_ohm: float = 0.5
    inductance_h: float = 3.5e-3
    saturation_a: float = 9.0
    saturated_share: float = 0.15
    gap_breakdown_v: float = 20_000.0
    turns_ratio: float = 85.0


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterSpec:
    """A coil with its igniter inside: the channel sees `input_ohm`, the feed sees the primary.

    Attributes:
        input_ohm: of the logic input, to ground.
        threshold_v: input voltage above which the igniter conducts.
        coil: the primary inside.
        on_ohm: of the igniter's switch.
        clamp_v: of the igniter's switch.
    """

    input_ohm: float = 500.0
    threshold_v: float = 2.0
    coil: CoilSpec = field(default_factory=CoilSpec)
    on_ohm: float = 0.15
    clamp_v: float = 380.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LampSpec:
    """A tungsten filament lamp.

    Attributes:
        resistance_ohm: filament at 20 °C; None = from the hot current and 2800 K.
        steady_current_a: hot, at `test_v`.
        heat_capacity_j_per_k: None = of a plain wire that radiates the power (see `loads.lamp`).
    """

    steady_current_a: float = 1.96
    test_v: float = REFERENCE_V
    resistance_ohm: float | None = None
    heat_capacity_j_per_k: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorSpec(WoundSpec):
    """A brushed DC motor with a load torque proportional to speed.

    Attributes:
        emf_constant_v_s: back-EMF per rad/s, and torque per ampere.
        inertia_kg_m2: rotor and what it turns.
        friction_n_m_s: load torque per rad/s.
        stuck: the rotor is held.
    """

    resistance_ohm: float = 1.5
    inductance_h: float = 0.8e-3
    emf_constant_v_s: float = 0.02
    inertia_kg_m2: float = 2e-6
    friction_n_m_s: float = 2e-5
    stuck: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WindingSpec(WoundSpec):
    """One winding of a stepper motor (or any plain R-L load)."""

    resistance_ohm: float = 40.0
    inductance_h: float = 30e-3
    step_current_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogicInputSpec:
    """A logic or tachometer input: a resistance to ground behind a logic output."""

    input_ohm: float = 10_000.0


LoadSpec = (
    InjectorSpec | RelaySpec | ValveSpec | CoilSpec | IgniterSpec | LampSpec | MotorSpec | WindingSpec
    | LogicInputSpec
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class IntermittentSpec:
    """A contact that breaks when the loom is wiggled.

    Breaks arrive at random (Poisson) at `breaks_per_s` times the severity of the wiggling, and each
    lasts an exponentially distributed time of mean `mean_open_s`, never under `shortest_open_s`.
    """

    breaks_per_s: float = 8.0
    mean_open_s: float = 2e-3
    shortest_open_s: float = 50e-6


@dataclass(frozen=True, slots=True)
class BranchSpec:
    """One channel's wire and load.

    Attributes:
        channel: the box's channel.
        load: None = nothing fitted at the end of the wire.
        feed_id: of the load's other end (low-side and igniters); None = straight from the supply.
        wire_ohm: of the channel's wire, at 20 °C.
        series_ohm: a bad joint in that wire.
        open: the wire is broken.
        to_ground_ohm: a fault path from the pin to ground.
        to_supply_ohm: a fault path from the pin to the supply.
        across_load_ohm: a fault path across the load.
        intermittent: a contact that opens when wiggled.
        connected: the load's connector is seated.
        partner: the other half of a half-bridge; the load lies between the two pins.
        wired_to: the channel at whose pin its wire ends; None = its own.
        ground_id: of an input's other end; None = straight to ground.
        far_end: where the load's other end goes; `auto` = to ground for inputs and behind high-side and
            half-bridge drivers, else to the feed.
    """

    channel: int
    load: LoadSpec | None
    feed_id: str | None = None
    wire_ohm: float = 0.0
    series_ohm: float = 0.0
    open: bool = False
    to_ground_ohm: float | None = None
    to_supply_ohm: float | None = None
    across_load_ohm: float | None = None
    intermittent: IntermittentSpec | None = None
    connected: bool = True
    partner: int | None = None
    wired_to: int | None = None
    ground_id: str | None = None
    far_end: Literal["auto", "feed", "ground"] = "auto"


@dataclass(frozen=True, slots=True)
class DriverSpec:
    """One output stage of the box.

    Attributes:
        on_ohm: conducting, shunt included.
        clamp_v: drain to ground (low-side), supply to output (high-side); turn-off voltage.
        bias_v: the mid-rail source behind `bias_ohm` that shows what hangs on a resting pin.
        high_v: high level of a logic output.
    """

    on_ohm: float = 0.1
    clamp_v: float = 48.0
    kind: DriverKind = "low_side"
    bias_v: float = 2.5
    bias_ohm: float = 47_000.0
    high_v: float = 5.0


@dataclass(frozen=True, slots=True)
class LoomSpec:
    """Everything behind the pins.

    Attributes:
        drivers: by channel; a channel without one gets the default `DriverSpec`.
        bridges: pairs of channels joined by a fault path: (channel, channel, ohm).
        temperature_c: of wires and windings.
        law: of armatures and saturating coils; `second` is for studies (see `loads.second`).
        grounds: that inputs share, each like a feed to ground.
    """

    supply: SupplySpec = field(default_factory=SupplySpec)
    feeds: tuple[FeedSpec, ...] = ()
    branches: tuple[BranchSpec, ...] = ()
    drivers: dict[int, DriverSpec] = field(default_factory=dict)
    bridges: tuple[tuple[int, int, float], ...] = ()
    temperature_c: float = 20.0
    law: Literal["first", "second"] = "first"
    grounds: tuple[FeedSpec, ...] = ()

    def branch(self, channel: int) -> BranchSpec:
        """The branch on a channel; KeyError if the loom has none there."""
        for branch in self.branches:
            if branch.channel == channel:
                return branch
        raise KeyError(f"no branch on channel {channel}")

    def driver(self, channel: int) -> DriverSpec:
        """The output stage of a channel."""
        return self.drivers.get(channel, DriverSpec())
