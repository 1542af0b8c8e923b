"""The controller: one state machine, moved by bytes, time and its stop input; it has no clock of its own."""

from typing import TypeVar

from loomproof_sim.controller.activity import Activity, Bench
from loomproof_sim.controller.arming import Arming
from loomproof_sim.controller.info import identity
from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.outbox import Outbox
from loomproof_sim.controller.ports import NEVER_NS, Outputs, PlantPort
from loomproof_sim.controller.requests import Requests
from loomproof_sim.controller.scheduler import DrivePlan, DriveRun
from loomproof_sim.controller.session import Intake, Later
from loomproof_sim.controller.supervision import Heartbeat, StopLatch, SupplyWatch, Telemetry
from loomproof_sim.controller.traces import TraceStore
from loomproof_sim.profiles import REFERENCE, BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import (
    BoxState,
    ChannelKind,
    Disarmed,
    DisarmReason,
    EndReason,
    Hazard,
    Identity,
    Message,
    Status,
    Stopped,
    StopReason,
    SupplyEvent,
)
from loomproof_wire.messages import (
    Telemetry as TelemetryEvent,
)

StatusT = TypeVar("StatusT", Status, TelemetryEvent)


class Controller:
    """A box's firmware in front of a loom. All times are integer nanoseconds since the box was powered.

    Args:
        plant: what hangs on the pins.
        profile: the board.
        kinds: driver of each channel; those not named are low-side.
        seed: draws the read-back's errors and noise.
        serial_number: what the box calls itself.
    """

    def __init__(
        self,
        plant: PlantPort,
        profile: BoardProfile = REFERENCE,
        *,
        kinds: dict[int, ChannelKind] | None = None,
        seed: int = 0,
        serial_number: str = "SIM-0001",
    ) -> None:
        self.plant = plant
        self.profile = profile
        self.now_ns = 0
        self.readback = Readback(profile, seed)
        self._kinds = {
            ch: (kinds or {}).get(ch, ChannelKind.LOW_SIDE) for ch in range(1, profile.channel_count + 1)
        }
        self._serial_number = serial_number
        self._hung_until_ns: int | None = None
        self.latch = StopLatch()
        self.outputs = Outputs(plant, profile.channel_count)
        self.outbox = Outbox()
        self._boot()

    def _boot(self) -> None:
        """Everything as after power-up, but for the stop input, which is a switch."""
        self._booted_ns = self.now_ns
        self._hung_until_ns = None
        self.outputs.all_off(self.now_ns)
        self.outbox.muted = True
        self.activity: Activity | None = None
        self.tripped: set[int] = set()
        self.table = ChannelTable(self._kinds)
        self.arming = Arming(self._disarmed)
        self.heartbeat = Heartbeat()
        self.telemetry = Telemetry()
        self.supply = SupplyWatch(self.profile.supply_min_v, self.profile.supply_max_v)
        self.traces = TraceStore(self.profile, self.readback, self.outbox.event)
        self.bench = Bench(
            self.plant,
            self.outputs,
            self.readback,
            self.profile,
            self.table,
            self.traces,
            self.outbox,
            self.tripped,
        )
        self._requests = Requests(self)
        self.intake = Intake(self, self.outbox)
        self.supply.measured(self.plant.sample(1, self.now_ns / 1e9).supply_v)

    # -- the outside ------------------------------------------------------------------------------

    def receive(self, data: bytes) -> None:
        """Take bytes from the console, now."""
        if self._hung_until_ns is None:
            self._look()
            self.intake.feed(data)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        return self.outbox.take()

    def next_event_ns(self) -> int:
        """When something will happen unless bytes or hands come first; NEVER_NS = nothing will."""
        if self._hung_until_ns is not None:
            return self._hung_until_ns
        activity_ns = NEVER_NS if self.activity is None else self.activity.next_ns()
        due = min(self.heartbeat.next_ns(), self.arming.next_ns(), self.telemetry.next_ns(), activity_ns)
        return max(due, self.now_ns)

    def advance_to(self, time_ns: int) -> None:
        """Let time pass; everything due up to and including `time_ns` happens at its own time.

        Raises:
            ValueError: `time_ns` is in the past.
        """
        if time_ns < self.now_ns:
            raise ValueError(f"time runs backwards: {time_ns} ns after {self.now_ns} ns")
        while (due := self.next_event_ns()) <= time_ns:
            self.now_ns = due
            self._run_due()
        self.now_ns = time_ns

    def set_stop_input(self, open_: bool) -> None:
        """Press (open) or release the hardware stop. It cuts the outputs even when the controller hangs."""
        self.latch.input_open = open_
        if open_:
            if self._hung_until_ns is None:
                self.stop(StopReason.STOP_INPUT)
            else:
                self.outputs.all_off(self.now_ns)

    def hang(self) -> None:
        """Test hook: the program stands still, outputs stay as they are, until the watchdog resets it."""
        if self._hung_until_ns is None:
            self.catch_up()
            self._hung_until_ns = self.now_ns + self.profile.watchdog_ns

    def supply_changed(self) -> None:
        """The supply comparator saw an edge."""
        if self._hung_until_ns is None:
            self.measure_supply()

    def catch_up(self) -> None:
        """Take all samples up to now, before something outside changes."""
        if self.activity is not None and self._hung_until_ns is None:
            self.activity.catch_up(self.now_ns)

    # -- time -------------------------------------------------------------------------------------

    def _run_due(self) -> None:
        now_ns = self.now_ns
        if self._hung_until_ns is not None:
            self._boot()
            self.latch.reason = StopReason.WATCHDOG
            return
        if self.heartbeat.lost(now_ns):
            self.stop(StopReason.HEARTBEAT)
        self.arming.expire(now_ns)
        if self.activity is not None and self.activity.next_ns() <= now_ns:
            self._run_activity()
        if self.telemetry.due(now_ns):
            self.outbox.event(self.status(TelemetryEvent))

    def _run_activity(self) -> None:
        activity = self.activity
        if activity is not None and activity.run(self.now_ns):
            self.activity = None

    def _look(self) -> None:
        """Take the samples up to now, and end what they ended: a drive that tripped is over before it is told of."""
        self.catch_up()
        if self.activity is not None and self.activity.next_ns() <= self.now_ns:
            self._run_activity()

    # -- what activities do to the box ------------------------------------------------------------

    def start(self, activity: Activity) -> None:
        """Begin the one thing to do; what is due at once happens at once."""
        self.activity = activity
        self._run_activity()

    def start_drive(self, plan: DrivePlan) -> None:
        """Begin a drive. A fuel pump's drops the arming of fuel first."""
        if plan.pump:
            self.pump_starts()
        self.start(DriveRun(plan, self.bench, self.now_ns))

    def pump_starts(self) -> None:
        """A channel marked as the fuel pump is about to be driven."""
        self.disarm(Hazard.FUEL, DisarmReason.PUMP_DRIVEN)

    @property
    def pump_running(self) -> bool:
        """Whether a channel marked as the fuel pump is driven."""
        return self.activity is not None and self.activity.pump

    def end_activity(self, reason: EndReason) -> None:
        """End whatever is being done, outputs first."""
        activity, self.activity = self.activity, None
        if activity is not None:
            activity.end(reason, self.now_ns)

    def stop(self, reason: StopReason) -> None:
        """Outputs off, everything disarmed, latched."""
        self.end_activity(EndReason.STOPPED)
        self.outputs.all_off(self.now_ns)
        self.disarm_all(DisarmReason.STOPPED)
        if self.latch.latch(reason):
            self.outbox.event(Stopped(reason))

    def disarm(self, hazard: Hazard, reason: DisarmReason) -> None:
        """Drop one arming; a drive that needs it ends."""
        self.arming.drop(hazard, reason)

    def disarm_all(self, reason: DisarmReason) -> None:
        """Drop every arming."""
        self.arming.drop_all(reason)

    def _disarmed(self, hazard: Hazard, reason: DisarmReason) -> None:
        if self.activity is not None and hazard in self.activity.hazards:
            self.end_activity(EndReason.DISARMED)
        self.outbox.event(Disarmed(hazard, reason))

    def measure_supply(self) -> bool:
        """Measure the supply now, act on a change, and return whether it is good."""
        self._look()
        supply_v = self.plant.sample(1, self.now_ns / 1e9).supply_v
        if self.supply.measured(supply_v):
            if not self.supply.good:
                self.end_activity(EndReason.STOPPED)
                self.disarm_all(DisarmReason.SUPPLY_LOST)
                self.stop(StopReason.SUPPLY)
            self.outbox.event(SupplyEvent(int(self.supply.good), self.supply.supply_mv))
        return self.supply.good

    # -- what a session asks of the box -----------------------------------------------------------

    def new_session(self) -> None:
        """All off, everything disarmed, no heartbeat yet. A drive ends unheard. Does not clear a stop."""
        self.outbox.muted = True
        self.end_activity(EndReason.CANCELLED)
        self.outbox.restart()
        self.outputs.all_off(self.now_ns)
        self.disarm_all(DisarmReason.NEW_SESSION)
        self.heartbeat.forget()
        self.latch.greeted()
        self.telemetry.begin(self.now_ns)

    def identity(self) -> Identity:
        """Who the box is."""
        return identity(self.profile, self._serial_number)

    def beat(self) -> None:
        """A heartbeat of this session."""
        self.heartbeat.beat(self.now_ns)

    def stop_command(self) -> None:
        """A stop frame."""
        self.stop(StopReason.COMMAND)

    def execute(self, message: Message, later: Later) -> Message | None:
        """Carry out a request; see `Requests.execute`."""
        return self._requests.execute(message, later)

    @property
    def state(self) -> BoxState:
        """Where the state machine is."""
        if self.latch.stopped:
            return BoxState.STOPPED
        return BoxState.IDLE if self.activity is None else self.activity.state

    def status(self, kind: type[StatusT]) -> StatusT:
        """Return the state of the box as a reply or an event."""
        self.measure_supply()
        activity = self.activity
        return kind(
            uptime_ms=(self.now_ns - self._booted_ns) // 1_000_000 & 0xFFFFFFFF,
            state=self.state,
            stop_reason=self.latch.reason,
            stop_input_open=int(self.latch.input_open),
            supply_mv=self.supply.supply_mv,
            board_temperature_dc=round(self.profile.board_temperature_c * 10),
            driving_channel=0 if activity is None else activity.channel,
            tripped_mask=sum(1 << (channel - 1) for channel in self.tripped),
            armed_mask=self.arming.mask(),
            armed_left_ms=self.arming.left_ms(self.now_ns),
            free_traces=self.traces.free,
            bad_frames=self.intake.bad_frames,
            stale_frames=self.intake.stale_frames,
            overruns=min(0xFFFF, self.traces.overruns),
        )
