"""What a person must state before a hazard class may be driven, in words that fit the setting (pure).

A statement is a list of facts, each confirmed on its own. The words change with the setting - on a bench
nothing is connected to fuel - but no fact disappears: what does not apply is stated as not applying.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.kinds import HazardClass, JobSetting, LoadKind
from loomproof.job.load_traits import LOAD_TRAITS, Nature
from loomproof.job.load_type import LoadType


class StatementKind(StrEnum):
    """What a person can state."""

    LOOM_HARMLESS = "loom_harmless"
    FUEL_ISOLATED = "fuel_isolated"
    RAIL_DRY = "rail_dry"
    CYLINDERS_AIRED = "cylinders_aired"
    SPARK_CLEAR = "spark_clear"
    CRANK_CLEAR = "crank_clear"
    MOTION_CLEAR = "motion_clear"
    HEAT_WATCHED = "heat_watched"
    PUMP_UNPLUGGED = "pump_unplugged"
    PUMP_MAY_RUN = "pump_may_run"


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing a person confirms. `key` is stable, `text` is what the person reads."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class StatementForm:
    """A statement as it is put to a person.

    `typed_word` must be typed in full (any case) where a slip of a key must not be enough; empty: not asked.
    """

    kind: StatementKind
    title: str
    facts: tuple[Fact, ...]
    typed_word: str = ""

    @property
    def fact_keys(self) -> tuple[str, ...]:
        """The keys of all facts, in order."""
        return tuple(fact.key for fact in self.facts)

    @property
    def sentence(self) -> str:
        """The whole statement in one line, for the record."""
        return f"{self.title}: " + "; ".join(fact.text for fact in self.facts)

    def missing(self, facts: tuple[str, ...]) -> tuple[Fact, ...]:
        """The facts that were not confirmed."""
        return tuple(fact for fact in self.facts if fact.key not in facts)


_Facts = tuple[tuple[str, str], ...]

_TITLES: Mapping[StatementKind, str] = {
    StatementKind.LOOM_HARMLESS: "Nothing on this loom can be set off by a pulse",
    StatementKind.FUEL_ISOLATED: "The fuel supply is isolated",
    StatementKind.RAIL_DRY: "The rail is dry and open, or the injectors are out of it",
    StatementKind.CYLINDERS_AIRED: "The cylinders are aired",
    StatementKind.SPARK_CLEAR: "It is safe to spark",
    StatementKind.CRANK_CLEAR: "The engine may turn",
    StatementKind.MOTION_CLEAR: "Moving parts are clear",
    StatementKind.HEAT_WATCHED: "Hot parts are watched",
    StatementKind.PUMP_UNPLUGGED: "The fuel pump is unplugged",
    StatementKind.PUMP_MAY_RUN: "The fuel pump may run",
}

_TYPED: Mapping[StatementKind, str] = {
    StatementKind.LOOM_HARMLESS: "none",
    StatementKind.FUEL_ISOLATED: "isolated",
    StatementKind.RAIL_DRY: "dry",
    StatementKind.CRANK_CLEAR: "clear",
    StatementKind.PUMP_MAY_RUN: "run",
}

_ON_VEHICLE: Mapping[StatementKind, _Facts] = {
    StatementKind.LOOM_HARMLESS: (
        (
            "no_restraint",
            "no airbag, belt pretensioner or other pyrotechnic part is on any connector that the box is plugged into",
        ),
        (
            "no_high_voltage",
            "no high-voltage circuit, and nothing that closes one, is on any of these connectors",
        ),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.FUEL_ISOLATED: (
        ("pump_cannot_run", "the fuel pump cannot run: its fuse, relay or connector is out"),
        ("pressure_relieved", "the rail pressure is relieved"),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.RAIL_DRY: (
        (
            "rail_open",
            "the rail is drained and stands open, or every injector is out of it: nothing can press fuel in",
        ),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.CYLINDERS_AIRED: (
        (
            "plugs_out_turned",
            "the engine was turned over with the plugs out and the injectors off, or stood open to dry",
        ),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.SPARK_CLEAR: (
        (
            "cylinders_dry",
            "no fuel has reached the cylinders since they were last aired, and there is no smell of fuel",
        ),
        ("gap_fitted", "each coil has a plug or a spark gap on it, grounded"),
        ("hands_off", "nobody touches a coil, a lead or a plug; nobody with a pacemaker is near"),
    ),
    StatementKind.CRANK_CLEAR: (
        ("drive_open", "the gearbox is in neutral or the drive is uncoupled, and the vehicle cannot roll"),
        ("people_clear", "people, clothing and tools are clear of belts, fan and crankshaft"),
        ("cannot_fire", "the engine cannot fire: fuel is isolated and no ignition is powered but by the box"),
    ),
    StatementKind.MOTION_CLEAR: (
        ("fingers_clear", "fingers, clothing and tools are clear of blades, fans and linkages"),
        ("may_move", "what will move may move: nothing is clamped, jammed or resting on it"),
    ),
    StatementKind.HEAT_WATCHED: (
        ("nothing_flammable", "nothing flammable touches or is near what gets hot"),
        ("watched", "somebody watches it until it is off"),
    ),
    StatementKind.PUMP_UNPLUGGED: (
        ("pump_unplugged", "the fuel pump's own connector is out, so the relay can only click"),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.PUMP_MAY_RUN: (
        ("line_closed", "the fuel line is closed and tight, or returns to the tank; nothing is open"),
        ("injectors_off", "no injector is driven, and the isolation will be made and stated anew afterwards"),
        ("no_ignition_source", "there is no flame, spark or hot part near, and an extinguisher is at hand"),
    ),
}

_ON_BENCH: Mapping[StatementKind, _Facts] = {
    StatementKind.LOOM_HARMLESS: (
        ("no_restraint", "no airbag, belt pretensioner or other pyrotechnic part is connected on this bench"),
        (
            "no_high_voltage",
            "no high-voltage circuit, and nothing that closes one, is connected on this bench",
        ),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.FUEL_ISOLATED: (
        ("pump_cannot_run", "no fuel pump and no fuel supply is connected to anything on this bench"),
        (
            "pressure_relieved",
            "no injector on this bench is joined to a rail or a line that can hold pressure",
        ),
        (
            "no_fuel_about",
            "the injectors are drained, and there is no liquid fuel and no smell of fuel about",
        ),
    ),
    StatementKind.RAIL_DRY: (
        ("rail_open", "no injector on this bench is joined to a rail or a line: nothing can press fuel in"),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.CYLINDERS_AIRED: (
        ("plugs_out_turned", "nothing on this bench can hold fuel or vapour where a spark jumps"),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.SPARK_CLEAR: (
        (
            "cylinders_dry",
            "nothing that held fuel is open on or near this bench, and there is no smell of fuel",
        ),
        ("gap_fitted", "each coil has a plug or a spark gap on it, grounded"),
        ("hands_off", "nobody touches a coil, a lead or a plug; nobody with a pacemaker is near"),
    ),
    StatementKind.CRANK_CLEAR: (
        ("drive_open", "no starter and no engine is connected to this bench, or the starter is bolted down"),
        ("people_clear", "people, clothing and tools are clear of anything that turns"),
        ("cannot_fire", "nothing on this bench can fire"),
    ),
    StatementKind.PUMP_UNPLUGGED: (
        ("pump_unplugged", "no fuel pump is connected to the relay, so the relay can only click"),
        ("no_fuel_about", "there is no liquid fuel and no smell of fuel about"),
    ),
    StatementKind.PUMP_MAY_RUN: (
        ("line_closed", "the pump on this bench is dry, or pumps test fluid in a closed circuit"),
        ("injectors_off", "no injector is driven, and the isolation will be stated anew afterwards"),
        ("no_ignition_source", "there is no flame, spark or hot part near, and an extinguisher is at hand"),
    ),
}


def form_for(kind: StatementKind, setting: JobSetting) -> StatementForm:
    """The statement in the words of the setting.

    Bench and classroom looms are not on a vehicle, so both use the bench's words; a kind without bench words
    is the same everywhere. The set of facts is the same in every setting.
    """
    facts = _ON_VEHICLE[kind]
    if setting is not JobSetting.VEHICLE:
        facts = _ON_BENCH.get(kind, facts)
    return StatementForm(kind, _TITLES[kind], tuple(Fact(k, t) for k, t in facts), _TYPED.get(kind, ""))


HAZARD_STATEMENTS: Mapping[HazardClass, tuple[StatementKind, ...]] = {
    HazardClass.NONE: (),
    HazardClass.FUEL: (StatementKind.FUEL_ISOLATED,),
    HazardClass.SPARK: (StatementKind.SPARK_CLEAR,),
    HazardClass.CRANK: (StatementKind.CRANK_CLEAR,),
    HazardClass.MOTION: (StatementKind.MOTION_CLEAR,),
    HazardClass.HEAT: (StatementKind.HEAT_WATCHED,),
}
"""What each hazard class always needs; spark after fuel, and fuel pumps, need more (`Interlocks`)."""


PUMP_STATEMENTS = frozenset({StatementKind.PUMP_UNPLUGGED, StatementKind.PUMP_MAY_RUN})
"""What is stated of a pump; one of them is always needed (`pump_statement`)."""


def pump_statement(kind: LoadKind) -> StatementKind:
    """What must be stated before a channel marked as the fuel pump is driven.

    A relay is only clicked, with the pump unplugged. A pump that hangs on the channel itself cannot be
    unplugged and tested at once: it runs, so more must be stated.
    """
    return (
        StatementKind.PUMP_MAY_RUN
        if LOAD_TRAITS[kind].nature is Nature.ROTOR
        else StatementKind.PUMP_UNPLUGGED
    )


def hazards_of(load: LoadType) -> tuple[HazardClass, ...]:
    """Every hazard class of a load: what it is said to be, and what its kind always is. `NONE` alone if none.

    A motor said to crank the engine needs `crank` only.
    """
    traits = LOAD_TRAITS[load.kind]
    bound = traits.hazard
    if traits.may_crank and load.hazard is HazardClass.CRANK:
        bound = HazardClass.CRANK
    found = dict.fromkeys(h for h in (load.hazard, bound) if h is not HazardClass.NONE)
    return tuple(found) or (HazardClass.NONE,)


def statements_for(load: LoadType, *, fuel_pump: bool) -> tuple[StatementKind, ...]:
    """What always has to be stated before a load is driven, whatever was driven before it."""
    kinds = [kind for hazard in hazards_of(load) for kind in HAZARD_STATEMENTS[hazard]]
    return (*kinds, pump_statement(load.kind)) if fuel_pump else tuple(kinds)
