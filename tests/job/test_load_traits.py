"""Every kind of load has a whole row, and console, catalogue, simulated box and firmware hold to the same one.

What a kind may do to someone is written out here a second time, by hand: the table must not be able to change it
alone. Common practice, no source: an injector lets fuel out, an ignition coil sparks with or without its own power
stage, a motor moves whatever hangs on it; what a relay, a valve or a lamp does depends on what it switches.
"""

import ast
import ctypes
import math
from collections.abc import Iterator
from dataclasses import FrozenInstanceError, fields
from pathlib import Path

import pytest

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.checks.load_values import QUANTITIES, load_flaws
from loomproof.job.load_traits import (
    FILAMENT_KINDS,
    INRUSH_KINDS,
    LOAD_TRAITS,
    LOGIC_KINDS,
    LOGIC_V,
    MOVING_KINDS,
    WINDING_KINDS,
    WOUND_KINDS,
    LoadTraits,
    Nature,
    Thermal,
)
from loomproof.safety.budget import releases_fuel
from loomproof.safety.statements import StatementKind, hazards_of, pump_statement, statements_for
from loomproof_sim.controller import limits as simulated
from loomproof_sim.loom import ARMATURES, Draw, load_spec
from loomproof_sim.plant.spec import (
    CoilSpec,
    IgniterSpec,
    InjectorSpec,
    LampSpec,
    LogicInputSpec,
    MotorSpec,
    RelaySpec,
    ValveSpec,
    WindingSpec,
)
from loomproof_wire.messages import ChannelConfig, ChannelKind, Hazard, LoadClass
from testbed.firmware import ROOT, run

NONE, FUEL, SPARK, CRANK, MOTION = (
    HazardClass.NONE,
    HazardClass.FUEL,
    HazardClass.SPARK,
    HazardClass.CRANK,
    HazardClass.MOTION,
)
CARRIED = {
    LoadKind.INJECTOR: FUEL,
    LoadKind.COIL: SPARK,
    LoadKind.IGNITER_COIL: SPARK,
    LoadKind.RELAY: NONE,
    LoadKind.VALVE: NONE,
    LoadKind.LAMP: NONE,
    LoadKind.MOTOR: MOTION,
    LoadKind.STEPPER: NONE,
    LoadKind.LOGIC_INPUT: NONE,
}
MODELS = {
    LoadKind.INJECTOR: InjectorSpec,
    LoadKind.COIL: CoilSpec,
    LoadKind.IGNITER_COIL: IgniterSpec,
    LoadKind.RELAY: RelaySpec,
    LoadKind.VALVE: ValveSpec,
    LoadKind.LAMP: LampSpec,
    LoadKind.MOTOR: MotorSpec,
    LoadKind.STEPPER: WindingSpec,
    LoadKind.LOGIC_INPUT: LogicInputSpec,
}
every_kind = pytest.mark.parametrize("kind", LoadKind)
every_entry = pytest.mark.parametrize("key", CATALOGUE)


def example(kind: LoadKind):
    return next(load for load in CATALOGUE.values() if load.kind is kind)


# --- the table itself ---------------------------------------------------------------------------------------------


def test_there_is_one_row_for_each_kind_and_no_other():
    assert list(LOAD_TRAITS) == list(LoadKind)


@every_kind
def test_a_row_is_whole(kind):
    row = LOAD_TRAITS[kind]
    assert row.noun.split()[0] in ("a", "an")
    assert {"resistance_ohm"} <= row.values <= set(QUANTITIES)
    assert row.highest_v == (LOGIC_V if kind in LOGIC_KINDS else 16.0)
    assert 0.0 < row.part_spread < 0.2
    assert len(row.engine_letter) <= 1
    if row.thermal is not None:
        assert min(row.thermal.c_j_per_k, row.thermal.r_th_k_per_w, row.thermal.rise_k) > 0.0
    if row.inrush is not None:
        assert 0.05 <= row.inrush.pulse_s <= 0.1  # the box's longest pulse is 100 ms
        assert 0.5 <= row.inrush.steady_exponent <= 1.0
        assert 0.0 < row.inrush.still_high < 1.0


