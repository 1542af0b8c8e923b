"""The closed vocabularies of a job file: load kinds, hazard classes, suppression, settings."""

from enum import StrEnum


class LoadKind(StrEnum):
    """What hangs on a channel, as far as its physics and its driver are concerned."""

    INJECTOR = "injector"
    COIL = "coil"
    """Bare ignition coil primary, switched by the box itself."""
    IGNITER_COIL = "igniter_coil"
    """Ignition coil with its own power stage: the channel sees a logic input only."""
    RELAY = "relay"
    VALVE = "valve"
    LAMP = "lamp"
    MOTOR = "motor"
    STEPPER = "stepper"
    """One winding of a stepper motor."""
    LOGIC_INPUT = "logic_input"


class HazardClass(StrEnum):
    """How driving a channel can hurt someone."""

    NONE = "none"
    FUEL = "fuel"
    SPARK = "spark"
    CRANK = "crank"
    MOTION = "motion"
    HEAT = "heat"


class Fuel(StrEnum):
    """What the injectors let out."""

    PETROL = "petrol"
    """With up to 10 % of ethanol, too."""
    E85 = "e85"
    ETHANOL = "ethanol"
    METHANOL = "methanol"
    DIESEL = "diesel"
    PARAFFIN = "paraffin"
    LPG = "lpg"
    """Injected as a liquid."""


class Suppression(StrEnum):
    """What sits across the load to take its turn-off voltage."""

    NONE = "none"
    DIODE = "diode"
    RESISTOR = "resistor"


class JobSetting(StrEnum):
    """Where the loom is while it is proven; the cautions depend on it."""

    BENCH = "bench"
    VEHICLE = "vehicle"
    CLASSROOM = "classroom"
