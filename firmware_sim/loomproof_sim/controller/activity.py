"""The interface of an activity: the one drive, sense pulse, scan or watch that a box runs at a time."""

from dataclasses import dataclass
from typing import Protocol

from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.outbox import Outbox
from loomproof_sim.controller.ports import Outputs, PlantPort
from loomproof_sim.controller.rest import RestLedger
from loomproof_sim.controller.traces import TraceStore
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import BoxState, EndReason, Hazard, Trip


@dataclass
class BoxParts:
    """The parts of the box that all activities share."""

    plant: PlantPort
    outputs: Outputs
    readback: Readback
    profile: BoardProfile
    table: ChannelTable
    traces: TraceStore
    outbox: Outbox
    tripped: set[int]
    rest: RestLedger

    def limit_a(self, channel: int) -> float:
        """Return the current that trips a channel: its configured limit, at most what the wide range can see."""
        configured_a = self.table.config(channel).max_current_ma / 1000
        return min(configured_a, self.readback.highest_limit_a(channel))

    def trip(self, channel: int, current_a: float, time_ns: int) -> None:
        """Switch everything off at the sample over the limit, latch the channel and report the trip."""
        self.outputs.all_off(time_ns)
        self.tripped.add(channel)
        self.outbox.event(Trip(channel, min(0xFFFF, round(current_a * 1000))))


class Activity(Protocol):
    """A drive, a sense pulse, a scan or a watch.

    Attributes:
        channel: the channel that the status reports.
        state: driving or sensing.
        hazards: hazard classes that must stay armed.
        pump: whether it drives a fuel pump.
    """

    channel: int
    state: BoxState
    hazards: frozenset[Hazard]
    pump: bool

    def next_ns(self) -> int:
        """Return when it is due next."""

    def run(self, now_ns: int) -> bool:
        """Do what is due; return whether the activity is over."""

    def catch_up(self, now_ns: int) -> None:
        """Take the samples before `now_ns`; something outside is about to change."""

    def end(self, reason: EndReason, now_ns: int) -> None:
        """Switch the outputs off at `now_ns`, then report the end and its reason."""
