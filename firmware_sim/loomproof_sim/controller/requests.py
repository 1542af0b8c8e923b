"""Carries out requests; each is checked in full before anything is switched."""

import zlib
from collections.abc import Callable, Iterator
from typing import Any

from loomproof_sim.controller.drive import CheckedDrive, TracePlan
from loomproof_sim.controller.info import channel_info
from loomproof_sim.controller.limits import (
    RefuseError,
    check_hold,
    check_pulses,
    check_step,
    sense_cap_us,
)
from loomproof_sim.controller.machine import StateMachine
from loomproof_sim.controller.scan import ScanActivity
from loomproof_sim.controller.switch_edges import SwitchEdge, bridge, peak_hold, stepper, train
from loomproof_sim.controller.watch import CheckedWatch, WatchActivity
from loomproof_wire import messages as wire
from loomproof_wire.messages import (
    BoxState,
    ChannelConfig,
    ChannelKind,
    EndReason,
    Message,
    Refusal,
)

SWITCHED = (ChannelKind.LOW_SIDE, ChannelKind.HIGH_SIDE, ChannelKind.LOGIC)
POWERED = (ChannelKind.LOW_SIDE, ChannelKind.HIGH_SIDE)

Later = Callable[[Message], None]


class Requests:
    """One handler per request message.

    Args:
        machine: the state of the box.
    """

    def __init__(self, machine: StateMachine) -> None:
        self._machine = machine
        self._parts = machine.parts
        self._handlers: dict[type[Message], Callable[[Any], Message | None]] = {
            wire.GetChannel: self._get_channel,
            wire.Configure: self._configure,
            wire.GetConfig: lambda request: self._parts.table.config(request.channel),
            wire.GetDigest: lambda request: wire.Digest(self._digest()),
            wire.Arm: self._arm,
            wire.Disarm: self._disarm,
            wire.ClearStop: self._clear_stop,
            wire.GetStatus: lambda request: machine.status(wire.Status),
            wire.DriveTrain: self._train,
            wire.DriveHold: self._hold,
            wire.DrivePeakHold: self._peak_hold,
            wire.DriveStepper: self._stepper,
            wire.DriveBridge: self._bridge,
            wire.Cancel: self._cancel,
            wire.Sense: self._sense,
            wire.Watch: self._watch,
            wire.ReadTrace: lambda request: self._parts.traces.chunk(request.trace_id, request.first_sample),
        }

    def execute(self, message: Message, later: Later) -> Message | None:
        """Carry out a request and return its reply, or None when the reply follows later.

        Args:
            message: the request.
            later: takes the reply that follows later.

        Raises:
            RefuseError: the request is not carried out.
        """
        if isinstance(message, wire.Scan):
            self._scan(message, later)
            return None
        handler = self._handlers.get(type(message))
        if handler is None:
            raise RefuseError(Refusal.UNKNOWN_MESSAGE)
        return handler(message) or wire.Ack(message.KIND)

    def _get_channel(self, request: wire.GetChannel) -> Message:
        parts = self._parts
        return channel_info(request.channel, parts.table.kind(request.channel), parts.profile, parts.readback)

    def _configure(self, request: wire.Configure) -> None:
        self._parts.table.kind(request.channel)
        self._refuse_busy()
        self._parts.table.configure(request)
        if not self._machine.latch.faulty:  # no configuration mends the board
            self._parts.tripped.discard(request.channel)
        self._machine.disarm_all(wire.DisarmReason.RECONFIGURED)

    def _digest(self) -> int:
        return zlib.crc32(b"".join(config.encode_body() for config in self._parts.table.all()))

    def _arm(self, request: wire.Arm) -> None:
        self._refuse_unready()
        if request.hazard is wire.Hazard.FUEL and self._machine.pump_running:
            raise RefuseError(Refusal.PUMP_CHANNEL)
        self._machine.arming.arm(request.hazard, self._machine.now_ns + request.duration_ms * 1_000_000)

    def _disarm(self, request: wire.Disarm) -> None:
        if request.hazard is wire.Hazard.NONE:
            self._machine.disarm_all(wire.DisarmReason.ASKED)
        else:
            self._machine.disarm(request.hazard, wire.DisarmReason.ASKED)

    def _clear_stop(self, request: wire.ClearStop) -> None:
        del request
        latch = self._machine.latch
        if latch.faulty:
            raise RefuseError(Refusal.STOPPED, latch.reason)
        if latch.input_open:
            raise RefuseError(Refusal.STOP_INPUT_OPEN)
        if not self._machine.measure_supply():
            raise RefuseError(Refusal.SUPPLY_OUT_OF_RANGE, self._machine.supply.supply_mv)
        latch.clear()

    def _cancel(self, request: wire.Cancel) -> None:
        del request
        self._machine.end_activity(EndReason.CANCELLED)

    # -- drives -----------------------------------------------------------------------------------
    # Refusals are judged in the order of the protocol page: range, channel, kind, configuration, stop, stop
    # input, heartbeat, supply, trip, arming, busy, rest, limits.

    def _train(self, request: wire.DriveTrain) -> None:
        (config,) = self._ready((request.channel,), SWITCHED)
        check_pulses(config, count=request.count, period_us=request.period_us, on_time_us=request.on_time_us)
        edges = train(request.channel, request.count, request.period_us, request.on_time_us)
        trace = TracePlan(request.trace_every, request.trace_decimation, request.trace_samples)
        self._start_drive((request.channel,), edges, trace, rest_us=_rest_us(request, config))

    def _peak_hold(self, request: wire.DrivePeakHold) -> None:
        if request.peak_us > request.on_time_us:
            raise RefuseError(Refusal.OUT_OF_RANGE, 4)
        (config,) = self._ready((request.channel,), POWERED)
        check_pulses(config, count=request.count, period_us=request.period_us, on_time_us=request.on_time_us)
        trace = TracePlan(request.trace_every, request.trace_decimation, request.trace_samples)
        self._start_drive((request.channel,), peak_hold(request), trace, rest_us=_rest_us(request, config))

    def _hold(self, request: wire.DriveHold) -> None:
        (config,) = self._ready((request.channel,), SWITCHED)
        check_hold(config, request.duration_ms)
        edges = train(request.channel, 1, request.duration_ms * 1000, request.duration_ms * 1000)
        trace = TracePlan(1, request.trace_decimation, request.trace_samples)
        self._start_drive((request.channel,), edges, trace)

    def _stepper(self, request: wire.DriveStepper) -> None:
        if len(set(request.channels)) != len(request.channels) or request.steps == 0:
            raise RefuseError(Refusal.OUT_OF_RANGE, 0 if request.steps else 1)
        for config in self._ready(request.channels, POWERED):
            check_step(config, steps=request.steps, step_us=request.step_us)
        self._start_drive(request.channels, stepper(request), TracePlan())

    def _bridge(self, request: wire.DriveBridge) -> None:
        channels = (request.channel_supply, request.channel_ground)
        if channels[0] == channels[1]:
            raise RefuseError(Refusal.OUT_OF_RANGE, 1)
        for config in self._ready(channels, (ChannelKind.HALF_BRIDGE,)):
            check_hold(config, request.duration_ms)
            if request.duty_permille > config.max_duty_permille:
                raise RefuseError(Refusal.OVER_DUTY, config.max_duty_permille)
        trace = TracePlan(1, request.trace_decimation, request.trace_samples)
        self._start_drive(channels, bridge(request), trace, together=True)

    def _sense(self, request: wire.Sense) -> None:
        (config,) = self._ready((request.channel,), SWITCHED, needs_arming=False)
        kind = self._parts.table.kind(request.channel)
        cap_us = sense_cap_us(config, kind, self._machine.supply.supply_v)
        if request.on_time_us > cap_us:
            raise RefuseError(Refusal.OVER_ON_TIME, cap_us)
        edges = train(request.channel, 1, request.on_time_us, request.on_time_us)
        trace = TracePlan(1, 1, request.trace_samples)
        self._start_drive((request.channel,), edges, trace, needs_arming=False)

    def _start_drive(
        self,
        channels: tuple[int, ...],
        edges: Iterator[SwitchEdge],
        trace: TracePlan,
        *,
        rest_us: int = 0,
        together: bool = False,
        needs_arming: bool = True,
    ) -> None:
        machine, parts = self._machine, self._parts
        hazards = parts.table.hazards(channels) if needs_arming else frozenset()
        configs = [parts.table.config(channel) for channel in channels]
        machine.start_drive(
            CheckedDrive(
                channel=channels[0],
                channels=channels,
                edges=edges,
                limits_a={channel: parts.limit_a(channel) for channel in channels},
                hazards=hazards,
                trace=trace,
                rest_ns=rest_us * 1000,
                pump=needs_arming and any(config.fuel_pump for config in configs),
                state=BoxState.DRIVING if needs_arming else BoxState.SENSING,
                together=together,
            )
        )

    # -- looking ----------------------------------------------------------------------------------

    def _scan(self, request: wire.Scan, later: Later) -> None:
        machine, parts = self._machine, self._parts
        widths = dict.fromkeys((ch for ch in parts.table.kinds if request.mask >> (ch - 1) & 1), 0)
        if request.on_time_us:
            self._refuse_unready()
            for channel in widths:
                config = parts.table.config(channel)
                cap_us = sense_cap_us(config, parts.table.kind(channel), machine.supply.supply_v)
                width_us = min(request.on_time_us, cap_us)
                widths[channel] = width_us if width_us >= wire.CEILINGS.min_sense_us else 0
        self._refuse_busy()

        def answer(result: Message | None) -> None:
            later(result or wire.Refused(request.KIND, Refusal.STOPPED, 0))

        machine.start(ScanActivity(request.mask, request.on_time_us, widths, parts, machine.now_ns, answer))

    def _watch(self, request: wire.Watch) -> None:
        machine, parts = self._machine, self._parts
        held = bool(request.held)
        (config,) = self._ready((request.channel,), SWITCHED, needs_arming=held)
        if held:
            check_hold(config, request.duration_ms)
        hazards = parts.table.hazards((request.channel,)) if held else frozenset()
        plan = CheckedWatch(
            channel=request.channel,
            held=bool(request.held),
            duration_ns=request.duration_ms * 1_000_000,
            sample_period_ns=1_000_000_000 // request.sample_hz,
            depth=request.depth_permille / 1000,
            limit_a=parts.limit_a(request.channel),
            hazards=hazards,
            pump=bool(request.held and config.fuel_pump),
        )
        if plan.pump:
            machine.pump_starts()
        machine.start(WatchActivity(plan, parts, machine.now_ns))

    # -- refusals ---------------------------------------------------------------------------------

    def _ready(
        self, channels: tuple[int, ...], kinds: tuple[ChannelKind, ...], *, needs_arming: bool = True
    ) -> list[ChannelConfig]:
        """Return the configurations of channels that may be switched now, or refuse; limits are checked after this."""
        table = self._parts.table
        found = [table.kind(channel) for channel in channels]
        for channel, kind in zip(channels, found, strict=True):
            if kind not in kinds:
                raise RefuseError(Refusal.WRONG_KIND, channel)
        configs = [table.usable(channel) for channel in channels]
        self._refuse_unready()
        self._refuse_tripped(channels)
        if needs_arming:
            self._refuse_unarmed(table.hazards(channels))
            self._refuse_pump_and_fuel(configs)
        self._refuse_busy()
        for channel in channels if needs_arming else ():
            self._parts.rest.check(channel, self._machine.now_ns)
        return configs

    def _refuse_unready(self) -> None:
        machine = self._machine
        machine.look_at_rest()
        if machine.latch.stopped:
            raise RefuseError(Refusal.STOPPED, machine.latch.reason)
        if machine.latch.input_open:
            raise RefuseError(Refusal.STOP_INPUT_OPEN)
        if not machine.heartbeat.alive:
            raise RefuseError(Refusal.NO_HEARTBEAT)
        if not machine.measure_supply():
            raise RefuseError(Refusal.SUPPLY_OUT_OF_RANGE, machine.supply.supply_mv)

    def _refuse_busy(self) -> None:
        if self._machine.activity is not None:
            raise RefuseError(Refusal.BUSY, self._machine.activity.channel)

    def _refuse_tripped(self, channels: tuple[int, ...]) -> None:
        for channel in channels:
            if channel in self._parts.tripped:
                raise RefuseError(Refusal.TRIPPED, channel)

    def _refuse_pump_and_fuel(self, configs: list[ChannelConfig]) -> None:
        """Refuse a drive that needs `fuel` and runs the pump, since the pump takes that arming away."""
        if wire.Hazard.FUEL in self._parts.table.hazards(tuple(config.channel for config in configs)):
            for config in configs:
                if config.fuel_pump:
                    raise RefuseError(Refusal.PUMP_CHANNEL, config.channel)

    def _refuse_unarmed(self, hazards: frozenset[wire.Hazard]) -> None:
        missing = self._machine.arming.missing(hazards, self._machine.now_ns)
        if missing is not None:
            raise RefuseError(Refusal.NOT_ARMED, missing)


def _rest_us(request: wire.DriveTrain | wire.DrivePeakHold, config: ChannelConfig) -> int:
    """Return how long a train lasts after its last switch-on edge, so that the next train keeps the duty."""
    return -(-request.on_time_us * 1000 // config.max_duty_permille)
