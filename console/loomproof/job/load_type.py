"""What a type of load is: its electrical values, how it may be driven, what one notices when it acts."""

from typing import Annotated

from pydantic import Field

from loomproof.facts.kinds import HazardClass, LoadKind, Suppression
from loomproof.job.quantity import Flag, JobPart, Number, Quantity, Text, Whole

COPPER_PER_K = 0.00393
"""Temperature coefficient of annealed copper at 20 degC, 1/K (IEC 60028)."""


class Train(JobPart):
    """A pulse train: so many pulses, so often, each so long."""

    count: Annotated[Whole, Field(ge=1, le=2000)]
    """Number of pulses."""
    frequency_hz: Annotated[Number, Field(ge=0.1, le=5000)]
    """Pulses a second."""
    on_time_ms: Annotated[Number, Field(ge=0.05, le=100)]
    """Length of one pulse."""

    @property
    def period_us(self) -> int:
        """Time from one pulse's start to the next, in whole microseconds."""
        return round(1e6 / self.frequency_hz)

    @property
    def on_time_us(self) -> int:
        """Length of one pulse in whole microseconds."""
        return round(self.on_time_ms * 1e3)

    @property
    def duty(self) -> float:
        """Part of the time the output is on, 0 to 1 (over 1: the pulses overlap)."""
        return self.on_time_ms * 1e-3 * self.frequency_hz


class PeakHold(JobPart):
    """How a low-resistance injector is driven: full on, then chopped."""

    peak_ms: Annotated[Number, Field(ge=0.05, le=100)]
    """Time fully on."""
    chop_period_us: Annotated[Whole, Field(ge=150, le=1000)]
    """Period of the chopping after it."""
    chop_duty: Annotated[Number, Field(ge=0.05, le=0.95)]
    """Part of the chopping period that is on."""


class DriveLimits(JobPart):
    """What a load may be asked for at most. The box's own ceilings hold as well."""

    max_on_time_ms: Annotated[Number, Field(ge=0.05, le=100)]
    """Longest pulse of a train."""
    max_hold_ms: Annotated[Whole, Field(ge=0, le=10000)]
    """Longest time held on; 0: it may not be held."""
    max_duty: Annotated[Number, Field(gt=0, le=0.9)]
    """Largest part of the time it may be on in a train."""
    max_frequency_hz: Annotated[Number, Field(ge=0.1, le=5000)]
    """Fastest train."""
    max_count: Annotated[Whole, Field(ge=1, le=2000)]
    """Longest train."""
    max_current_a: Annotated[Number, Field(ge=0.01, le=20)]
    """Current at which the box switches the channel off at once."""
    max_sense_us: Annotated[Whole, Field(ge=0, le=200)]
    """Longest sense pulse that moves nothing and sparks nothing at 16 V; 0: none."""


class LoadType(JobPart):
    """A type of load. Values hold at 20 degC unless they say otherwise."""

    key: Annotated[Text, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    """The name a channel calls it by."""
    name: Text
    """What the trade calls it."""
    kind: LoadKind
    hazard: HazardClass = HazardClass.NONE
    """What driving it can do to someone."""
    fuel_pump: Flag = False
    """Driving it makes a fuel pump run: its channel must say `fuel_pump = true`."""
    resistance_ohm: Quantity | None = None
    """Winding at 20 degC; lamps cold, motors armature, logic inputs as the channel sees them."""
    inductance_mh: Quantity | None = None
    """At rest and unsaturated."""
    saturation_a: Quantity | None = None
    """Ignition coils: current at which the core saturates."""
    moves: Flag = False
    """It has an armature whose landing dents the current."""
    pull_in_a: Quantity | None = None
    """Current at which the armature starts to move."""
    opening_ms: Quantity | None = None
    """Time from switching on to the armature's landing, at 13.5 V."""
    steady_current_a: Quantity | None = None
    """Lamps hot, motors running free, at 13.5 V."""
    inrush_ratio: Quantity | None = None
    """First current over steady current."""
    flow_cc_min: Quantity | None = None
    """Injectors: static flow at 3 bar."""
    suppression: Suppression = Suppression.NONE
    """What is built in across it."""
    suppression_ohm: Quantity | None = None
    """The resistor, where that is the suppression."""
    temperature_coefficient_per_k: Annotated[Number, Field(ge=0, le=0.01)] = COPPER_PER_K
    """Of the resistance, referred to 20 degC."""
    limits: DriveLimits
    train: Train
    """What it is driven with unless the channel or the operator says otherwise."""
    peak_hold: PeakHold | None = None
    """Low-resistance injectors only."""
    notice: Text
    """What someone beside it hears or sees when it acts."""
