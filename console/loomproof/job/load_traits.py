"""What each kind of load is, one row per kind. To add a kind: `LoadKind`, a row here, its builder in the simulated loom.

Every room reads this table, the simulated box too; the firmware gets its part as `firmware/core/load_traits_gen.h`,
written by `python -m loomproof.job.publish`. What differs from part to part stands in the job and its catalogue;
here stands what holds for every part of a kind. `tests/job/test_load_traits.py` walks all kinds.

Figures without another source are common practice, no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from loomproof.facts.approved_drive import Thermal
from loomproof.facts.kinds import HazardClass, LoadKind

REFERENCE_V = 13.5
"""Voltage at which opening times and steady currents are stated: a vehicle's supply while it is charged."""
HIGHEST_SUPPLY_V = 16.0
"""Upper end of the 12 V supply range, ISO 16750-2:2010 table 1."""
LOGIC_V = 5.0
"""What drives logic inputs and igniters."""
DWELL_SHARE = 0.65
"""Part of a linear coil's time to saturation that is allowed: a real one arrives 22 to 30 percent sooner."""
SENSE_ENERGY_J = 0.1e-3
"""Most that a sense pulse may leave in an inductance: half of the least spark that lights a vapour like petrol's.

Published least ignition energies of such vapours are 0.2 to 0.3 mJ (B. Lewis and G. von Elbe, Combustion, Flames and
Explosions of Gases; survey in V. Babrauskas, Fire 5(6) 201, 2022; both from memory). The share is a judgement of this
project, unchecked; `docs/safety.md` works out the voltage that a coil's secondary reaches with it.
"""
SENSE_PULL_IN_SHARE = 0.5
"""Most of the pull-in current that a sense pulse may reach, so that nothing moves."""
LEAST_SPARK_COIL_H = 1e-3
"""A coil may be another than the job says, and the box knows no inductance at all: the sense pulse of whatever sparks is
capped as if it were this one, half of the smallest primary in use (2 to 8 mH, common practice, no source)."""
PULSE_SUPPLY_V = 20
"""The energy of a pulse is reckoned at this supply: a box drives nothing above 18 V."""
PULSE_US_MA_PER_MJ = 1_000_000 // PULSE_SUPPLY_V
"""Time by current that takes 1 mJ from that supply, in us mA: E = V I t."""


