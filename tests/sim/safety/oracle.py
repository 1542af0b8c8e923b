"""The oracle of the safety machine: its own books, from what was sent and what the hands did.

Of the box it reads only which requests it acknowledged and which channels it said it tripped, and of the loom only
when each driver was switched. It knows the rules of the protocol's declaration and nothing of the controller's state.
"""

from dataclasses import dataclass, field
from typing import Any

from loomproof_wire import messages as wire
from loomproof_wire.frames import Frame, decode
from loomproof_wire.messages import ChannelKind, Hazard, LoadClass

MS, US = 1_000_000, 1_000
NEVER = 1 << 62
HEARTBEAT_NS = 400 * MS
WATCHDOG_NS = 120 * MS
SAMPLE_NS = 28 * US
KINDS = {
    13: ChannelKind.HIGH_SIDE,
    14: ChannelKind.LOGIC,
    15: ChannelKind.HALF_BRIDGE,
    16: ChannelKind.HALF_BRIDGE,
}
CHANNELS = (1, 2, 3, 4, 13, 14, 15, 16)


class DangerError(AssertionError):
    """A channel was energised when it must not be."""


class Windows:
    """When something held: half-open stretches of time."""

    def __init__(self) -> None:
        self.spans: list[list[int]] = []

    def open(self, start: int, end: int = NEVER) -> None:
        # what ended at this very instant does not run on: a stop is a stop even if it is cleared at once
        if self.spans and self.spans[-1][1] > start:
            self.spans[-1][1] = end
        else:
            self.spans.append([start, end])

    def close(self, at: int) -> None:
        if self.spans:
            self.spans[-1][1] = min(self.spans[-1][1], at)

    def cover(self, start: int, end: int) -> bool:
        return any(low <= start and end <= high for low, high in self.spans)

    def holds(self, at: int) -> bool:
        return any(low <= at < high for low, high in self.spans)


def dangers(config: wire.Configure) -> set[Hazard]:
    """What must be armed: written down here once more, from the list of load classes."""
    if config.load_class is LoadClass.MOTOR:
        own = {Hazard.CRANK} if config.hazard is Hazard.CRANK else {Hazard.MOTION}
    else:
        own = {
            LoadClass.INJECTOR: {Hazard.FUEL},
            LoadClass.COIL: {Hazard.SPARK},
            LoadClass.IGNITER_COIL: {Hazard.SPARK},
        }.get(config.load_class, set())
    return (own | {config.hazard}) - {Hazard.NONE}


@dataclass
class Permit:
    """What an acknowledged request allows: when each channel may be on."""

    request: Any
    start: int
    configs: dict[int, wire.Configure]
    supply_v: float
    sensing: bool = False
    end: int = NEVER

    def allows(self, channel: int, on: int, off: int) -> bool:
        request, t = self.request, self.start
        if off > self.end:
            return False
        match request:
            case wire.DriveTrain() | wire.DrivePeakHold():
                pulse = (on - t) // (request.period_us * US)
                begin = t + pulse * request.period_us * US
                return (
                    channel == request.channel
                    and 0 <= pulse < request.count
                    and off <= begin + request.on_time_us * US
                )
            case wire.Watch() if not request.held:
                return False
            case wire.DriveHold() | wire.Watch():
                return channel == request.channel and t <= on and off <= t + request.duration_ms * MS
            case wire.DriveStepper():
                step = (on - t) // (request.step_us * US)
                order = request.channels if request.steps > 0 else request.channels[::-1]
                return (
                    0 <= step < abs(request.steps)
                    and channel == order[step % 4]
                    and off <= t + (step + 1) * request.step_us * US
                )
            case wire.DriveBridge():
                pair = (request.channel_supply, request.channel_ground)
                return channel in pair and t <= on and off <= t + request.duration_ms * MS
            case wire.Sense():
                return channel == request.channel and t <= on and off <= t + request.on_time_us * US
            case wire.Scan():
                return bool(request.mask >> (channel - 1) & 1) and t <= on and off <= t + 20 * MS
        return False

    def over_ceiling(self) -> str | None:
        """Whether the request as a whole is over what its channels are configured for."""
        request = self.request
        for config in self.configs.values():
            match request:
                case wire.DriveTrain() | wire.DrivePeakHold():
                    if request.on_time_us > min(config.max_on_time_us, 100_000):
                        return "on-time"
                    if request.on_time_us * 1000 > min(config.max_duty_permille, 900) * request.period_us:
                        return "duty"
                    if request.count > min(config.max_count, 2000):
                        return "count"
                case wire.DriveHold() | wire.DriveBridge():
                    if request.duration_ms > min(config.max_hold_ms, 10_000):
                        return "hold"
                case wire.DriveStepper():
                    if request.step_us > config.max_on_time_us or abs(request.steps) > config.max_count:
                        return "step"
                case wire.Watch():
                    if request.held and request.duration_ms > config.max_hold_ms:
                        return "watch"
        return None


