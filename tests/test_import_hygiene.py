"""The pure rooms load neither a terminal, nor a port, nor a store: seen from a fresh interpreter."""

import subprocess
import sys

import pytest

FORBIDDEN = ("textual", "rich", "serial", "sqlalchemy", "typer", "matplotlib", "loomproof_sim")


@pytest.mark.parametrize("room", ["job", "measure", "diagnose", "safety", "procedure"])
def test_domain_room_loads_no_interface_port_or_store(room: str) -> None:
    script = (
        "import importlib, pkgutil, sys\n"
        f"package = importlib.import_module('loomproof.{room}')\n"
        "names = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + '.')]\n"
        "assert names, 'an empty room proves nothing'\n"
        "for name in names:\n"
        "    importlib.import_module(name)\n"
        f"print([name for name in {FORBIDDEN!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
