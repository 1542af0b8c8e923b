"""The modules of the firmware: who needs whom, and whose name is whose. Read from the sources and the object files.

A module is what shares a name: `trip.c` and `trip.h`, `sampler.c`, `sampler.h` and `sampler_state.h`, `wire_tables.h`
and the generated `wire_tables_gen.c`. It needs another when it includes its header or uses a symbol of its. The contract
`hal.h` stands for itself: the core calls what it declares, the drivers know its types, and the port's `hal.c` keeps it.
"""

import re
from collections import defaultdict
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
from hostbox import ROOT

from testbed.firmware import run

PARTS = ["atmega2560", "atmega328p"]
ROOMS = ("core", "avr")
CONTRACT = "hal.h"
PARTS_OF_MODULES = {"sampler_state": "sampler", "sampler_phase": "sampler"}
NOT_MODULES = {"flash"}
"""flash.h is the port's part of rom.h, named to the compiler by the Makefile."""
INTERRUPT = re.compile(r"__vector_\w+|main")
"""Names that the compiler, its library and the table of interrupts prescribe."""

Graph = dict[str, set[str]]


def module_of(path: Path) -> str:
    if path.name == CONTRACT:
        return CONTRACT
    stem = path.stem.removesuffix("_gen")
    return PARTS_OF_MODULES.get(stem, stem)


def sources() -> list[Path]:
    files = [path for room in ROOMS for path in (ROOT / "firmware" / room).iterdir()]
    return sorted(
        path for path in files if path.suffix in {".c", ".h", ".S"} and path.stem not in NOT_MODULES
    )


def includes() -> Graph:
    needs: Graph = defaultdict(set)
    for path in sources():
        for header in re.findall(r'^#include "(.+)"$', path.read_text(), re.MULTILINE):
            needs[module_of(path)].add(module_of(Path(header)))
        needs[module_of(path)].discard(module_of(path))
    return needs


def symbols(folder: Path) -> tuple[dict[str, str], dict[str, set[str]]]:
    """Return symbol -> the module that has it, and module -> symbols that it uses."""
    owner: dict[str, str] = {}
    used: dict[str, set[str]] = defaultdict(set)
    for room in ROOMS:
        for file in sorted((folder / room).glob("*.o")):
            for line in run("avr-nm", str(file)).splitlines():
                *_, kind, symbol = line.split()
                if kind == "U":
                    used[module_of(file)].add(symbol)
                elif kind.isupper():
                    assert owner.setdefault(symbol, module_of(file)) == module_of(file), f"{symbol} twice"
    return owner, used


def calls(folder: Path) -> Graph:
    owner, used = symbols(folder)
    return {
        module: {owner[symbol] for symbol in names if symbol in owner} - {module}
        for module, names in used.items()
    }


def cycle(graph: Graph) -> list[str]:
    """Return one cycle, its first module again at its end; empty when there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def foreign(owner: dict[str, str]) -> dict[str, str]:
    """Return the symbols that do not begin with their own module's name, with the module."""
    modules = sorted(set(owner.values()), key=len, reverse=True)
    return {
        symbol: module
        for symbol, module in owner.items()
        if not INTERRUPT.fullmatch(symbol)
        and next((m for m in modules if symbol == m or symbol.startswith(f"{m}_")), None) != module
    }


@pytest.mark.parametrize("part", PARTS)
def test_no_module_needs_itself_through_others(built, part):
    needs = includes()
    for module, others in calls(built / part).items():
        needs.setdefault(module, set()).update(others)
    assert len(needs) > 30
    assert cycle(needs) == []


@pytest.mark.parametrize("part", PARTS)
def test_exported_names_begin_with_the_name_of_their_file(built, part):
    owner, _ = symbols(built / part)
    assert len(owner) > 150
    assert foreign(owner) == {}


def test_a_cycle_is_seen(built):
    needs = calls(built / PARTS[0])
    assert "guard" in needs["session"]
    needs["guard"].add("session")
    assert set(cycle(needs)) >= {"guard", "session"}


def test_a_name_of_another_file_is_seen():
    owner = {"guard_stop": "guard", "guard_rail_stop": "guard", "guard_rail_up": "guard_rail", "main": "main"}
    assert foreign(owner) == {"guard_rail_stop": "guard"}
