# SPDX-License-Identifier: GPL-3.0-or-later
"""A box run by the real firmware, with the interface of the simulated controller."""

from pathlib import Path

from loomproof.job.model import Job
from loomproof_cosim.board_circuit import BoardCircuit
from loomproof_cosim.board_config import eeprom_image
from loomproof_cosim.boards import FINE, WIDE, Board, board_of
from loomproof_cosim.part import CLOCK_HZ, AvrPart
from loomproof_sim.box import SimBox
from loomproof_sim.clocks import RealClock, VirtualClock
from loomproof_sim.fault_text import parse_fault
from loomproof_sim.hands.local import SimHands, connector_map
from loomproof_sim.loom import channel_kinds
from loomproof_sim.plant.plant import Plant
from loomproof_sim.scenario import Scenario, build_loom, job_of
from loomproof_wire.messages import StopReason

NS_PER_CYCLE_X2 = 125
"""62.5 ns a cycle at 16 MHz."""
MISHAPS = ("rx_overruns", "tx_lost", "resets", "halted")
STEP_NS = 250_000
"""How long the part runs before its output is looked at."""


def cycles_of(time_ns: int) -> int:
    """Return the number of cycles in a time."""
    return time_ns * 2 // NS_PER_CYCLE_X2


class ElfController:
    """The firmware in its part, with the interface of `loomproof_sim.controller.controller.Controller`.

    Attributes:
        part: the microcontroller.
        circuit: the board around it.
    """

    def __init__(self, elf: Path, board: Board, circuit: BoardCircuit, eeprom: bytes = b"") -> None:
        self.circuit = circuit
        self.plant = circuit.plant
        self.now_ns = 0
        self.part = AvrPart(
            elf, board.part, volts=circuit.volts, on_pins=circuit.pins, held_inputs=(FINE, WIDE)
        )
        self.part.set_input(*board.stop, False)
        self.part.set_noise(circuit.profile.noise_counts, circuit.seed)
        if eeprom:
            self.part.write_eeprom(0, eeprom)

    def receive(self, data: bytes) -> None:
        """Take bytes from the console; they arrive at the rate of the line."""
        self.part.send(data)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        return self.part.take()

    def next_event_ns(self) -> int:
        """Return when to look next."""
        return self.now_ns + STEP_NS

    def advance_to(self, time_ns: int) -> None:
        """Let the part run up to a time."""
        self.part.run_to(cycles_of(time_ns))
        self.now_ns = max(time_ns, self.part.cycle * NS_PER_CYCLE_X2 // 2)

    def catch_up(self) -> None:
        """Drop what was computed ahead, because something outside is about to change."""
        self.circuit.forget()
        self.part.forget_foreseen()

    def supply_changed(self) -> None:
        """Drop what was computed ahead; the firmware notices the change by itself."""
        self.catch_up()

    def set_stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop contact: it cuts the gate supply, and the part sees it."""
        self.circuit.set_stop(self.part.cycle, open_=open_)
        self.part.set_input(*self.circuit.board.stop, open_)
        self.catch_up()

    def mishaps(self) -> dict[str, int]:
        """Return how often each mishap occurred: bytes lost on the line, resets, a program that ended."""
        counters = self.part.counters
        return {name: int(getattr(counters, name)) for name in MISHAPS}

    def stop(self, reason: StopReason) -> None:
        """Switch the box off by the stop contact, as its server does before it ends."""
        del reason
        self.set_stop_input(True)


def build_elf_box(
    scenario: Scenario, elf: Path, board: Board | None = None, job: Job | None = None
) -> SimBox:
    """Return a powered box with its loom, run by a firmware.

    Args:
        scenario: how to set up the loom.
        elf: the firmware.
        board: the board; None = the one that the firmware was built for.
        job: replaces the scenario's job file.

    Raises:
        ScenarioError: the job or a fault is wrong.
        CosimError: the firmware cannot be run.
    """
    board = board_of(elf) if board is None else board
    job = job_of(scenario) if job is None else job
    plant = Plant(build_loom(job, scenario), seed=scenario.seed)
    kinds = channel_kinds(job)
    circuit = BoardCircuit(plant, board, scenario.board, kinds, scenario.seed)
    eeprom = eeprom_image(kinds, f"COSIM-{scenario.seed:06d}", scenario.board)
    controller = ElfController(elf, board, circuit, eeprom)
    clock = VirtualClock() if scenario.clock == "virtual" else RealClock()
    box = SimBox(controller, clock)  # type: ignore[arg-type]  # the same face, another controller
    faults = [parse_fault(text, job) for text in scenario.faults]
    box.hands = SimHands(box, plant, job, connector_map(job, faults))
    box.plant = plant
    return box


assert CLOCK_HZ * NS_PER_CYCLE_X2 == 2 * 10**9