@dataclass
class Oracle:
    """The books, and the verdict on every stretch that a driver conducted."""

    now: int = 0
    session: int | None = None
    last_sequence: int = 0
    beat: int | None = None
    stopped: bool = False
    input_open: bool = False
    supply_v: float = 13.5
    hung_at: int | None = None
    ready: Windows = field(default_factory=Windows)
    armed: dict[Hazard, Windows] = field(default_factory=lambda: {h: Windows() for h in Hazard})
    configs: dict[int, wire.Configure] = field(default_factory=dict)
    tripped: set[int] = field(default_factory=set)
    shorted: dict[int, int] = field(default_factory=dict)
    permit: Permit | None = None
    sensed: dict[int, int] = field(default_factory=dict)
    hangs: list[tuple[int, int]] = field(default_factory=list)
    on: dict[int, int] = field(default_factory=dict)
    stretches: int = 0
    dangerous: int = 0

    # what happens

    def pass_time(self, to: int) -> None:
        if self.hung_at is not None and self.hung_at + WATCHDOG_NS <= to:
            self._reset(self.hung_at + WATCHDOG_NS)
        if self.hung_at is None and self.beat is not None and self.beat + HEARTBEAT_NS <= to:
            at, self.beat = self.beat + HEARTBEAT_NS, None
            self._stop(at)
        self.now = to

    def _reset(self, at: int) -> None:
        self.hung_at, self.beat, self.session = None, None, None
        self.configs, self.tripped = {}, set()
        self._stop(at)

    def _stop(self, at: int) -> None:
        self.stopped = True
        self.ready.close(at)
        self._void(at)

    def _void(self, at: int) -> None:
        for windows in self.armed.values():
            windows.close(at)

    def supply_good(self) -> bool:
        return 6.0 <= self.supply_v <= 18.0

    def _get_ready(self) -> None:
        if self.beat is not None and not self.stopped and not self.input_open and self.supply_good():
            self.ready.open(self.now)

    def hand_stop(self, *, open_: bool) -> None:
        self.input_open = open_
        if open_:
            self._stop(self.now)
            if self.hung_at is not None:
                self.hangs[-1] = (self.hangs[-1][0], self.now)

    def hand_supply(self, supply_v: float) -> None:
        was_good, self.supply_v = self.supply_good(), supply_v
        if was_good and not self.supply_good() and self.hung_at is None:
            self._stop(self.now)

    def hang(self) -> None:
        if self.hung_at is None:
            self.hung_at = self.now
            self.hangs.append((self.now, self.now + WATCHDOG_NS))

    def delivered(self, frame: Frame, replies: list[tuple[int, Any]]) -> None:
        """A frame arrived whole; `replies` is what the box said at once."""
        if self.hung_at is not None:
            return
        try:
            message = decode(frame)
        except wire.WireError:
            message = None
        if frame.kind == wire.Stop.KIND:
            self._stop(self.now)
            if self.session is not None and 1 < (frame.sequence - self.last_sequence) % 65_536 <= 255:
                self.last_sequence = (frame.sequence - 1) % 65_536
        elif isinstance(message, wire.Heartbeat):
            if message.session == self.session:
                self.beat = self.now
                self._get_ready()
        elif isinstance(message, wire.Hello) and message.protocol_major != 1:
            pass  # refused, and nothing else
        elif isinstance(message, wire.Hello) and message.session != self.session:
            self.session, self.last_sequence, self.beat = message.session, frame.sequence, None
            self.ready.close(self.now)
            self._void(self.now)
            self._end_permit()
        elif self.session is not None and frame.kind < 0x40 and self._is_new(frame.sequence):
            self.last_sequence = frame.sequence
            mine = [m for seq, m in replies if seq == frame.sequence and m.DIRECTION is wire.Direction.REPLY]
            done = not any(isinstance(m, wire.Refused) for m in mine)
            if message is not None and done:
                self._carried_out(message)

    def _end_permit(self) -> None:
        if self.permit is not None:
            self.permit.end = min(self.permit.end, self.now)

    def _is_new(self, sequence: int) -> bool:
        return 1 <= (sequence - self.last_sequence) % 65_536 <= 32_767

    def _carried_out(self, message: Any) -> None:
        match message:
            case wire.Arm():
                self._arm(message)
            case wire.Disarm():
                classes = list(Hazard) if message.hazard is Hazard.NONE else [message.hazard]
                for hazard in classes:
                    self.armed[hazard].close(self.now)
            case wire.Configure():
                self.configs[message.channel] = message
                self.tripped.discard(message.channel)
                self._void(self.now)
            case wire.Cancel():
                self._end_permit()
            case wire.ClearStop():
                if self.input_open or not self.supply_good():
                    raise DangerError("a stop was cleared with its cause still there")
                self.stopped = False
                self._get_ready()
            case wire.Sense() | wire.Scan():
                self.permit = Permit(message, self.now, dict(self.configs), self.supply_v, sensing=True)
                channels = (
                    [ch for ch in range(1, 17) if message.mask >> (ch - 1) & 1]
                    if isinstance(message, wire.Scan)
                    else [message.channel]
                )
                self.sensed = dict.fromkeys(channels, 1)
            case wire.DriveTrain() | wire.DriveHold() | wire.DrivePeakHold() | wire.Watch():
                self._drive(message, (message.channel,))
            case wire.DriveStepper():
                self._drive(message, message.channels)
            case wire.DriveBridge():
                self._drive(message, (message.channel_supply, message.channel_ground))

    def _arm(self, message: wire.Arm) -> None:
        if self.stopped or self.beat is None or not self.supply_good():
            raise DangerError(f"{message.hazard.name} was armed while the box had to refuse it")
        pumps = [channel for channel in self.on if self.configs[channel].fuel_pump]
        if message.hazard is Hazard.FUEL and pumps and not (self.permit and self.permit.sensing):
            raise DangerError("fuel was armed while a fuel pump channel was driven")
        self.armed[message.hazard].open(self.now, self.now + message.duration_ms * MS)

    def _drive(self, message: Any, channels: tuple[int, ...]) -> None:
        missing = [channel for channel in channels if channel not in self.configs]
        if missing:
            raise DangerError(f"a channel never configured is driven: {missing}")
        configs = {channel: self.configs[channel] for channel in channels}
        self.permit = Permit(message, self.now, configs, self.supply_v)
        over = self.permit.over_ceiling()
        if over:
            raise DangerError(f"{over} over its ceiling: {message}")
        if any(config.fuel_pump for config in configs.values()) and getattr(message, "held", 1):
            self.armed[Hazard.FUEL].close(self.now)

    # the verdict

    def judge(self, channel: int, on: int, off: int) -> None:
        """A driver conducted from `on` to `off` (or is still on, `off` = now)."""
        off = self._without_hang(channel, on, off)
        if not self.ready.cover(on, off):
            raise DangerError(
                f"channel {channel} on {on}..{off} while stopped or without heartbeat: {self.ready.spans}"
            )
        if self.permit is None or not self.permit.allows(channel, on, off):
            raise DangerError(f"channel {channel} on {on}..{off}, which no request allows: {self.permit}")
        config = self.permit.configs.get(channel)
        if config is None or config.load_class is LoadClass.NONE:
            raise DangerError(f"channel {channel} has no configured load")
        if channel in self.tripped:
            raise DangerError(f"channel {channel} tripped and was driven again")
        if self.permit.sensing:
            self._judge_sense(channel, config, on, off)
        else:
            for hazard in dangers(config):
                if not self.armed[hazard].cover(on, off):
                    raise DangerError(f"channel {channel} on {on}..{off} without {hazard.name} armed")
        if channel in self.shorted and off > max(on, self.shorted[channel]) + SAMPLE_NS:
            raise DangerError(f"channel {channel} stayed on over its current limit: {on}..{off}")

    def _judge_sense(self, channel: int, config: wire.Configure, on: int, off: int) -> None:
        assert self.permit is not None
        cap_us = min(config.max_sense_us, self.permit.request.on_time_us)
        if self.permit.supply_v > 15:
            cap_us = min(cap_us, 80)
        if config.load_class in (LoadClass.COIL, LoadClass.IGNITER_COIL):
            # 0.1 mJ in 1 mH: V*t = sqrt(2*E*L) = 0.44721e-3 Vs
            cap_us = min(cap_us, 447.21 / self.permit.supply_v)
        if off - on > cap_us * US:
            raise DangerError(f"the sense pulse on channel {channel} is too long: {off - on} ns")

    def _without_hang(self, channel: int, on: int, off: int) -> int:
        """While the program hangs its outputs stay, until the watchdog: only the length of that is judged."""
        for start, end in self.hangs:
            if on <= start < off:
                if off > end:
                    raise DangerError(f"channel {channel} still on {off - end} ns after the watchdog")
                return start
        return off

    def begun(self, channel: int) -> None:
        """A driver was switched on: for the tally."""
        self.stretches += 1
        config = self.permit.configs.get(channel) if self.permit else None
        self.dangerous += bool(config and not self.permit.sensing and dangers(config))  # type: ignore[union-attr]

    def first_sense(self, channel: int) -> None:
        """Each channel gets one pulse per sense or scan."""
        if self.permit is not None and self.permit.sensing:
            self.sensed[channel] = self.sensed.get(channel, 0) - 1
            if self.sensed[channel] < 0:
                raise DangerError(f"a second sense pulse on channel {channel} for one request")
