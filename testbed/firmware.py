"""Tools around the real firmware: building, symbols, a console of a few lines, edges of gates."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from loomproof_cosim.elf_box import ElfController
from loomproof_cosim.part import AvrPart
from loomproof_sim.box import SimBox
from loomproof_wire import messages
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import Configure, Hazard, LoadClass

ROOT = Path(__file__).resolve().parents[1]
MS, US = 16_000, 16
"""Cycles."""
RELAY = 4
"""Channel of the built-in job with a relay on it."""
SESSION = 7
Cycles = NDArray[np.int64]
M = TypeVar("M", bound=messages.Message)


def run(*command: str) -> str:
    """Run a command in the project's root; what it printed."""
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"
    return done.stdout


def symbol(elf: Path, name: str) -> int:
    """Address of a symbol."""
    for line in run("avr-nm", str(elf)).splitlines():
        words = line.split()
        if words[-1] == name and len(words) == 3:
            return int(words[0], 16)
    raise AssertionError(f"no symbol {name}")


def part_of(box: SimBox) -> AvrPart:
    """The simulated part of a box that runs the real firmware."""
    controller: object = box.controller
    assert isinstance(controller, ElfController)
    return controller.part


class Console:
    """Speaks to the box frame by frame, with heartbeats only on request."""

    def __init__(self, box: SimBox) -> None:
        self.box = box
        self.part = part_of(box)
        self.reader = FrameReader()
        self.sequence = 0
        self.heard: list[messages.Message] = []

    def send(self, message: messages.Message) -> None:
        """Write one frame."""
        self.sequence += 1
        self.box.write(encode_frame(self.sequence, message))

    def listen(self, seconds: float) -> None:
        """Let time pass and keep what comes."""
        self.box.run_for(seconds)
        for frame in self.reader.feed(self.box.read(1 << 16, 0)):
            assert isinstance(frame, Frame)
            self.heard.append(decode(frame))

    def beat(self, seconds: float) -> None:
        """Let time pass with heartbeats."""
        for _ in range(max(1, round(seconds / 0.05))):
            self.send(messages.Heartbeat(SESSION))
            self.listen(0.05)

    def ask(self, message: messages.Message) -> messages.Message:
        """Send a request; its only reply."""
        before = len(self.heard)
        self.send(message)
        self.listen(0.02)
        replies = [one for one in self.heard[before:] if 0x40 <= one.KIND < 0x80]
        assert len(replies) == 1, self.heard[before:]
        return replies[0]

    def greet(self) -> messages.Message:
        """Open a session; what the box says it is."""
        identity = self.ask(messages.Hello(1, 0, SESSION, messages.SPEC_HASH))
        self.beat(0.05)
        return identity

    def said(self, kind: type[M]) -> list[M]:
        """All heard so far of one kind."""
        return [one for one in self.heard if isinstance(one, kind)]


def gate_edges(part: AvrPart, port: str, pin: int) -> Cycles:
    """Cycles at which a gate pin rose and fell."""
    level, edges = 0, []
    for edge in part.edges():
        if edge.port == port and (edge.levels >> pin & 1) != level:
            level ^= 1
            edges.append(edge.cycle)
    return np.array(edges, dtype=np.int64)


def channel_edges(part: AvrPart, channel: int) -> Cycles:
    """Likewise of a channel of the reference board."""
    return gate_edges(part, "A" if channel <= 8 else "C", (channel - 1) % 8)


def ready(
    console: Console, channel: int = RELAY, max_current_ma: int = 5000, max_hold_ms: int = 10_000
) -> None:
    """Configure a channel as a harmless relay."""
    reply = console.ask(
        Configure(
            channel, LoadClass.RELAY, Hazard.NONE, 0, 100_000, max_hold_ms, 900, 2000, max_current_ma, 200
        )
    )
    assert isinstance(reply, messages.Ack), reply
