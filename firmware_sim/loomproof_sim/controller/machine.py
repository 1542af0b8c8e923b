"""The state of a box and every change of it: what runs, what is armed, what is latched, what the supply does."""

from dataclasses import dataclass
from typing import TypeVar

from loomproof_sim.controller.activity import Activity, BoxParts
from loomproof_sim.controller.arming import Arming
from loomproof_sim.controller.drive import CheckedDrive, DriveActivity
from loomproof_sim.controller.rest_look import RestLook
from loomproof_sim.controller.supervision import HeartbeatTimer, StopLatch, SupplyWatch, TelemetryTimer
from loomproof_wire.messages import (
    BoxState,
    Disarmed,
    DisarmReason,
    EndReason,
    Hazard,
    Status,
    Stopped,
    StopReason,
    SupplyEvent,
    Telemetry,
)

StatusT = TypeVar("StatusT", Status, Telemetry)
MOST_COUNTED = 0xFFFF


@dataclass
class FrameCounters:
    """Frames that the box dropped since it was powered, as far as the status can count."""

    bad: int = 0
    stale: int = 0

    def count_bad(self) -> None:
        """Count a frame that is damaged or malformed."""
        self.bad = min(MOST_COUNTED, self.bad + 1)

    def count_stale(self) -> None:
        """Count an old copy of a request."""
        self.stale = min(MOST_COUNTED, self.stale + 1)


