"""Cautions, with the signal words of ANSI Z535.4, for the place where they matter (pure).

DANGER: will kill or seriously injure; WARNING: could; CAUTION: could injure moderately; NOTICE: no injury.
They support, and never replace, the vehicle maker's instructions, local rules and trained persons.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.kinds import HazardClass, JobSetting


class Signal(StrEnum):
    """Signal words of ANSI Z535.4, the gravest first."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a signal word and what to do about the hazard."""

    signal: Signal
    text: str

    def __str__(self) -> str:
        """As printed in one line."""
        return f"{self.signal}: {self.text}"


STOP_IS_SOFTWARE = Caution(
    Signal.WARNING,
    "The stop key is software; it is not an emergency stop (ISO 13850). Keep the box's stop input and the "
    "battery disconnect within reach.",
)
LOCAL_RULES = Caution(
    Signal.NOTICE,
    "Follow the maker's instructions and the rules of your place; leave work that needs a licence or "
    "training to those who have it.",
)
_FIRE = "Keep flames and sparks away and an extinguisher at hand."

_ON_VEHICLE: Mapping[HazardClass, tuple[Caution, ...]] = {
    HazardClass.NONE: (),
    HazardClass.FUEL: (
        Caution(
            Signal.DANGER,
            "An injector on a fuelled rail floods the cylinder; vapour explodes. Isolate the fuel first. "
            + _FIRE,
        ),
        Caution(
            Signal.WARNING,
            "Fuel under pressure enters skin and eyes. Relieve the rail before you open anything.",
        ),
    ),
    HazardClass.SPARK: (
        Caution(
            Signal.WARNING,
            "Tens of kilovolts: can kill, stops pacemakers. Touch no coil, lead or plug while it is driven.",
        ),
        Caution(
            Signal.WARNING,
            "A spark lights fuel and vapour. Spark only while the cylinders are dry and aired.",
        ),
        Caution(Signal.NOTICE, "A coil without a plug or a grounded gap breaks down inside. Fit one first."),
    ),
    HazardClass.CRANK: (
        Caution(
            Signal.DANGER,
            "The engine will turn and can drag the vehicle. Neutral, wheels chocked, hands clear.",
        ),
    ),
    HazardClass.MOTION: (
        Caution(
            Signal.WARNING, "Blades, fans and linkages move without notice and can cut or trap. Keep clear."
        ),
    ),
    HazardClass.HEAT: (
        Caution(
            Signal.CAUTION, "Lamps and heaters burn skin and can light what touches them. Let them cool."
        ),
    ),
}
_ON_BENCH: Mapping[HazardClass, tuple[Caution, ...]] = {
    HazardClass.FUEL: (
        Caution(
            Signal.WARNING,
            f"Injectors that have run hold fuel. Drain them and connect nothing to a fuel supply. {_FIRE}",
        ),
    ),
    HazardClass.SPARK: (
        Caution(
            Signal.WARNING,
            "Tens of kilovolts: can kill, stops pacemakers. Touch no coil, lead or plug while it is driven.",
        ),
        Caution(Signal.WARNING, "A spark lights vapour. Keep fuel, cleaner and gas off this bench."),
        Caution(Signal.NOTICE, "A coil without a plug or a grounded gap breaks down inside. Fit one first."),
    ),
    HazardClass.CRANK: (
        Caution(Signal.WARNING, "A starter jumps when it is fed. Bolt it down or leave it unconnected."),
    ),
}
PUMP = Caution(
    Signal.DANGER,
    "A fuel pump that runs puts the rail under pressure again. Unplug the pump to test its relay; isolate "
    "and state the isolation anew before any injector is driven.",
)
PULLING = Caution(
    Signal.CAUTION,
    "Pull a connector only by its body, with the engine cold and everything off; the box only sends sense "
    "pulses now.",
)
PULLING_DRIVEN = Caution(
    Signal.WARNING,
    "This check drives the load: no look sees it otherwise. Engine off and cold, fingers and tools out of what moves. "
    "Pull the connector by its body, let go of it and step back before you say that it is done.",
)
FLEXING_DRIVEN = Caution(
    Signal.WARNING,
    "The load is driven while you flex the loom. Bend the loom only, away from the load; keep fingers, sleeves and "
    "tools out of what moves.",
)
CONNECTING = Caution(
    Signal.NOTICE,
    "Connect the box with the supply off, and unplug every control unit that shares the loom: it can be "
    "destroyed.",
)


def cautions_for(hazard: HazardClass, setting: JobSetting, *, fuel_pump: bool = False) -> tuple[Caution, ...]:
    """The cautions to show before a channel of that hazard class is driven, gravest first."""
    chosen = _ON_VEHICLE[hazard]
    if setting is not JobSetting.VEHICLE:
        chosen = _ON_BENCH.get(hazard, chosen)
    if fuel_pump:
        chosen = (PUMP, *chosen)
    order = list(Signal)
    return tuple(sorted(chosen, key=lambda caution: order.index(caution.signal)))


def opening_cautions() -> tuple[Caution, ...]:
    """The cautions to show before a session begins, whatever the job."""
    return (STOP_IS_SOFTWARE, CONNECTING, LOCAL_RULES)
