"""The drawings of the hardware notes are those that their source makes, and the notes show each of them."""

import importlib.util
import re
from pathlib import Path

import pytest

HARDWARE = Path(__file__).parents[2] / "firmware" / "hardware"


@pytest.fixture(scope="module")
def draw():
    spec = importlib.util.spec_from_file_location("hardware_draw", HARDWARE / "draw.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_no_drawing_is_stale(draw, capsys):
    assert draw.main(check=True) == 0, capsys.readouterr().err
    assert {path.stem for path in (HARDWARE / "drawings").glob("*.svg")} == set(draw.FIGURES)


def test_a_changed_value_makes_its_drawing_stale(draw, monkeypatch):
    monkeypatch.setattr(draw, "NETLIST", draw.NETLIST.replace("gate_ohm=470 ", "gate_ohm=330 "))
    assert draw.main(check=True) == 1


def test_the_notes_show_every_drawing_and_the_values_of_the_netlist(draw):
    notes = (HARDWARE / "README.md").read_text()
    for name in draw.FIGURES:
        assert f"(drawings/{name}.svg)" in notes
    bill = notes.split("## Bill of parts")[1].split("\n## ")[0]
    for name in re.findall(r"(\w+_(?:ohm|f))=", draw.NETLIST):
        if name not in ("drain_f", "supply_f", "hold_ohm"):
            assert draw.value(name) in bill, f"the bill of parts lacks {name} {draw.value(name)}"


def test_the_notes_say_that_nothing_was_built():
    notes = (HARDWARE / "README.md").read_text()
    assert "No board was built" in notes
    assert re.search(r"\*\*(DANGER|WARNING|CAUTION)\*\*", notes)