class Nature(StrEnum):
    """What the channel sees of a load, and so how it is measured and judged."""

    WINDING = "winding"
    """A copper winding: its resistance is a thermometer, the end of its pulse shows the suppression."""
    SPARK_PRIMARY = "spark_primary"
    """A winding of few turns on a core that saturates."""
    ROTOR = "rotor"
    """A motor's armature: its current falls as it turns."""
    FILAMENT = "filament"
    """Its resistance grows with its own heat."""
    INPUT = "input"
    """A logic input, to which the channel gives a level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """How the armature of a kind lands."""

    soonest_s: float
    """Usual opening times, where the load type states none."""
    latest_s: float
    usual_stroke: float
    """Rise of inductance over the smallest usual stroke, relative."""
    least_stroke: float
    """Smallest rise that must be excluded before it may be said that nothing moves: half to two thirds of the usual."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inrush:
    """How the current of a kind falls from its inrush to its steady value."""

    pulse_s: float
    """Pulse that shows it."""
    steady_exponent: float
    """Of the voltage, to which the steady current is proportional."""
    still_high: float
    """By how much a heavy one still draws more at the end of that pulse, relative."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassCeilings:
    """The most that a box allows on a channel of this kind, whatever is configured.

    Judgement of this project, unchecked: above what the catalogue's loads of the kind need, and below what can burn
    one out within seconds. The rest that a drive owes follows from the duty.
    """

    on_time_ms: int
    hold_ms: int
    """A multiple of 100; 0: it may not be held."""
    duty_percent: int
    current_ma: int
    """A multiple of 100."""
    pulse_energy_mj: int = 0
    """Most that one pulse may take at the highest supply of a box; a multiple of 10; 0: no further limit."""

    def longest_us(self, current_ma: int) -> int:
        """Return the longest pulse at a current limit: its on-time's ceiling, or what the energy leaves."""
        if self.pulse_energy_mj == 0:
            return self.on_time_ms * 1000
        return min(self.on_time_ms * 1000, self.pulse_energy_mj * PULSE_US_MA_PER_MJ // max(current_ma, 1))


PLAIN_CEILINGS = ClassCeilings(on_time_ms=100, hold_ms=10_000, duty_percent=90, current_ma=20_000)
"""The box's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadTraits:
    """One kind of load. What has no default must be thought of for each kind."""

    noun: str
    """With its article."""
    nature: Nature
    values: frozenset[str]
    """Values a load type of this kind must state; any other means nothing for it."""
    hazard: HazardClass
    """Carried whatever the job says; a job may only add to it (but see `may_crank`)."""
    held: bool
    """It may be held on."""
    highest_v: float
    """Most that drives it."""
    thermal: Thermal | None
    """None: it is made to glow, or takes no power from the channel."""
    seen: bool
    """A person sees that it acts; otherwise hears it."""
    part_spread: float
    """How far one part's resistance strays within its batch, relative."""
    ceilings: ClassCeilings
    inductance_strays: tuple[float, float] = (1.2, 0.003)
    """By how much a measured inductance strays further than its stated uncertainty says, and what comes on top,
    relative: from the errors against the truth of some hundred simulated looms, never used to publish."""
    landing: Landing | None = None
    """It has an armature, whose landing dents the current."""
    inrush: Inrush | None = None
    dwell_share: float | None = None
    """Part of the linear time to saturation that a pulse may take; None: it does not saturate."""
    may_crank: bool = False
    """A job may say that it turns the engine: `crank` then stands in the place of its hazard."""
    runs_pump: bool = False
    """It may run a fuel pump."""
    peak_hold: bool = False
    """It may be driven with peak and hold."""
    placed: bool = False
    """Loads of this kind look alike: only a location distinguishes them."""
    commands: bool = False
    """It switches or steers something else, whose hazard its job has to say."""
    easily_missed: bool = False
    """People often notice nothing although it acts."""
    engine_letter: str = ""
    """In the picture of the engine; empty: it is not drawn at a cylinder."""
    box_check_rank: int | None = None
    """Which kinds the box's own check drives first, where the job says that they are harmless; None: it never does."""

    @property
    def moves(self) -> bool:
        """It has an armature."""
        return self.landing is not None

    @property
    def sparks(self) -> bool:
        """Driving it makes a spark."""
        return self.hazard is HazardClass.SPARK


_ARMATURE_VALUES = frozenset({"resistance_ohm", "inductance_mh", "pull_in_a", "opening_ms"})

LOAD_TRAITS: Mapping[LoadKind, LoadTraits] = MappingProxyType(
    {
        LoadKind.INJECTOR: LoadTraits(
            noun="an injector",
            nature=Nature.WINDING,
            values=_ARMATURE_VALUES | {"flow_cc_min"},
            hazard=HazardClass.FUEL,
            held=False,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(10.0, 15.0, 60.0),
            seen=False,
            part_spread=0.015,
            ceilings=ClassCeilings(
                on_time_ms=25, hold_ms=0, duty_percent=50, current_ma=15_000, pulse_energy_mj=2500
            ),
            landing=Landing(soonest_s=0.9e-3, latest_s=2.2e-3, usual_stroke=0.05, least_stroke=0.025),
            peak_hold=True,
            placed=True,
            engine_letter="I",
        ),
        LoadKind.COIL: LoadTraits(
            noun="an ignition coil",
            nature=Nature.SPARK_PRIMARY,
            values=frozenset({"resistance_ohm", "inductance_mh", "saturation_a"}),
            hazard=HazardClass.SPARK,
            held=False,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(60.0, 5.0, 40.0),
            seen=True,
            part_spread=0.03,
            ceilings=ClassCeilings(
                on_time_ms=10, hold_ms=0, duty_percent=10, current_ma=20_000, pulse_energy_mj=1000
            ),
            inductance_strays=(1.9, 0.01),
            dwell_share=DWELL_SHARE,
            placed=True,
            engine_letter="S",
        ),
        LoadKind.IGNITER_COIL: LoadTraits(
            noun="an ignition coil",
            nature=Nature.INPUT,
            values=frozenset({"resistance_ohm"}),
            hazard=HazardClass.SPARK,
            held=False,
            highest_v=LOGIC_V,
            thermal=None,
            seen=True,
            part_spread=0.015,
            ceilings=ClassCeilings(on_time_ms=10, hold_ms=0, duty_percent=10, current_ma=200),
            placed=True,
            engine_letter="S",
        ),
        LoadKind.RELAY: LoadTraits(
            noun="a relay",
            nature=Nature.WINDING,
            values=_ARMATURE_VALUES,
            hazard=HazardClass.NONE,
            held=True,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(15.0, 30.0, 80.0),
            seen=False,
            part_spread=0.015,
            ceilings=ClassCeilings(on_time_ms=100, hold_ms=10_000, duty_percent=90, current_ma=10_000),
            inductance_strays=(1.5, 0.01),
            landing=Landing(soonest_s=3e-3, latest_s=12e-3, usual_stroke=0.10, least_stroke=0.07),
            runs_pump=True,
            commands=True,
            box_check_rank=0,
        ),
        LoadKind.VALVE: LoadTraits(
            noun="a solenoid valve",
            nature=Nature.WINDING,
            values=_ARMATURE_VALUES,
            hazard=HazardClass.NONE,
            held=True,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(40.0, 8.0, 80.0),
            seen=False,
            part_spread=0.015,
            ceilings=PLAIN_CEILINGS,
            landing=Landing(soonest_s=2e-3, latest_s=12e-3, usual_stroke=0.08, least_stroke=0.025),
            commands=True,
            box_check_rank=1,
        ),
        LoadKind.LAMP: LoadTraits(
            noun="a lamp",
            nature=Nature.FILAMENT,
            values=frozenset({"resistance_ohm", "steady_current_a", "inrush_ratio"}),
            hazard=HazardClass.NONE,
            held=True,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=None,
            seen=True,
            part_spread=0.05,
            ceilings=PLAIN_CEILINGS,
            inrush=Inrush(pulse_s=0.1, steady_exponent=0.55, still_high=0.15),
            box_check_rank=2,
        ),
        LoadKind.MOTOR: LoadTraits(
            noun="a motor",
            nature=Nature.ROTOR,
            values=frozenset({"resistance_ohm", "inductance_mh", "steady_current_a", "inrush_ratio"}),
            hazard=HazardClass.MOTION,
            held=True,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(50.0, 4.0, 60.0),
            seen=True,
            part_spread=0.12,
            ceilings=ClassCeilings(on_time_ms=100, hold_ms=5_000, duty_percent=50, current_ma=20_000),
            inrush=Inrush(pulse_s=0.1, steady_exponent=1.0, still_high=0.4),
            may_crank=True,
            runs_pump=True,
        ),
        LoadKind.STEPPER: LoadTraits(
            noun="a stepper winding",
            nature=Nature.WINDING,
            values=frozenset({"resistance_ohm", "inductance_mh"}),
            hazard=HazardClass.NONE,
            held=True,
            highest_v=HIGHEST_SUPPLY_V,
            thermal=Thermal(10.0, 12.0, 60.0),
            seen=False,
            part_spread=0.015,
            ceilings=ClassCeilings(on_time_ms=100, hold_ms=2_000, duty_percent=50, current_ma=5_000),
            easily_missed=True,
        ),
        LoadKind.LOGIC_INPUT: LoadTraits(
            noun="a logic input",
            nature=Nature.INPUT,
            values=frozenset({"resistance_ohm"}),
            hazard=HazardClass.NONE,
            held=False,
            highest_v=LOGIC_V,
            thermal=None,
            seen=True,
            part_spread=0.015,
            ceilings=ClassCeilings(on_time_ms=100, hold_ms=0, duty_percent=90, current_ma=200),
            commands=True,
            easily_missed=True,
        ),
    }
)
"""Every kind. `thermal` is a cautious assumption of this project, no source: a winding of the kind's usual size, dry
and in still air. The steady exponents are common practice, no source: i ~ v^0.55 of a filament, whose resistance
grows with its temperature; i ~ v of a motor, whose friction grows with its speed."""


def _with_nature(natures: Iterable[Nature]) -> frozenset[LoadKind]:
    return frozenset(kind for kind, traits in LOAD_TRAITS.items() if traits.nature in set(natures))


LOGIC_KINDS = _with_nature({Nature.INPUT})
"""The channel sees a logic input."""
FILAMENT_KINDS = _with_nature({Nature.FILAMENT})
"""Their resistance grows with their own heat: looked at cold, and left to cool."""
WINDING_KINDS = _with_nature({Nature.WINDING})
"""Copper windings: their resistance is a thermometer, the end of their pulse shows the suppression."""
WOUND_KINDS = _with_nature({Nature.WINDING, Nature.SPARK_PRIMARY})
"""Windings whose inductance is measured, so that shorted turns show."""
INRUSH_KINDS = frozenset(kind for kind, traits in LOAD_TRAITS.items() if traits.inrush is not None)
"""Their current shows that they act: it falls from its inrush to its steady value."""
MOVING_KINDS = _with_nature({Nature.ROTOR}) | {kind for kind, traits in LOAD_TRAITS.items() if traits.moves}
"""What moves in them shows in their current: an armature that lands, or a rotor that turns."""
