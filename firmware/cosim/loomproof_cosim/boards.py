# SPDX-License-Identifier: GPL-3.0-or-later
"""The pins of each board. The firmware's own copy is in `firmware/avr/board.h`."""

from dataclasses import dataclass
from pathlib import Path

from loomproof_cosim.library import CosimError

FINE, WIDE, SUPPLY, TEMPERATURE, FIRST_DRAIN = range(5)
"""Converter inputs; eight drains share one from FIRST_DRAIN on."""
DRAINS_PER_INPUT = 8


@dataclass(frozen=True)
class Board:
    """Wiring of one board.

    Attributes:
        part: name of the microcontroller.
        gates: (port, pin) of each channel's gate, channel 1 first.
        uppers: (port, pin) of the upper leg, for half-bridges; empty = the board has none.
        address: (port, pin) of the drain multiplexers' address lines, lowest first.
        enable: (port, pin) that lets the gate drivers have supply.
        stop: (port, pin) that sees the stop contact; high = open.
    """

    part: str
    gates: tuple[tuple[str, int], ...]
    uppers: tuple[tuple[str, int], ...]
    address: tuple[tuple[str, int], ...]
    enable: tuple[str, int]
    stop: tuple[str, int] = ("D", 2)

    @property
    def channel_count(self) -> int:
        """The number of channels of the board."""
        return len(self.gates)


def _pins(port: str, first: int, count: int) -> tuple[tuple[str, int], ...]:
    return tuple((port, pin) for pin in range(first, first + count))


SIXTEEN = Board(
    part="atmega2560",
    gates=_pins("A", 0, 8) + _pins("C", 0, 8),
    uppers=_pins("L", 0, 8) + _pins("K", 0, 8),
    address=_pins("B", 0, 3),
    enable=("H", 3),
)
FOUR = Board(part="atmega328p", gates=_pins("D", 4, 4), uppers=(), address=_pins("B", 0, 2), enable=("C", 5))
BOARDS = {board.part: board for board in (SIXTEEN, FOUR)}

_ELF_MAGIC = b"\x7fELF"
_FLAGS_AT, _ARCHITECTURE = 36, 0x7F
"""Where an ELF32 header has its flags (System V ABI, figure 4-3), and those that tell the AVR architecture."""
_BY_ARCHITECTURE = {5: FOUR, 6: SIXTEEN}
"""EF_AVR_MACH of binutils' elf/avr.h: avr5 has up to 64 KB of flash, avr6 more."""


def board_of(elf: Path) -> Board:
    """Return the board that a firmware was built for.

    Raises:
        CosimError: the firmware cannot be read, or is for no known board.
    """
    try:
        header = elf.read_bytes()[: _FLAGS_AT + 4]
    except OSError as error:
        raise CosimError(f"{elf}: {error.strerror}; `make firmware` builds it") from error
    if not header.startswith(_ELF_MAGIC) or len(header) < _FLAGS_AT + 4:
        raise CosimError(f"{elf}: not an ELF file; give the .elf of `make firmware`, not the .hex")
    architecture = int.from_bytes(header[_FLAGS_AT:], "little") & _ARCHITECTURE
    if architecture not in _BY_ARCHITECTURE:
        raise CosimError(f"{elf}: built for another part than {' or '.join(BOARDS)}")
    return _BY_ARCHITECTURE[architecture]
