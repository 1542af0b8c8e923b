"""The pure rooms load neither a terminal, nor a port, nor a store: seen from a fresh interpreter.

procedure stands on the box's client and so on the port below it; it is held to no terminal and no store.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from loomproof.records.store import RecordStore

INTERFACE_AND_STORE = ("textual", "rich", "sqlalchemy", "typer", "matplotlib", "loomproof_sim")
PORT = ("serial", "loomproof_wire")
HEAVY = ("scipy", "pydantic")
FORBIDDEN = {
    "facts": INTERFACE_AND_STORE + PORT + HEAVY,
    "job": INTERFACE_AND_STORE + PORT,
    "measure": INTERFACE_AND_STORE + PORT,
    "diagnose": INTERFACE_AND_STORE + PORT,
    "safety": (*INTERFACE_AND_STORE, "serial"),
    "procedure": INTERFACE_AND_STORE,
}


@pytest.mark.parametrize("room", FORBIDDEN)
def test_domain_room_loads_no_interface_port_or_store(room: str) -> None:
    script = (
        "import importlib, pkgutil, sys\n"
        f"package = importlib.import_module('loomproof.{room}')\n"
        "names = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + '.')]\n"
        "assert names, 'an empty room proves nothing'\n"
        "for name in names:\n"
        "    importlib.import_module(name)\n"
        f"print([name for name in {FORBIDDEN[room]!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_first_picture_waits_for_nothing_slow() -> None:
    """numpy, the store, pydantic and the job's models are loaded once the console already stands."""
    script = (
        "import sys\n"
        "from loomproof.cli.app import build_app\n"
        "build_app(); import loomproof.cli.console.command\n"
        "import loomproof.tui.app\n"
        "slow = ('numpy', 'scipy', 'sqlalchemy', 'pydantic', 'matplotlib', 'serial', 'loomproof.job',"
        " 'loomproof_sim', 'tomlkit')\n"
        "print([name for name in slow if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


LOADED_BY = {
    # What a command may not load to do its work, or to print its help.
    ("--help",): ("numpy", "pydantic", "sqlalchemy", "rich", "textual", "loomproof.job", "loomproof.records"),
    ("records", "--help"): ("numpy", "pydantic", "sqlalchemy", "rich.table"),
    ("report", "--help"): ("numpy", "pydantic", "sqlalchemy", "matplotlib"),
    ("prove", "--help"): ("numpy", "sqlalchemy", "scipy", "serial"),
    ("records",): (
        "scipy",
        "numpy",
        "pydantic",
        "loomproof.job",
        "serial",
        "textual",
        "matplotlib",
        "loomproof.box",
        "loomproof.measure",
    ),
    ("check", "examples/inline-five-turbo.toml"): ("scipy", "serial", "sqlalchemy", "textual", "numpy"),
}


@pytest.mark.parametrize("words", LOADED_BY, ids=" ".join)
def test_a_command_loads_only_what_it_uses(words: tuple[str, ...], tmp_path: Path) -> None:
    with RecordStore(tmp_path / "records.db"):
        pass
    script = (
        "import sys\n"
        "from loomproof.cli.app import main\n"
        f"sys.argv = ['loomproof', *{words!r}]\n"
        "try:\n    main()\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('LOADED', [name for name in {LOADED_BY[words]!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[1],
        env={**os.environ, "LOOMPROOF_RECORDS": str(tmp_path / "records.db")},
    )
    assert done.stdout.splitlines()[-1] == "LOADED []"
