"""The board that the suite's own tests check: a job with harmless loads, a simulated box as a port, hands."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.boxcheck.attendant import Act
from loomproof.boxcheck.need import Need
from loomproof.job.file.loading import parse_job
from loomproof.job.model import Job
from loomproof_sim.box import SimBox
from loomproof_sim.hands.local import BoxHands
from loomproof_wire.frames import Frame, FrameReader, decode
from loomproof_wire.messages import Message, WireError

JOB = """
schema_version = 1
setting = "bench"
[identity]
title = "Check board"
job_number = "LP-0099"
[[connectors]]
id = "H1"
name = "Board header"
cavities = 16
[[feeds]]
id = "F1"
name = "Board feed"
terminal = "87"
fuse_a = 15
section_mm2 = 1.0
length_m = 0.5
"""
LOADS = {1: "relay_plain", 2: "relay_plain", 3: "relay_plain", 4: "relay_diode"}
"""What a board of four channels drives."""
MORE = {5: "tacho_input", 6: "motor_throttle", 7: "motor_throttle"}
"""A logic output and a half-bridge pair beside them on a larger board."""


def job_of(loads: Mapping[int, str]) -> Job:
    """A job with these loads; channels 6 and 7 are one motor's."""
    text = JOB
    for channel, load in loads.items():
        text += f'[[channels]]\nchannel = {channel}\nname = "load {channel}"\ncavity = "H1-{channel}"\n'
        text += f'wire = "BU"\nload = "{load}"\n'
        text += "" if load == "tacho_input" else 'feed = "F1"\n'
        text += f"partner = {13 - channel}\n" if load == "motor_throttle" else ""
    return parse_job(text)


class SimPort:
    """A simulated box as a port in virtual time."""

    virtual_clock = True

    def __init__(self, sim: SimBox) -> None:
        self.sim = sim
        self.timeout: float | None = 0.0

    def now_s(self) -> float:
        """The box's own time."""
        return self.sim.now_s()

    def read(self, size: int = 1) -> bytes:
        """Wait for bytes up to `timeout`; time passes meanwhile."""
        return self.sim.read(size, self.timeout)

    def write(self, data: bytes) -> int:
        """Send at once."""
        self.sim.write(bytes(data))
        return len(data)

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read at once."""
        return self.sim.waiting()

    def close(self) -> None:
        """Nothing to close."""


class SimulatedHands:
    """Does to the simulated loom and box what a case asks of a person."""

    can = frozenset({Need.STOP_BUTTON, Need.SUPPLY, Need.CONNECTOR})
    patience_s = 0.0

    def __init__(self, hands: BoxHands) -> None:
        self.hands = hands

    def do(self, act: Act, channel: int) -> None:
        """Press, switch, pull or seat."""
        match act:
            case Act.PRESS_STOP | Act.RELEASE_STOP:
                self.hands.stop_input(act is Act.PRESS_STOP)
            case Act.SUPPLY_OFF | Act.SUPPLY_ON:
                self.hands.supply(act is Act.SUPPLY_ON)
            case Act.PULL:
                self.hands.pull(channel)
            case Act.SEAT:
                self.hands.seat(channel)


class Tap:
    """A port that notes every well-formed message which passes, in both directions."""

    virtual_clock = True

    def __init__(self, port: SimPort) -> None:
        self.port = port
        self.timeout: float | None = 0.0
        self.sent: list[Message] = []
        self.heard: list[Message] = []
        self._readers = FrameReader(), FrameReader()

    def _note(self, reader: FrameReader, data: bytes, noted: list[Message]) -> None:
        for frame in reader.feed(data):
            if isinstance(frame, Frame):
                try:
                    noted.append(decode(frame))
                except WireError:  # a case says something wrong on purpose
                    continue

    def take(self) -> tuple[list[Message], list[Message]]:
        """Return what passed since the last time: sent, heard."""
        taken = self.sent, self.heard
        self.sent, self.heard = [], []
        return taken

    def now_s(self) -> float:
        """The port's time."""
        return self.port.now_s()

    def read(self, size: int = 1) -> bytes:
        """Read and note."""
        self.port.timeout = self.timeout
        data = self.port.read(size)
        self._note(self._readers[1], data, self.heard)
        return data

    def write(self, data: bytes) -> int:
        """Note and write."""
        self._note(self._readers[0], data, self.sent)
        return self.port.write(data)

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read at once."""
        return self.port.in_waiting

    def close(self) -> None:
        """Close the port."""
        self.port.close()
