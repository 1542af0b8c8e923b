"""The real program in a real terminal, operated as a person would: a fault found, a stop, a resume."""

import sys

import pytest
from tmux import Tmux, TooBusyError

SIZES = [(80, 24), (120, 36)]
JOB = """
schema_version = 1
setting = "bench"
[identity]
title = "Small loom"
job_number = "T-7"
[[connectors]]
id = "H1"
name = "header"
cavities = 8
[[feeds]]
id = "F1"
name = "main"
terminal = "87"
[[locations]]
id = "tank"
name = "beside the tank"
[[locations]]
id = "box"
name = "relay box"
[[channels]]
channel = 2
name = "fan relay"
cavity = "H1-2"
load = "relay_plain"
location = "box"
feed = "F1"
[[channels]]
channel = 1
name = "purge valve"
cavity = "H1-1"
load = "valve_purge"
location = "tank"
feed = "F1"
"""


def operate(scenario, size, folder):
    """Run a scenario in a fresh terminal; anew, twice at most, where the machine was too busy for the box."""
    for attempt in range(3):
        place = folder / str(attempt)
        place.mkdir()
        (place / "small.toml").write_text(JOB)
        environment = {
            "LOOMPROOF_SETTINGS": str(place / "settings.toml"),
            "TERM": "xterm-256color",
            "NO_COLOR": "",
        }
        terminal = Tmux(size, environment, place)
        terminal.program = f"{sys.executable} -m loomproof.cli.app"
        terminal.type(f"cd {place}; clear")
        try:
            scenario(terminal)
            return
        except TooBusyError:
            if attempt == 2:
                raise
        finally:
            terminal.end()


def find_a_fault_stop_and_resume(terminal):
    terminal.type(f"{terminal.program} demo --job small.toml --fault open:2 --records r.db; echo left=$?")
    terminal.wait_for("A first run")
    terminal.press("Escape")
    terminal.wait_for("Step 1 of", "box live")
    terminal.press("o")
    terminal.wait_for("[g] go on")
    terminal.press("g")
    terminal.wait_for("Pull that connector")
    terminal.press("6")
    terminal.wait_for("Your hands", "beside the tank")
    terminal.press("p")
    terminal.wait_for("◇ pulled", "Seat the connector")
    terminal.press("s")
    terminal.wait_for("Go on, then bend")
    terminal.press("1")
    terminal.wait_for("Flex the loom: beside the tank", "[g] go on")
    terminal.press("4")
    screen = terminal.wait_for("H1-2", "open")
    assert "Findings" in screen
    terminal.press("C-x")
    terminal.wait_for("STOPPED (stop key)")
    terminal.press("C-r")
    terminal.wait_for("STOP: Ctrl+X")
    terminal.press("C-q")
    terminal.wait_for("left=0")
    terminal.type(
        f"clear; {terminal.program} open small.toml --box sim://small.toml --records r.db --resume last"
    )
    screen = terminal.wait_for("box live", "Flex the loom: beside the tank")
    if "▸Step at hand" in screen:
        terminal.press("v")
    terminal.wait_for("Look at the loom", "FAIL", "■ stopped")
    terminal.press("C-q")


def look_at_every_page(terminal):
    """Every page shows its whole first line, its keys, the status and the stop, at both sizes."""
    terminal.type(f"{terminal.program} demo --job small.toml --sound --records r.db")
    terminal.wait_for("A first run")
    terminal.press("Escape")
    terminal.wait_for("box live", "Step 1 of")
    for key, words in (
        ("2", "purge valve"),
        ("3", "On-time"),
        ("4", "Findings"),
        ("5", "Kept in"),
        ("6", "Your hands"),
        ("1", "[g] Run this step"),
    ):
        terminal.press(key)
        screen = terminal.wait_for(words, "STOP: Ctrl+X or F12", "^q Leave", "nothing armed")
        assert (
            screen.splitlines()[0].lstrip().startswith(("1 Run sheet", "▸1 Run sheet", "1 Sheet", "▸1 Sheet"))
        )
        assert "8 Wiggle 0 Job ?" in screen.splitlines()[0]
    terminal.press("C-q")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize(
    "scenario", [find_a_fault_stop_and_resume, look_at_every_page], ids=lambda s: s.__name__
)
def test_operated(scenario, size, tmp_path):
    operate(scenario, size, tmp_path)
