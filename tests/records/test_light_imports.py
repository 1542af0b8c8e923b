"""Reading a record loads its libraries and nothing else: seen from a fresh interpreter."""

import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "matplotlib", "serial", "loomproof_sim", "loomproof_wire", "textual", "openpyxl")
"""numpy comes with traces alone, so the models do without it."""
ALLOWED = {
    "models": (),
    "errors": (),
    "index": (),
    "store": ("numpy",),
}
STORE = ("sqlalchemy",)


def loaded_by(module: str, names: tuple[str, ...]) -> set[str]:
    """Return which of these packages a fresh interpreter has loaded after the import of a module."""
    script = (
        f"import sys, importlib\nimportlib.import_module('loomproof.records.{module}')\n"
        f"print(*[name for name in {names!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize("module", ALLOWED)
def test_a_module_of_records_loads_nothing_heavy(module: str) -> None:
    assert loaded_by(module, HEAVY) <= set(ALLOWED[module])


def test_the_models_load_no_store() -> None:
    """Only pydantic: a record's models are readable without its database."""
    assert loaded_by("models", (*STORE, "pydantic")) == {"pydantic"}


def test_the_check_sees_what_is_loaded() -> None:
    """The same question about the report, which draws traces, finds numpy and the store."""
    assert loaded_by("report.view", (*STORE, "numpy")) == {"numpy", "sqlalchemy"}