@every_kind
def test_a_row_does_not_contradict_itself(kind):
    row = LOAD_TRAITS[kind]
    assert row.moves == ({"pull_in_a", "opening_ms"} <= row.values)
    assert (row.inrush is not None) == ({"steady_current_a", "inrush_ratio"} <= row.values)
    assert (row.dwell_share is not None) == ("saturation_a" in row.values)
    assert (row.hazard is FUEL) == ("flow_cc_min" in row.values)
    assert (row.nature in (Nature.INPUT, Nature.FILAMENT)) == ("inductance_mh" not in row.values)
    assert (row.thermal is None) == (row.nature in (Nature.INPUT, Nature.FILAMENT))
    assert not (row.held and row.hazard in (FUEL, SPARK)), "never left open, never left charging"
    assert (row.nature is Nature.SPARK_PRIMARY) == (row.dwell_share is not None)
    assert row.placed == bool(row.engine_letter)
    if row.landing is not None:
        assert row.nature is Nature.WINDING
        assert 0.0 < row.landing.soonest_s < row.landing.latest_s
        assert 0.0 < row.landing.least_stroke < row.landing.usual_stroke
    if row.box_check_rank is not None:
        assert row.hazard is NONE, "the box's own check drives nothing that may hurt someone"


def test_ranks_of_the_box_check_differ():
    ranks = [row.box_check_rank for row in LOAD_TRAITS.values() if row.box_check_rank is not None]
    assert len(ranks) == len(set(ranks)) > 0


def test_nobody_can_change_a_row():
    with pytest.raises(FrozenInstanceError):
        LOAD_TRAITS[LoadKind.LAMP].hazard = MOTION
    with pytest.raises(TypeError):
        LOAD_TRAITS[LoadKind.LAMP] = LOAD_TRAITS[LoadKind.COIL]


def test_what_decides_of_safety_has_no_default():
    """Whoever adds a kind has to think of it."""
    thought_of = {"hazard", "held", "highest_v", "thermal", "values", "nature"}
    with pytest.raises(TypeError) as missing:
        LoadTraits()
    assert all(f"'{name}'" in str(missing.value) for name in thought_of)
    assert thought_of < {field.name for field in fields(LoadTraits)}


def test_the_derived_sets():
    assert {LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT} == LOGIC_KINDS
    assert {LoadKind.LAMP} == FILAMENT_KINDS
    assert {LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.STEPPER} == WINDING_KINDS
    assert WINDING_KINDS | {LoadKind.COIL} == WOUND_KINDS
    assert {LoadKind.LAMP, LoadKind.MOTOR} == INRUSH_KINDS
    assert {LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.MOTOR} == MOVING_KINDS


def test_who_is_never_held_and_who_may_run_a_pump():
    never = {LoadKind.INJECTOR, LoadKind.COIL, LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT}
    assert {kind for kind, row in LOAD_TRAITS.items() if not row.held} == never
    assert {kind for kind, row in LOAD_TRAITS.items() if row.runs_pump} == {LoadKind.RELAY, LoadKind.MOTOR}
    assert {kind for kind, row in LOAD_TRAITS.items() if row.may_crank} == {LoadKind.MOTOR}


def test_heat_is_assumed_as_it_was():
    """The cautious assumptions behind every budget: to change one is a decision, never a slip."""
    assert {kind: row.thermal for kind, row in LOAD_TRAITS.items() if row.thermal is not None} == {
        LoadKind.INJECTOR: Thermal(10.0, 15.0, 60.0),
        LoadKind.COIL: Thermal(60.0, 5.0, 40.0),
        LoadKind.RELAY: Thermal(15.0, 30.0, 80.0),
        LoadKind.VALVE: Thermal(40.0, 8.0, 80.0),
        LoadKind.MOTOR: Thermal(50.0, 4.0, 60.0),
        LoadKind.STEPPER: Thermal(10.0, 12.0, 60.0),
    }


