"""What the firmware takes of each part: flash, RAM, stack. The limits are the project's own."""

from pathlib import Path

import pytest

from loomproof_cosim.boards import BOARDS
from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.scenario import make_scenario
from loomproof_wire import messages
from testbed.firmware import RELAY, Console, ready, run, symbol

FLASH = {"atmega2560": 256 * 1024, "atmega328p": 32 * 1024}
RAM = {"atmega2560": 8 * 1024, "atmega328p": 2 * 1024}
"""Bytes, from the datasheets (from memory)."""
DATA_OFFSET = 0x800000
LARGEST_FRAME = 160
PATTERN = 0xC5


def sections(elf: Path) -> dict[str, int]:
    sizes = {}
    for line in run("avr-size", "-A", str(elf)).splitlines():
        words = line.split()
        if len(words) == 3 and words[0].startswith("."):
            sizes[words[0]] = int(words[1])
    return sizes


PARTS = sorted(FLASH)


@pytest.mark.parametrize(
    ("part", "flash_share", "ram_share"), [("atmega2560", 0.5, 0.7), ("atmega328p", 0.993, 0.845)]
)
def test_flash_and_static_ram(built, part, flash_share, ram_share):
    sizes = sections(built / f"loomproof-{part}.elf")
    assert sizes[".text"] + sizes[".data"] < flash_share * FLASH[part]
    assert sizes[".data"] + sizes.get(".bss", 0) < ram_share * RAM[part]


@pytest.mark.parametrize("part", PARTS)
def test_no_frame_is_large_or_of_unknown_size(built, part):
    files = list((built / part).rglob("*.su"))
    assert len(files) > 10
    for file in files:
        for line in file.read_text().splitlines():
            _, size, kind = line.split("\t")
            assert kind == "static", line
            assert int(size) <= LARGEST_FRAME, line


@pytest.mark.parametrize("part", PARTS)
def test_the_stack_leaves_a_margin(built, part):
    """The deepest reach seen at the requests with the largest frames; a quarter more must still fit."""

    elf = built / f"loomproof-{part}.elf"
    bottom = symbol(elf, "_end") - DATA_OFFSET
    top = RAM[part] + (0x200 if part == "atmega2560" else 0x100)
    box = build_elf_box(make_scenario({"clock": "virtual"}), elf, BOARDS[part])
    box.controller.part.paint(bottom, top, PATTERN)
    box.run_for(0.02)
    console = Console(box)
    console.greet()
    ready(console)
    console.ask(messages.DriveTrain(RELAY, 50, 4_000, 1_000, 1, 1, 20))
    console.beat(0.3)
    console.ask(messages.DrivePeakHold(RELAY, 20, 4_000, 1_000, 300, 150, 500, 1, 1, 20))
    console.beat(0.2)
    console.ask(messages.Scan(0xF, 100))
    console.ask(messages.GetDigest())
    console.ask(messages.GetChannel(RELAY))
    used = top - box.controller.part.stack_reach(bottom, PATTERN)
    assert used > 50
    assert used * 1.25 < top - bottom, f"{used} of {top - bottom} bytes"
    box.controller.part.close()