class StateMachine:
    """The state that requests, the session and the clock share. All times are nanoseconds since power-on.

    Args:
        parts: the hardware in front of the loom, the configuration and the trace memory.
        latch: the stop, which outlasts a watchdog reset because its input is a switch.
        booted_ns: when the box started.
    """

    def __init__(self, parts: BoxParts, latch: StopLatch, booted_ns: int) -> None:
        self.parts = parts
        self.latch = latch
        self.now_ns = booted_ns
        self.activity: Activity | None = None
        self.arming = Arming(self._disarmed)
        self.heartbeat = HeartbeatTimer()
        self.telemetry = TelemetryTimer()
        self.supply = SupplyWatch(parts.profile.supply_min_v, parts.profile.supply_max_v)
        self.frames = FrameCounters()
        self.rest_look = RestLook(parts, booted_ns)
        self._booted_ns = booted_ns
        self.supply.measured(self._supply_v())

    def _supply_v(self) -> float:
        return self.parts.plant.sample(1, self.now_ns / 1e9).supply_v

    # -- what runs ------------------------------------------------------------------------------------

    def start(self, activity: Activity) -> None:
        """Begin the one thing to do; what is due at once happens at once."""
        self.activity = activity
        self.run_activity()

    def start_drive(self, drive: CheckedDrive) -> None:
        """Begin a drive. A fuel pump's drops the arming of fuel first."""
        if drive.pump:
            self.pump_starts()
        self.start(DriveActivity(drive, self.parts, self.now_ns))

    def pump_starts(self) -> None:
        """Drop the arming of fuel: a channel marked as the fuel pump is about to be driven."""
        self.disarm(Hazard.FUEL, DisarmReason.PUMP_DRIVEN)

    @property
    def pump_running(self) -> bool:
        """Whether a channel marked as the fuel pump is driven."""
        return self.activity is not None and self.activity.pump

    def run_activity(self) -> None:
        """Let the activity do what is due."""
        activity = self.activity
        if activity is not None and activity.run(self.now_ns):
            self.activity = None
            self.rest_look.driven(self.now_ns)

    def catch_up(self) -> None:
        """Take all samples up to now, before something outside changes."""
        if self.activity is not None:
            self.activity.catch_up(self.now_ns)

    def finish_due(self) -> None:
        """Take the samples up to now and end what they ended: a drive that tripped ends before the next request."""
        self.catch_up()
        if self.activity is not None and self.activity.next_ns() <= self.now_ns:
            self.run_activity()

    def end_activity(self, reason: EndReason) -> None:
        """End whatever is being done, outputs first."""
        activity, self.activity = self.activity, None
        if activity is not None:
            activity.end(reason, self.now_ns)
            self.rest_look.driven(self.now_ns)

    # -- stop, arming, supply -------------------------------------------------------------------------

    def stop(self, reason: StopReason) -> None:
        """Switch the outputs off, disarm everything and latch."""
        self.end_activity(EndReason.STOPPED)
        self.parts.outputs.all_off(self.now_ns)
        self.disarm_all(DisarmReason.STOPPED)
        if self.latch.latch(reason):
            self.parts.outbox.event(Stopped(reason))

    def disarm(self, hazard: Hazard, reason: DisarmReason) -> None:
        """Drop one arming; a drive that needs it ends."""
        self.arming.drop(hazard, reason)

    def disarm_all(self, reason: DisarmReason) -> None:
        """Drop every arming."""
        self.arming.drop_all(reason)

    def _disarmed(self, hazard: Hazard, reason: DisarmReason) -> None:
        if self.activity is not None and hazard in self.activity.hazards:
            self.end_activity(EndReason.DISARMED)
        self.parts.outbox.event(Disarmed(hazard, reason))

    def measure_supply(self) -> bool:
        """Measure the supply now, act on a change, and return whether it is good."""
        self.finish_due()
        if self.supply.measured(self._supply_v()):
            if not self.supply.good:
                self.end_activity(EndReason.STOPPED)
                self.disarm_all(DisarmReason.SUPPLY_LOST)
                self.stop(StopReason.SUPPLY)
            self.parts.outbox.event(SupplyEvent(int(self.supply.good), self.supply.supply_mv))
        return self.supply.good

    def look_at_rest(self) -> None:
        """Look whether every driver is off and every current reading alive; if not, stop for good."""
        if self.activity is not None or self.latch.faulty:
            return
        fault = self.rest_look.fault(self.now_ns)
        if fault is not None:
            channel, current_a, reason = fault
            self.parts.trip(channel, current_a, self.now_ns)
            self.stop(reason)
            if self.latch.fault(reason):
                self.parts.outbox.event(Stopped(reason))

    # -- sessions -------------------------------------------------------------------------------------

    def new_session(self) -> None:
        """Switch all off and disarm everything; a drive ends without an event. A latched stop stays."""
        outbox = self.parts.outbox
        outbox.muted = True
        self.end_activity(EndReason.CANCELLED)
        outbox.restart()
        self.parts.outputs.all_off(self.now_ns)
        self.disarm_all(DisarmReason.NEW_SESSION)
        self.heartbeat.forget()
        self.latch.greeted()
        self.telemetry.begin(self.now_ns)

    def beat(self) -> None:
        """Take a heartbeat of this session."""
        self.heartbeat.beat(self.now_ns)

    def stop_command(self) -> None:
        """Obey a stop frame."""
        self.stop(StopReason.COMMAND)

    @property
    def state(self) -> BoxState:
        """Stopped, idle, or what the activity does."""
        if self.latch.stopped:
            return BoxState.STOPPED
        return BoxState.IDLE if self.activity is None else self.activity.state

    def status(self, kind: type[StatusT]) -> StatusT:
        """Return the state of the box as a reply or an event."""
        self.measure_supply()
        parts, activity = self.parts, self.activity
        return kind(
            uptime_ms=(self.now_ns - self._booted_ns) // 1_000_000 & 0xFFFFFFFF,
            state=self.state,
            stop_reason=self.latch.reason,
            stop_input_open=int(self.latch.input_open),
            supply_mv=self.supply.supply_mv,
            board_temperature_dc=round(parts.profile.board_temperature_c * 10),
            driving_channel=0 if activity is None else activity.channel,
            tripped_mask=sum(1 << (channel - 1) for channel in parts.tripped),
            armed_mask=self.arming.mask(),
            armed_left_ms=self.arming.left_ms(self.now_ns),
            free_traces=parts.traces.free,
            bad_frames=self.frames.bad,
            stale_frames=self.frames.stale,
            overruns=min(MOST_COUNTED, parts.traces.overruns),
        )