MADE_BY_HAND = {
    "firmware_sim/loomproof_sim/loom.py: ARMATURES",
    "testbed/interleave/watcher.py: BOUND",
    "testbed/interleave/watcher.py: LONGEST_US",
}
"""Tables by kind beside the console's: the models of the simulated loom, which a test below holds to it, and the rules of
the search over interleavings, which must be able to contradict it."""


def tables_by_kind(source: str) -> Iterator[str]:
    """Yield the name of every literal that lists two or more kinds of load, or load classes of the wire."""
    for statement in ast.walk(ast.parse(source)):
        if isinstance(statement, ast.Assign | ast.AnnAssign | ast.Expr | ast.Return | ast.If | ast.IfExp):
            for node in ast.walk(statement):
                if isinstance(node, ast.Dict | ast.Set | ast.Tuple | ast.List):
                    listed = [
                        k for k in (node.keys if isinstance(node, ast.Dict) else node.elts) if k is not None
                    ]
                    kinds = [k for k in listed if ast.unparse(k).startswith(("LoadKind.", "LoadClass."))]
                    if len(kinds) > 1:
                        target = (
                            getattr(statement, "target", None) or getattr(statement, "targets", [None])[0]
                        )
                        yield ast.unparse(target) if target is not None else ast.unparse(node)


