# SPDX-License-Identifier: GPL-3.0-or-later
"""Which pin of each board does what. The firmware's own copy is in `firmware/avr/board_*.h`."""

from dataclasses import dataclass

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
        """How many channels it drives."""
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
