"""The real firmware in its part, as the search plays with it. Time passes while bytes are on the line."""

from dataclasses import replace
from pathlib import Path

from loomproof_cosim.board_circuit import BoardCircuit
from loomproof_cosim.board_config import eeprom_image
from loomproof_cosim.boards import board_of
from loomproof_cosim.elf_box import ElfController
from loomproof_sim.profiles import REFERENCE
from loomproof_wire.messages import ChannelKind
from testbed.interleave.boxes import KINDS, PlainPlant, Switches
from testbed.interleave.watcher import MS, Slack

BYTE_NS = 40_000
"""On the line, at 250000 baud."""
TIMSK2 = 0x70
"""Data-space address of timer 2's interrupt mask in both parts (datasheet)."""
BOOT_NS = 20 * MS
NOTICED_NS = 5 * MS
"""A hand takes at least so long: the box looks at its supply every 2 ms."""


class ElfBox:
    """One part, powered up anew for each episode.

    Args:
        elf: the firmware.
    """

    slack = Slack(on_ns=100_000, act_ns=3 * MS, tell_ns=15 * MS, dead_ns=180 * MS, holds=False)

    def __init__(self, elf: Path) -> None:
        self._elf = elf
        self._board = board_of(elf)
        self._box: ElfController | None = None
        self.restart()

    def restart(self) -> None:
        """Power down and up."""
        if self._box is not None:
            self._box.part.close()
        profile = replace(REFERENCE, noise_counts=0.0)
        kinds = {n: KINDS.get(n, ChannelKind.LOW_SIDE) for n in range(1, self._board.channel_count + 1)}
        self.plant = PlainPlant()
        circuit = BoardCircuit(self.plant, self._board, profile, kinds, 0)
        self._box = ElfController(self._elf, self._board, circuit, eeprom_image(kinds, "SEARCH-1", profile))
        self.box.advance_to(BOOT_NS)

    @property
    def box(self) -> ElfController:
        """The powered part."""
        assert self._box is not None
        return self._box

    @property
    def now_ns(self) -> int:
        """The present."""
        return self.box.now_ns

    def receive(self, data: bytes) -> None:
        """Take bytes from the console; back when the last of them has arrived."""
        self.box.receive(data)
        self.box.advance_to(self.now_ns + len(data) * BYTE_NS)

    def advance_to(self, time_ns: int) -> None:
        """Let time pass."""
        if time_ns > self.now_ns:
            self.box.advance_to(time_ns)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        return self.box.take_output()

    def switches(self) -> Switches:
        """Return the changes of outputs so far."""
        taken, self.plant.log = self.plant.log, []
        return taken

    def set_stop_input(self, open_: bool) -> None:
        """Press or release the stop input."""
        self.box.set_stop_input(open_)
        self.box.advance_to(self.now_ns + NOTICED_NS)

    def set_supply(self, volts: float) -> None:
        """Change the supply."""
        self.plant.supply_v = volts
        self.box.supply_changed()
        self.box.advance_to(self.now_ns + NOTICED_NS)

    def set_load(self, channel: int, ohm: float, henry: float) -> None:
        """Change what hangs on a channel."""
        self.plant.ohm[channel], self.plant.henry[channel] = ohm, henry
        self.box.catch_up()

    def hold(self, held: bool) -> None:
        """Its main loop has its own way."""

    def poll(self) -> None:
        """Its main loop has its own way."""

    def ticks_die(self) -> None:
        """Stop the millisecond interrupt, until a reset."""
        self.box.part.paint(TIMSK2, TIMSK2 + 1, 0)

    def converter_sticks(self) -> None:
        """It goes on converting."""

    def resets(self) -> int:
        """Return how often the watchdog has reset it."""
        return self.box.mishaps()["resets"]
