"""Cautions, with the signal words and colours of ANSI Z535.4, for the place where they matter (pure).

DANGER: will kill or seriously injure; WARNING: could; CAUTION: could cause minor or moderate injury; NOTICE: no injury.
Each is said in full once for its hazard class, where the statement is made that frees it (and again whenever it has to be
made again, as after its expiry); the steps in between carry one line.
They support, and never replace, the vehicle maker's instructions, local rules and trained persons.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.facts.signal import Signal
from loomproof.safety.statements import HAZARD_STATEMENTS, PUMP_STATEMENTS, StatementKind


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a signal word and what to do about the hazard."""

    signal: Signal
    text: str

    def __str__(self) -> str:
        """As printed in one line."""
        return f"{self.signal}: {self.text}"


SET_OFF = Caution(
    Signal.DANGER,
    "The shortest pulse of this box can fire an airbag or a belt pretensioner, or close a high-voltage circuit. Never plug "
    "it into either.",
)
STOP_IS_SOFTWARE = Caution(
    Signal.WARNING,
    "The stop key is software; it is not an emergency stop (ISO 13850). Keep the box's stop input and the "
    "battery disconnect within reach.",
)
BATTERY = Caution(
    Signal.WARNING,
    "A battery gives off explosive gas and can melt a ring on its leads. Wear eye protection, take off rings and watches, "
    "keep sparks away. Take the ground lead off first and put it on last.",
)
NOT_FOR_THIS_BOX = Caution(
    Signal.WARNING,
    "Direct injection, piezo injectors and capacitor-discharge ignition work on 60 V to 400 V and are not for this box. Do "
    "not connect them.",
)
LOCAL_RULES = Caution(
    Signal.NOTICE,
    "Follow the maker's instructions and the rules of your place; leave work that needs a licence or "
    "training to those who have it.",
)
CONNECTING = Caution(
    Signal.NOTICE,
    "Connect the box with the supply off, and unplug every control unit that shares the loom: it can be "
    "destroyed.",
)
PULLING = Caution(
    Signal.CAUTION,
    "Pull a connector only by its body, with the engine cold and everything off; the box only sends sense "
    "pulses now.",
)
PUMP = Caution(
    Signal.DANGER,
    "A fuel pump that runs puts the rail under pressure again. Unplug the pump to test its relay; isolate "
    "and state the isolation anew before any injector is driven.",
)
_FIRE = "Keep flames and sparks away and an extinguisher at hand."
_KILOVOLTS = Caution(
    Signal.WARNING,
    "Tens of kilovolts: can kill, stops pacemakers. Touch no coil, lead or plug while it is driven.",
)
_GAP = Caution(Signal.NOTICE, "A coil without a plug or a grounded gap breaks down inside. Fit one first.")
_DRY = Caution(
    Signal.NOTICE, "An injector wears when it runs dry. Drive it no more than you need to hear it."
)

_ON_VEHICLE: Mapping[HazardClass, tuple[Caution, ...]] = {
    HazardClass.NONE: (),
    HazardClass.FUEL: (
        Caution(
            Signal.DANGER,
            f"An injector on a fuelled rail floods the cylinder; vapour explodes. Isolate the fuel first. {_FIRE}",
        ),
        Caution(
            Signal.WARNING,
            "Fuel under pressure enters skin and eyes. Wear eye protection and relieve the rail before you open anything. "
            "Diesel and direct-injection rails hold hundreds of bar after the engine has stopped: never open one.",
        ),
        _DRY,
    ),
    HazardClass.SPARK: (
        _KILOVOLTS,
        Caution(
            Signal.WARNING,
            "A spark lights fuel and vapour. Spark only while the cylinders are dry and aired.",
        ),
        _GAP,
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
            "Injectors that have run hold fuel. Drain them, wear eye protection and connect nothing to a fuel supply. "
            f"{_FIRE}",
        ),
        _DRY,
    ),
    HazardClass.SPARK: (
        _KILOVOLTS,
        Caution(Signal.WARNING, "A spark lights vapour. Keep fuel, cleaner and gas off this bench."),
        _GAP,
    ),
    HazardClass.CRANK: (
        Caution(Signal.WARNING, "A starter jumps when it is fed. Bolt it down or leave it unconnected."),
    ),
}
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

_IN_SHORT: Mapping[HazardClass, str] = {
    HazardClass.FUEL: "Fuel: isolated, relieved, no flame.",
    HazardClass.SPARK: "Kilovolts: touch nothing, no vapour.",
    HazardClass.CRANK: "The engine turns: hands clear.",
    HazardClass.MOTION: "Parts move suddenly: keep clear.",
    HazardClass.HEAT: "Hot parts: let them cool.",
}
_CAUTIONED: Mapping[HazardClass, tuple[StatementKind, ...]] = {
    **HAZARD_STATEMENTS,
    HazardClass.FUEL: (*HAZARD_STATEMENTS[HazardClass.FUEL], StatementKind.RAIL_DRY),
    HazardClass.SPARK: (*HAZARD_STATEMENTS[HazardClass.SPARK], StatementKind.CYLINDERS_AIRED),
}
_PUMP_IN_SHORT = "Pump unplugged, or line closed."
PULLING_IN_SHORT = Caution(Signal.CAUTION, "By its body, engine cold, everything off.")


def cautions_for(hazard: HazardClass, setting: JobSetting, *, fuel_pump: bool = False) -> tuple[Caution, ...]:
    """The cautions of a hazard class in full, gravest first."""
    chosen = _ON_VEHICLE[hazard]
    if setting is not JobSetting.VEHICLE:
        chosen = _ON_BENCH.get(hazard, chosen)
    return _gravest_first((PUMP, *chosen) if fuel_pump else chosen)


def full_cautions(
    hazards: Iterable[HazardClass], setting: JobSetting, *, fuel_pump: bool = False
) -> tuple[Caution, ...]:
    """The cautions of all of a load's hazard classes in full, gravest first."""
    found = [caution for hazard in hazards for caution in cautions_for(hazard, setting)]
    return _gravest_first(dict.fromkeys([PUMP, *found] if fuel_pump else found))


def brief_cautions(
    hazards: Iterable[HazardClass], setting: JobSetting, *, fuel_pump: bool = False
) -> tuple[Caution, ...]:
    """The same in one line, with the gravest signal word; nothing where there is none.

    For where the full text has been read: at the statements that the drive stands on.
    """
    classes = tuple(hazards)
    whole = full_cautions(classes, setting, fuel_pump=fuel_pump)
    if not whole:
        return ()
    words = [_PUMP_IN_SHORT] if fuel_pump else []
    words += [_IN_SHORT[hazard] for hazard in classes if hazard in _IN_SHORT]
    return (Caution(whole[0].signal, " ".join(words)),)


def statement_cautions(kind: StatementKind, setting: JobSetting) -> tuple[Caution, ...]:
    """The cautions in full that belong to a statement, each time that it is to be made."""
    if kind is StatementKind.LOOM_HARMLESS:
        return (SET_OFF,)
    if kind in PUMP_STATEMENTS:
        return (PUMP,)
    return full_cautions((h for h, kinds in _CAUTIONED.items() if kind in kinds), setting)


def opening_cautions() -> tuple[Caution, ...]:
    """The cautions to show before a session begins, whatever the job, gravest first."""
    return (SET_OFF, STOP_IS_SOFTWARE, BATTERY, NOT_FOR_THIS_BOX, CONNECTING, LOCAL_RULES)


def _gravest_first(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    order = list(Signal)
    return tuple(sorted(cautions, key=lambda caution: order.index(caution.signal)))
