"""A location walk in a real terminal, at both sizes: the hands pull and seat, the screen tells, the record keeps."""

import pytest
from test_as_a_person import SIZES, operate

from loomproof.records.store import RecordStore


def walk_a_swapped_pair(terminal):
    """Both wires are crossed: each place is pulled twice, and the moves are told at the end."""
    terminal.type(
        f"{terminal.program} demo --job small.toml --fault swapped:1:2 --records r.db; echo left=$?"
    )
    terminal.wait_for("A first run", "box live")
    terminal.press("Escape")
    terminal.wait_for("Step 1 of")
    terminal.press("7")
    terminal.wait_for("NOT WALKED YET", "[g] Walk, guided")
    terminal.press("g")
    terminal.wait_for("PULL", "[space] Nothing")
    for number in (1, 2):
        pull_and_seat(terminal, "NOT AS EXPECTED", "PULL IT ONCE MORE")
        pull_and_seat(terminal, "WRONG AT", f"{number} of 2")
    terminal.wait_for("THE WALK HAS ENDED", "2 of 2", "Take the terminal out of H1-")
    if "▸Now" in terminal.screen():
        terminal.press("v")
    terminal.wait_for("✗ WRONG", "beside the tank", "relay box")
    terminal.press("4")
    terminal.wait_for("swapped", "H1-1")
    terminal.press("C-q")
    terminal.wait_for("left=0")


def pull_and_seat(terminal, told, after):
    """The demo's hand pulls what is asked for; once that is told, it seats it."""
    terminal.press("p")
    terminal.wait_for(told)
    terminal.press("p")
    terminal.wait_for(after)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_a_walk_in_a_real_terminal(size, tmp_path):
    operate(walk_a_swapped_pair, size, tmp_path)
    last = max(tmp_path.iterdir(), key=lambda place: place.name)
    with RecordStore(last / "r.db", create=False) as store:
        record = store.read("last")
    walked = [step for step in record.steps if step.step_id.startswith("pull-")]
    assert {s.step_id: s.ended.outcome["pull"]["outcome"] for s in walked} == {
        "pull-1": "other",
        "pull-2": "other",
    }
