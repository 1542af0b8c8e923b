# SPDX-License-Identifier: GPL-3.0-or-later
"""One simulated microcontroller and its program: time in cycles, bytes, pins, converter inputs."""

import ctypes as c
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loomproof_cosim.library import (
    PINS_CALLBACK,
    RESET_CALLBACK,
    VOLTS_CALLBACK,
    CosimError,
    PartCounters,
    PinEdgeStruct,
    load,
)

Floats = NDArray[np.float64]
CLOCK_HZ = 16_000_000
TAKE_BYTES = 65_536

OnPins = Callable[[int, str, int], None]
"""Called with the cycle, the port's letter and its pins driven high."""
Volts = Callable[[int, NDArray[np.int64]], Floats]
"""Called with a converter input and cycles; returns the volts at the pin."""


class PinEdge(NamedTuple):
    """A change of a port's driven pins, with the last opening of the hold switches."""

    cycle: int
    port: str
    levels: int
    held: int


class AvrPart:
    """A powered microcontroller.

    Args:
        elf: its program.
        name: `atmega2560` or `atmega328p`.
        volts: gives the voltages at the converter's inputs.
        on_pins: called with every change of driven pins.
        on_reset: called with every reset after power-on, once its pins are low.
        held_inputs: converter inputs behind the hold switch.

    Raises:
        CosimError: the shim is not built, or the program cannot be loaded.
    """

    def __init__(
        self,
        elf: Path,
        name: str,
        *,
        volts: Volts,
        on_pins: OnPins | None = None,
        on_reset: Callable[[int], None] | None = None,
        held_inputs: tuple[int, ...] = (),
    ) -> None:
        self._library = load()
        self._volts, self._on_pins, self._on_reset = volts, on_pins, on_reset
        self._failure: BaseException | None = None
        self._kept = (
            PINS_CALLBACK(self._pins),
            VOLTS_CALLBACK(self._fill),
            RESET_CALLBACK(self._reset),
        )
        self._buffer = c.create_string_buffer(TAKE_BYTES)
        mask = sum(1 << number for number in held_inputs)
        if not elf.is_file():
            raise CosimError(f"no firmware at {elf}; build it with `make firmware`")
        self._sim = self._library.lp_open(str(elf).encode(), name.encode(), CLOCK_HZ, mask, None, *self._kept)
        if not self._sim:
            raise CosimError(f"{elf} cannot be run as {name}: is it an AVR .elf, and is the part known?")

    def close(self) -> None:
        """Switch the part off for good."""
        if self._sim:
            self._library.lp_close(self._sim)
            self._sim = None

    # -- callbacks; an exception in one would be lost in C, so it is kept and raised after the run --

    def _pins(self, _: object, cycle: int, port: int, levels: int) -> None:
        try:
            if self._on_pins is not None:
                self._on_pins(cycle, chr(ord("A") + port), levels)
        except BaseException as error:  # noqa: BLE001 (raised again by run_to)
            self._failure = error

    def _fill(self, _: object, number: int, first: int, step: int, count: int, out: object) -> None:
        try:
            cycles = first + step * np.arange(count, dtype=np.int64)
            values = self._volts(number, cycles)
            c.memmove(out, np.ascontiguousarray(values, dtype=np.float64).ctypes.data, 8 * count)  # type: ignore[arg-type]
        except BaseException as error:  # noqa: BLE001 (raised again by run_to)
            self._failure = error

    def _reset(self, _: object, cycle: int) -> None:
        try:
            if self._on_reset is not None:
                self._on_reset(cycle)
        except BaseException as error:  # noqa: BLE001 (raised again by run_to)
            self._failure = error

    # -- time --

    @property
    def cycle(self) -> int:
        """The clock cycles since power-on."""
        return int(self._library.lp_cycle(self._sim))

    def run_to(self, cycle: int) -> int:
        """Run up to a cycle and return the cycle reached, at most one instruction later."""
        at = int(self._library.lp_run_to(self._sim, cycle))
        if self._failure is not None:
            failure, self._failure = self._failure, None
            raise failure
        return at

    # -- bytes --

    def send(self, data: bytes) -> int:
        """Put bytes on the line to the part, after those under way, and return how many had room."""
        return int(self._library.lp_send(self._sim, data, len(data)))

    def take(self) -> bytes:
        """Return the bytes that the part has sent in full."""
        count = self._library.lp_take(self._sim, self._buffer, TAKE_BYTES)
        return self._buffer.raw[:count]

    @property
    def last_rx_cycle(self) -> int:
        """The cycle at which the last byte to the part arrived completely."""
        return int(self._library.lp_last_rx_cycle(self._sim))

    @property
    def last_tx_cycle(self) -> int:
        """The cycle at which the last byte from the part was sent completely."""
        return int(self._library.lp_last_tx_cycle(self._sim))

    @property
    def last_hold_cycle(self) -> int:
        """The cycle at which the hold switches opened last."""
        return int(self._library.lp_last_hold_cycle(self._sim))

    # -- pins --

    def set_input(self, port: str, pin: int, level: bool) -> None:
        """Set the level of an input pin from now on, also after resets."""
        self._library.lp_set_input(self._sim, ord(port) - ord("A"), pin, int(level))

    def forget_foreseen(self) -> None:
        """Ask for the voltages anew, because something outside changed."""
        self._library.lp_forget(self._sim)

    def set_noise(self, counts: float, seed: int) -> None:
        """Add noise to every conversion from now on; `counts` is its standard deviation."""
        self._library.lp_noise(self._sim, counts, seed)

    def edges(self, first: int = 0) -> list[PinEdge]:
        """Return the changes of driven pins from number `first` on (the last 262144 are kept)."""
        count = int(self._library.lp_edge_count(self._sim)) - first
        if count <= 0:
            return []
        block = (PinEdgeStruct * count)()
        got = self._library.lp_edges(self._sim, first, count, block)
        return [PinEdge(one.cycle, chr(ord("A") + one.port), one.levels, one.held) for one in block[:got]]

    @property
    def edge_count(self) -> int:
        """Number of changes of driven pins since power-on."""
        return int(self._library.lp_edge_count(self._sim))

    # -- looking inside --

    @property
    def counters(self) -> PartCounters:
        """The counters of the part so far."""
        counters = PartCounters()
        self._library.lp_counters(self._sim, c.byref(counters))
        return counters

    def jump(self, byte_address: int) -> None:
        """Make the program jump to an address, as if it had run away."""
        self._library.lp_jump(self._sim, byte_address)

    def peek(self, address: int) -> int:
        """Return a byte of data memory."""
        return int(self._library.lp_peek(self._sim, address))

    def poke(self, address: int, value: int) -> None:
        """Write a register, as a part that fails would."""
        self._library.lp_poke(self._sim, address, value)

    def paint(self, start: int, end: int, pattern: int) -> None:
        """Fill data memory with a pattern that shows later how far the stack reached."""
        self._library.lp_paint(self._sim, start, end, pattern)

    def stack_reach(self, start: int, pattern: int) -> int:
        """Return the lowest address from `start` on whose pattern is gone."""
        return int(self._library.lp_stack_reach(self._sim, start, pattern))

    def write_eeprom(self, offset: int, data: bytes) -> None:
        """Write the EEPROM, as a programmer would.

        Raises:
            CosimError: it does not fit.
        """
        if self._library.lp_eeprom(self._sim, offset, data, len(data)) != 0:
            raise CosimError(f"{len(data)} bytes at {offset} do not fit the EEPROM")