def test_no_other_table_lists_kinds_of_load():
    """What differs from kind to kind stands in the table: nobody keeps a list of kinds beside it."""
    found = set()
    for folder in ("console/loomproof", "firmware_sim/loomproof_sim", "benchmarks", "testbed"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            if path.name != "load_traits.py":
                name = path.relative_to(ROOT).as_posix()
                found |= {f"{name}: {table}" for table in tables_by_kind(path.read_text(encoding="utf-8"))}
    assert found == MADE_BY_HAND


def test_a_list_of_kinds_is_seen():
    assert list(tables_by_kind("if kind in {LoadKind.LAMP, LoadKind.MOTOR}: pass"))
    assert list(tables_by_kind("X: dict = {LoadClass.LAMP: 1, LoadClass.MOTOR: 2}")) == ["X"]
    assert not list(tables_by_kind("if kind is LoadKind.LAMP: pass"))


# --- the catalogue ------------------------------------------------------------------------------------------------


@every_entry
def test_a_catalogue_entry_agrees_with_its_row(key):
    load, row = CATALOGUE[key], LOAD_TRAITS[CATALOGUE[key].kind]
    assert load.moves == row.moves
    assert {name for name in QUANTITIES if getattr(load, name) is not None} == row.values
    assert row.held or load.limits.max_hold_ms == 0
    if row.hazard is not NONE:
        assert load.hazard is row.hazard
    assert row.runs_pump or not load.fuel_pump
    assert row.peak_hold or load.peak_hold is None
    if load.opening_ms is not None and row.landing is not None:
        assert row.landing.soonest_s <= load.opening_ms.value * 1e-3 <= row.landing.latest_s


@every_entry
def test_an_entry_that_leaves_its_row_is_found(key):
    load, row = CATALOGUE[key], LOAD_TRAITS[CATALOGUE[key].kind]
    assert not list(load_flaws(load))
    wrong = [("moves", load.model_copy(update={"moves": not load.moves}))]
    if row.hazard is not NONE:
        wrong.append(("hazard", load.model_copy(update={"hazard": NONE})))
    if not row.held:
        held = load.limits.model_copy(update={"max_hold_ms": 100})
        wrong.append(("limits", load.model_copy(update={"limits": held})))
    if not row.runs_pump:
        wrong.append(("fuel_pump", load.model_copy(update={"fuel_pump": True})))
    for name in row.values:
        wrong.append((name, load.model_copy(update={name: None})))
    for at, changed in wrong:
        assert at in [flaw.path[0] for flaw in load_flaws(changed)]


# --- console, simulated box, firmware -----------------------------------------------------------------------------


@every_kind
def test_the_console_takes_the_hazard_from_the_row(kind):
    load = example(kind)
    for said in HazardClass:
        cranks = kind is LoadKind.MOTOR and said is CRANK
        due = {said} if cranks else {said, CARRIED[kind]}
        assert set(hazards_of(load.model_copy(update={"hazard": said}))) == (due - {NONE} or {NONE})
    assert releases_fuel(kind) == (CARRIED[kind] is FUEL)
    runs = pump_statement(kind) is StatementKind.PUMP_MAY_RUN
    assert runs == (kind is LoadKind.MOTOR)
    assert (StatementKind.FUEL_ISOLATED in statements_for(load, fuel_pump=False)) == (CARRIED[kind] is FUEL)


def test_each_wire_class_is_one_kind_and_back():
    assert [load_class.name for load_class in LoadClass][1:] == [kind.name for kind in LoadKind]
    assert LoadClass.NONE == 0
    assert [hazard.name for hazard in Hazard] == [hazard.name for hazard in HazardClass]


@every_kind
def test_the_simulated_box_holds_to_the_row(kind):
    load_class = LoadClass[kind.name]
    for said in Hazard:
        cranks = kind is LoadKind.MOTOR and said is Hazard.CRANK
        due = {said} if cranks else {said, Hazard[CARRIED[kind].name]}
        assert simulated.hazards_of(load_class, said) == due - {Hazard.NONE}
    config = ChannelConfig(1, load_class, Hazard.NONE, 0, 0, 0, 0, 0, 0, 200)
    cap_us = 200
    if CARRIED[kind] is SPARK:
        cap_us = int(1e6 * math.sqrt(2 * 0.1e-3 * 1e-3) / 12.0)
    assert simulated.sense_cap_us(config, ChannelKind.LOW_SIDE, 12.0) == cap_us


@every_kind
def test_the_simulated_loom_has_a_model_for_it(kind):
    assert type(load_spec(example(kind), Draw(1, 0.5))) is MODELS[kind]


def test_each_armature_has_its_model():
    assert {kind for kind, row in LOAD_TRAITS.items() if row.moves} == set(ARMATURES)


PROBE = """
#include "load_traits_gen.h"
uint8_t probe_hazard(uint8_t load_class, uint8_t said) { return load_hazard(load_class, said); }
uint8_t probe_sparks(uint8_t load_class) { return load_sparks(load_class); }
uint32_t probe_sense(void) { return LOAD_SPARK_SENSE_US_MV; }
"""


@pytest.fixture(scope="module")
def firmware(tmp_path_factory) -> ctypes.CDLL:
    """The header as a C compiler sees it."""
    folder: Path = tmp_path_factory.mktemp("traits")
    (folder / "probe.c").write_text(PROBE, encoding="utf-8")
    flags = ("-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-shared", "-fPIC")
    library = folder / "probe.so"
    run("gcc", *flags, f"-I{ROOT / 'firmware' / 'core'}", "-o", str(library), str(folder / "probe.c"))
    return ctypes.CDLL(str(library))


@every_kind
def test_the_firmware_holds_to_the_row(firmware, kind):
    load_class = LoadClass[kind.name]
    for said in Hazard:
        cranks = kind is LoadKind.MOTOR and said is Hazard.CRANK
        due = Hazard.CRANK if cranks else Hazard[CARRIED[kind].name]
        assert firmware.probe_hazard(load_class, said) == due
    assert firmware.probe_sparks(load_class) == (CARRIED[kind] is SPARK)


def test_the_firmware_knows_no_class_besides(firmware):
    for load_class in (LoadClass.NONE, len(LoadClass), 255):
        assert firmware.probe_hazard(load_class, Hazard.CRANK) == Hazard.NONE
        assert not firmware.probe_sparks(load_class)


def test_the_firmware_caps_the_sense_pulse_of_what_sparks(firmware):
    """t = sqrt(2 E L) / V: 0.1 mJ in 1 mH, any circuits textbook; in us times mV."""
    seen = firmware.probe_sense()
    assert seen == int(math.sqrt(2 * 0.1e-3 * 1e-3) * 1e9)
    assert 0.5 * 1e-3 * (seen * 1e-9 / 1e-3) ** 2 <= 0.1e-3
