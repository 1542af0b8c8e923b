"""What the one thing that a box is doing at a time has to offer the controller."""

from dataclasses import dataclass
from typing import Protocol

from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.outbox import Outbox
from loomproof_sim.controller.ports import Outputs, PlantPort
from loomproof_sim.controller.traces import TraceStore
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import BoxState, EndReason, Hazard, Trip


@dataclass
class Bench:
    """The parts of the box that drives and measurements share."""

    plant: PlantPort
    outputs: Outputs
    readback: Readback
    profile: BoardProfile
    table: ChannelTable
    traces: TraceStore
    outbox: Outbox
    tripped: set[int]

    def trip(self, channel: int, current_a: float, time_ns: int) -> None:
        """Switch everything off at the sample that was over, latch the channel and say so."""
        self.outputs.all_off(time_ns)
        self.tripped.add(channel)
        self.outbox.event(Trip(channel, min(0xFFFF, round(current_a * 1000))))


class Activity(Protocol):
    """A drive, a sense pulse, a scan or a watch.

    Attributes:
        channel: the one the status reports.
        state: driving or sensing.
        hazards: classes that must stay armed.
        pump: whether it drives a fuel pump.
    """

    channel: int
    state: BoxState
    hazards: frozenset[Hazard]
    pump: bool

    def next_ns(self) -> int:
        """When it wants to run next."""

    def run(self, now_ns: int) -> bool:
        """Do what is due; return whether it is over."""

    def catch_up(self, now_ns: int) -> None:
        """Take the samples before `now_ns`, because something outside is about to change."""

    def end(self, reason: EndReason, now_ns: int) -> None:
        """Outputs off at `now_ns`, then say that it is over and why."""
