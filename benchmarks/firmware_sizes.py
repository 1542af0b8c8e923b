"""What the firmware takes of each part: flash, static RAM, and the stack's deepest reach over the conformance suite.

    .venv/bin/python -m benchmarks.firmware_sizes

Needs `make firmware`. The RAM above the program's data is painted before the start; what the suite of
`loomproof box-check` has overwritten of it is the stack.
"""

from pathlib import Path

from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import RawLine
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.requests import Tolerance
from loomproof.boxcheck.run import run_suite
from loomproof.boxcheck.subjects import Subject, Subjects
from loomproof_cosim.boards import BOARDS, Board
from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.scenario import make_scenario
from testbed.checkboard import LOADS, MORE, SimPort, SimulatedHands, job_of
from testbed.firmware import part_of, run, symbol

ROOT = Path(__file__).resolve().parents[1]
FLASH = {"atmega2560": 256 * 1024, "atmega328p": 32 * 1024}
RAM_FROM = {"atmega2560": 0x200, "atmega328p": 0x100}
RAM = {"atmega2560": 8 * 1024, "atmega328p": 2 * 1024}
"""Bytes and address, from the datasheets (from memory)."""
DATA_OFFSET = 0x800000
PATTERN = 0xC5


def sizes(elf: Path) -> tuple[int, int]:
    """Flash and static RAM, bytes."""
    text, data, bss = (int(word) for word in run("avr-size", str(elf)).splitlines()[1].split()[:3])
    return text + data, data + bss


def suite_reach(elf: Path, board: Board) -> tuple[int, int, int]:
    """The stack's deepest reach and the room for it, bytes, and how many cases were kept."""
    bottom, top = symbol(elf, "_end") - DATA_OFFSET, RAM_FROM[board.part] + RAM[board.part]
    four = board.channel_count == 4
    box = build_elf_box(
        make_scenario({"clock": "virtual"}), elf, board, job_of(LOADS if four else LOADS | MORE)
    )
    part = part_of(box)
    part.paint(bottom, top, PATTERN)
    box.run_for(0.02)
    subjects = Subjects(tuple(Subject(channel) for channel in LOADS), None if four else (6, 7))
    results = run_suite(
        Fixture(RawLine(SimPort(box)), subjects, SimulatedHands(box.hands), Tolerance(1, 5, 1))
    )
    kept = sum(result.outcome is Outcome.KEPT for result in results)
    reach = top - part.stack_reach(bottom, PATTERN)
    part.close()
    return reach, top - bottom, kept


def main() -> None:
    """Print a line for each board."""
    for name, board in BOARDS.items():
        elf = ROOT / "build" / "firmware" / f"loomproof-{name}.elf"
        flash, static = sizes(elf)
        reach, room, kept = suite_reach(elf, board)
        print(
            f"{name}: flash {flash} of {FLASH[name]} bytes ({flash / FLASH[name]:.1%}), "
            f"static RAM {static} of {RAM[name]} ({static / RAM[name]:.1%}), "
            f"stack {reach} of the {room} left ({room / reach - 1:.0%} to spare) over {kept} cases kept"
        )


if __name__ == "__main__":
    main()
