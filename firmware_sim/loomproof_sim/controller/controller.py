"""The controller: one state machine, moved by bytes, time and its stop input; it has no clock of its own."""

from loomproof_sim.controller.activity import BoxParts
from loomproof_sim.controller.board_faults import FaultyBoard
from loomproof_sim.controller.info import identity
from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.machine import StateMachine
from loomproof_sim.controller.outbox import Outbox
from loomproof_sim.controller.ports import NEVER_NS, Outputs, PlantPort
from loomproof_sim.controller.requests import Requests
from loomproof_sim.controller.rest import RestLedger
from loomproof_sim.controller.session import SessionLayer
from loomproof_sim.controller.supervision import StopLatch
from loomproof_sim.controller.traces import TraceStore
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import REFERENCE, BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import ChannelKind, StopReason, Telemetry


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
        self.plant = FaultyBoard(plant)
        self.profile = profile
        self.readback = Readback(profile, seed)
        self._kinds = {
            ch: (kinds or {}).get(ch, ChannelKind.LOW_SIDE) for ch in range(1, profile.channel_count + 1)
        }
        self._identity = identity(profile, serial_number)
        self.latch = StopLatch()
        self.outputs = Outputs(self.plant, profile.channel_count)
        self.outbox = Outbox()
        self._boot(0)

    def _boot(self, now_ns: int) -> None:
        """Start as after power-up, but for the stop input, which is a switch."""
        self._hung_until_ns: int | None = None
        self.outputs.all_off(now_ns)
        self.outbox.muted = True
        table = ChannelTable(self._kinds)
        parts = BoxParts(
            plant=self.plant,
            outputs=self.outputs,
            readback=self.readback,
            profile=self.profile,
            table=table,
            traces=TraceStore(self.profile, self.readback, self.outbox.event),
            outbox=self.outbox,
            tripped=set(),
            rest=RestLedger(lambda channel: table.config(channel).max_duty_permille, now_ns),
        )
        self.machine = StateMachine(parts, self.latch, now_ns)
        self.session = SessionLayer(self.machine, Requests(self.machine), self._identity)

    @property
    def now_ns(self) -> int:
        """The present, to which the box was advanced last."""
        return self.machine.now_ns

    # -- the outside ------------------------------------------------------------------------------

    def receive(self, data: bytes) -> None:
        """Take bytes from the console, now."""
        if self._hung_until_ns is None:
            self.machine.finish_due()
            self.session.feed(data)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        return self.outbox.take()

    def next_event_ns(self) -> int:
        """When something will happen unless bytes or hands come first; NEVER_NS = nothing will."""
        if self._hung_until_ns is not None:
            return self._hung_until_ns
        machine = self.machine
        activity_ns = NEVER_NS if machine.activity is None else machine.activity.next_ns()
        timers = (machine.heartbeat, machine.arming, machine.telemetry)
        return max(machine.now_ns, min(activity_ns, *(timer.next_ns() for timer in timers)))

    def advance_to(self, time_ns: int) -> None:
        """Let time pass; everything due up to and including `time_ns` happens at its own time.

        Raises:
            ValueError: `time_ns` is in the past.
        """
        if time_ns < self.now_ns:
            raise ValueError(f"time runs backwards: {time_ns} ns after {self.now_ns} ns")
        while (due := self.next_event_ns()) <= time_ns:
            self.machine.now_ns = due
            self._run_due()
        self.machine.now_ns = time_ns

    def set_stop_input(self, open_: bool) -> None:
        """Press (open) or release the hardware stop. It cuts the outputs even when the controller hangs."""
        self.latch.input_open = open_
        if open_:
            if self._hung_until_ns is None:
                self.machine.stop(StopReason.STOP_INPUT)
            else:
                self.outputs.all_off(self.now_ns)

    def stick_driver(self, channel: int) -> None:
        """Make a driver conduct from now on, whatever it is told."""
        self.catch_up()
        drive = Drive.LOW if self._kinds[channel] is ChannelKind.HALF_BRIDGE else Drive.ON
        self.plant.stick_driver(channel, drive, self.now_ns / 1e9)

    def deaden_current(self, channel: int) -> None:
        """Make a channel's current reading dead from now on."""
        self.catch_up()
        self.plant.deaden_current(channel)

    def hang(self) -> None:
        """Make the program stand still, outputs as they are, until the watchdog resets it: for tests."""
        if self._hung_until_ns is None:
            self.catch_up()
            self._hung_until_ns = self.now_ns + self.profile.watchdog_ns

    def supply_changed(self) -> None:
        """Act on an edge of the supply comparator."""
        if self._hung_until_ns is None:
            self.machine.measure_supply()

    def catch_up(self) -> None:
        """Take all samples up to now, before something outside changes."""
        if self._hung_until_ns is None:
            self.machine.catch_up()

    def stop(self, reason: StopReason) -> None:
        """Stop the box, as its server does before it ends."""
        self.machine.stop(reason)

    # -- time -------------------------------------------------------------------------------------

    def _run_due(self) -> None:
        machine = self.machine
        now_ns = machine.now_ns
        if self._hung_until_ns is not None:
            self._boot(now_ns)
            self.latch.reason = StopReason.WATCHDOG
            return
        if machine.heartbeat.lost(now_ns):
            machine.stop(StopReason.HEARTBEAT)
        machine.arming.expire(now_ns)
        if machine.activity is not None and machine.activity.next_ns() <= now_ns:
            machine.run_activity()
        if machine.telemetry.due(now_ns):
            machine.look_at_rest()
            self.outbox.event(machine.status(Telemetry))
