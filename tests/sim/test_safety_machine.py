"""Random orders of commands, frames, silences and hands never energise a dangerous channel unarmed.

The oracle keeps its own books, from what was sent and what the hands did; of the box it reads only which
requests it acknowledged and which channels it said it tripped, and of the loom only when each driver was
switched. It knows the rules of the protocol's declaration and nothing of the controller's state.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

import loomproof_sim.controller.limits as limits_module
import loomproof_sim.controller.requests as requests_module
from loomproof_sim.controller import Controller
from loomproof_sim.controller.activity import Bench
from loomproof_sim.controller.arming import Arming
from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.requests import Requests
from loomproof_sim.controller.sampling import Sampler
from loomproof_sim.controller.scheduler import DriveRun
from loomproof_sim.controller.session import Intake
from loomproof_sim.controller.supervision import Heartbeat, StopLatch, SupplyWatch
from loomproof_sim.plant.spec import Drive
from loomproof_wire import messages as wire
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
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


# -- the oracle ----------------------------------------------------------------------------------


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
            # 0.3 mJ in 2 mH: V*t = sqrt(2*E*L) = 1.0955e-3 Vs
            cap_us = min(cap_us, 1095.5 / self.permit.supply_v)
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


# -- the machine ---------------------------------------------------------------------------------

channels = st.sampled_from(CHANNELS)
load_classes = st.sampled_from(list(LoadClass))
hazards = st.sampled_from(list(Hazard))
few_ms = st.sampled_from([0.01, 0.5, 1, 5, 30, 99, 100, 250, 399, 400, 401, 1500])
WIDE = {
    "max_on_time_us": 100_000,
    "max_hold_ms": 10_000,
    "max_duty_permille": 900,
    "max_count": 2000,
}
limit_sets = st.fixed_dictionaries(
    {
        "max_on_time_us": st.sampled_from([100, 5000, 100_000]),
        "max_hold_ms": st.sampled_from([0, 50, 1000, 10_000]),
        "max_duty_permille": st.sampled_from([10, 500, 900]),
        "max_count": st.sampled_from([1, 5, 2000]),
        "max_current_ma": st.sampled_from([200, 200, 20_000]),
        "max_sense_us": st.sampled_from([0, 60, 200]),
    }
)
on_times = st.sampled_from([50, 100, 5000, 30_000, 100_000])
periods = st.sampled_from([200, 10_000, 60_000, 200_000, 1_000_000])
counts = st.sampled_from([1, 3, 10, 2000])
every = st.sampled_from([0, 1, 3])
decimations = st.sampled_from([1, 20])
samples = st.sampled_from([0, 30, 600])
holds = st.sampled_from([1, 50, 800, 10_000])
drives = st.one_of(
    st.builds(wire.DriveTrain, channels, counts, periods, on_times, every, decimations, samples),
    st.builds(wire.DriveHold, channels, holds, decimations, samples),
    st.builds(
        wire.DrivePeakHold,
        channel=channels,
        count=counts,
        period_us=periods,
        on_time_us=on_times,
        peak_us=st.sampled_from([50, 1000]),
        chop_period_us=st.sampled_from([200, 1000]),
        chop_duty_permille=st.sampled_from([50, 500, 950]),
        trace_every=every,
        trace_decimation=decimations,
        trace_samples=samples,
    ),
    st.builds(
        wire.DriveStepper,
        st.sampled_from([(1, 2, 3, 4), (4, 3, 2, 1), (1, 1, 2, 3), (1, 2, 3, 14)]),
        st.sampled_from([-40, -3, 0, 5, 200]),
        st.sampled_from([1000, 20_000, 1_000_000]),
    ),
    st.builds(
        wire.DriveBridge,
        st.sampled_from([15, 15, 16, 1]),
        st.sampled_from([16, 16, 15, 2]),
        holds,
        st.sampled_from([500, 1000]),
        st.sampled_from([1, 300, 900]),
        decimations,
        samples,
    ),
    st.builds(
        wire.Watch,
        channels,
        st.sampled_from([0, 1]),
        st.sampled_from([50, 800, 100_000]),
        st.sampled_from([1000, 10_000]),
        st.just(300),
    ),
)
single = st.sampled_from([1, 2, 3, 4, 13, 14])
sound_trains = st.sampled_from(
    [(100, 200), (5000, 10_000), (30_000, 60_000), (100_000, 200_000), (50, 1_000_000)]
)
sound_drives = st.one_of(
    st.builds(
        lambda channel, count, pulse, n, k, m: wire.DriveTrain(channel, count, pulse[1], pulse[0], n, k, m),
        single,
        counts,
        sound_trains,
        every,
        decimations,
        samples,
    ),
    st.builds(wire.DriveHold, single, holds, decimations, samples),
    st.builds(wire.DriveStepper, st.just((1, 2, 3, 4)), st.sampled_from([-40, 5, 200]), st.just(20_000)),
    st.builds(
        wire.DriveBridge, st.just(15), st.just(16), holds, st.just(1000), st.just(300), decimations, samples
    ),
    st.builds(
        wire.Watch, single, st.just(1), st.sampled_from([50, 800, 100_000]), st.just(1000), st.just(300)
    ),
)
looks = st.one_of(
    st.builds(wire.Sense, channels, st.sampled_from([10, 60, 80, 120, 200]), st.sampled_from([1, 30])),
    st.builds(wire.Scan, st.sampled_from([0xFFFF, 0x000F, 0xE000, 0x0001]), st.sampled_from([0, 60, 200])),
)


class SafetyMachine(RuleBasedStateMachine):
    """One box under random treatment."""

    make: Callable[[], Any]

    @initialize()
    def power_up(self) -> None:
        console = type(self).make()
        self.plant, self.box = console.plant, console.box
        self.plant.strict = False
        self.configuration = console.configuration
        self.oracle = Oracle()
        self.reader = FrameReader()
        self.wire = FrameReader()
        self.sequence = 0
        self.sent: list[bytes] = []
        self.judged = 0
        self.on: dict[int, int] = {}
        self.oracle.on = self.on

    # sending

    def deliver(self, raw: bytes) -> None:
        """Bytes reach the box piece by piece; the oracle is told of every frame that arrived whole."""
        for piece in raw.split(b"\0"):
            self.judge()
            data = piece + b"\0"
            self.box.receive(data)
            replies = self._listen()
            if self.oracle.hung_at is None:
                for item in self.wire.feed(data):
                    if isinstance(item, Frame):
                        self.oracle.delivered(item, replies)
            self._heed_trips(replies)
            self.judge()

    def _listen(self) -> list[tuple[int, Any]]:
        frames = self.reader.feed(self.box.take_output())
        assert all(isinstance(frame, Frame) for frame in frames)
        return [(frame.sequence, decode(frame)) for frame in frames]

    def _heed_trips(self, heard: list[tuple[int, Any]]) -> None:
        self.oracle.tripped |= {message.channel for _, message in heard if isinstance(message, wire.Trip)}

    def send(self, message: Any) -> None:
        self.sequence = (self.sequence + 1) & 0xFFFF
        raw = encode_frame(self.sequence, message)
        self.sent.append(raw)
        self.deliver(raw)

    def advance(self, ms: float) -> None:
        to = self.box.now_ns + round(ms * MS)
        self.box.advance_to(to)
        self.box.catch_up()
        was_hung = self.oracle.hung_at is not None
        self.oracle.pass_time(to)
        if was_hung and self.oracle.hung_at is None:
            self.wire.reset()
        self.judge()
        self._heed_trips(self._listen())

    def heartbeat(self) -> None:
        if self.oracle.session is not None:
            self.deliver(encode_frame(0, wire.Heartbeat(self.oracle.session)))

    # looking

    @invariant()
    def judge(self) -> None:
        """Hand every new stretch of conduction to the oracle."""
        if not hasattr(self, "oracle"):
            return
        self.box.catch_up()
        log = self.plant.log
        for time_ns, channel, drive in log[self.judged :]:
            if drive is Drive.OFF:
                start = self.on.pop(channel, None)
                if start is not None:
                    self.oracle.judge(channel, start, time_ns)
            elif channel not in self.on:
                self.on[channel] = time_ns
                self.oracle.begun(channel)
                self.oracle.first_sense(channel)
            self._one_at_a_time()
        self.judged = len(log)
        for channel, start in self.on.items():
            self.oracle.judge(channel, start, max(start, self.box.now_ns))

    def _one_at_a_time(self) -> None:
        if len(self.on) > 1 and set(self.on) != {15, 16}:
            raise DangerError(f"several channels at once: {sorted(self.on)}")
        if len(self.on) == 2 and not isinstance(
            getattr(self.oracle.permit, "request", None), wire.DriveBridge
        ):
            raise DangerError("two half-bridges at once without a bridge drive")

    def teardown(self) -> None:
        """However it ends: silence is enough to have everything off."""
        if hasattr(self, "oracle"):
            self.advance(1000)
            self.judge()
            if self.on:
                raise DangerError(f"after a second of silence still on: {self.on}")

    # rules: talking

    @rule(session=st.integers(1, 3), major=st.sampled_from([1, 1, 1, 2]))
    def hello(self, session: int, major: int) -> None:
        self.send(wire.Hello(major, 0, session, 0))

    @rule()
    def beat_now(self) -> None:
        self.heartbeat()

    @rule(session=st.integers(1, 3))
    def beat_of_some_session(self, session: int) -> None:
        self.deliver(encode_frame(9, wire.Heartbeat(session)))

    @rule(
        channel=channels,
        load=load_classes,
        hazard=hazards,
        limits=limit_sets,
        pump=st.sampled_from([0, 0, 1]),
    )
    def configure(
        self, channel: int, load: LoadClass, hazard: Hazard, limits: dict[str, int], pump: int
    ) -> None:
        self.send(self.configuration(channel, load, hazard, fuel_pump=pump, **limits))

    @rule(hazard=st.sampled_from(list(Hazard)[1:]), ms=st.sampled_from([100, 300, 5000, 60_000]))
    def arm(self, hazard: Hazard, ms: int) -> None:
        self.send(wire.Arm(hazard, ms))

    @rule(hazard=hazards)
    def disarm(self, hazard: Hazard) -> None:
        self.send(wire.Disarm(hazard))

    @rule(
        message=st.sampled_from(
            [wire.Stop(), wire.ClearStop(), wire.ClearStop(), wire.Cancel(), wire.GetStatus()]
        )
    )
    def command(self, message: Any) -> None:
        self.send(message)

    @rule(request=drives)
    def drive(self, request: Any) -> None:
        self.send(request)

    @rule(request=looks)
    def look(self, request: Any) -> None:
        self.send(request)

    # rules: a well-behaved console for a while, so that dangerous states are reached at all

    @rule(
        load=st.sampled_from(list(LoadClass)[1:]),
        hazard=hazards,
        request=st.one_of(sound_drives, sound_drives, drives),
        limits=st.one_of(st.just(WIDE), st.just(WIDE), limit_sets),
        arm_ms=st.sampled_from([100, 350, 9000]),
    )
    def do_it_right(
        self, load: LoadClass, hazard: Hazard, request: Any, limits: dict[str, int], arm_ms: int
    ) -> None:
        self.get_going()
        used = _channels_of(request)
        for channel in used:
            self.send(self.configuration(channel, load, hazard, **limits))
        for needed in sorted(dangers(self.configuration(used[0], load, hazard))):
            self.send(wire.Arm(needed, arm_ms))
        self.send(request)

    @precondition(lambda self: self.oracle.hung_at is None)
    @rule(
        load=st.sampled_from([LoadClass.INJECTOR, LoadClass.COIL, LoadClass.MOTOR]),
        request=sound_drives,
        arm_ms=st.sampled_from([100, 350, 9000]),
    )
    def drive_something_dangerous(self, load: LoadClass, request: Any, arm_ms: int) -> None:
        self.do_it_right(load, Hazard.NONE, request, WIDE, arm_ms)

    @precondition(lambda self: self.oracle.hung_at is None)
    @rule(arm_before=st.booleans(), arm_beside=st.booleans())
    def run_the_pump_then_an_injector(self, arm_before: bool, arm_beside: bool) -> None:
        self.get_going()
        self.send(self.configuration(1, LoadClass.INJECTOR))
        self.send(self.configuration(2, LoadClass.RELAY, fuel_pump=1))
        if arm_before:
            self.send(wire.Arm(Hazard.FUEL, 9000))
        self.send(wire.DriveHold(2, 50, 1, 0))
        if arm_beside:
            self.send(wire.Arm(Hazard.FUEL, 9000))
        self.advance(60)
        self.send(wire.DriveTrain(1, 3, 10_000, 2000, 0, 1, 0))

    @precondition(lambda self: self.oracle.hung_at is None)
    @rule(load=st.sampled_from([LoadClass.INJECTOR, LoadClass.COIL, LoadClass.MOTOR]), channel=single)
    def configure_another_after_arming(self, load: LoadClass, channel: int) -> None:
        self.get_going()
        self.send(self.configuration(1, load))
        for needed in dangers(self.configuration(1, load)):
            self.send(wire.Arm(needed, 9000))
        self.send(self.configuration(channel, load))
        self.send(wire.DriveTrain(1, 3, 10_000, 2000, 0, 1, 0))

    @precondition(lambda self: self.on)
    @rule(how=st.sampled_from(["press", "supply", "stop", "hello", "disarm", "silence", "hang", "configure"]))
    def interrupt_what_is_driven(self, how: str) -> None:
        channel = next(iter(self.on))
        match how:
            case "press":
                self.press(True)
            case "supply":
                self.supply(0.0)
            case "stop":
                self.send(wire.Stop())
            case "hello":
                self.send(wire.Hello(1, 0, (self.oracle.session or 0) % 3 + 1, 0))
            case "disarm":
                self.send(wire.Disarm(Hazard.NONE))
            case "silence":
                self.advance(401)
            case "hang":
                self.hang()
            case "configure":
                self.send(self.configuration(channel, LoadClass.COIL))
        self.advance(1)

    @precondition(lambda self: self.oracle.hung_at is None)
    @rule(channel=single)
    def drive_a_short_twice(self, channel: int) -> None:
        self.get_going()
        self.send(self.configuration(channel, LoadClass.LAMP))
        self.short(channel)
        for _ in range(2):
            self.send(wire.DriveHold(channel, 50, 1, 0))
            self.advance(5)
        self.mend(channel)

    @precondition(lambda self: self.oracle.hung_at is None and self.oracle.configs)
    @rule(request=sound_drives)
    def drive_it_unasked(self, request: Any) -> None:
        self.get_going()
        self.send(request)

    @rule()
    def get_going(self) -> None:
        if self.oracle.hung_at is not None:
            self.advance(WATCHDOG_NS / MS)
        if self.oracle.input_open:
            self.press(False)
        if not self.oracle.supply_good():
            self.supply(13.5)
        if self.oracle.session is None:
            self.send(wire.Hello(1, 0, 1, 0))
        self.heartbeat()
        self.send(wire.Cancel())
        if self.oracle.stopped:
            self.send(wire.ClearStop())

    @precondition(lambda self: self.oracle.permit is not None)
    @rule(request=drives)
    def drive_at_the_same_time(self, request: Any) -> None:
        self.heartbeat()
        self.send(request)

    # rules: a bad line

    @rule(raw=st.binary(max_size=40))
    def garbage(self, raw: bytes) -> None:
        self.deliver(raw)

    @precondition(lambda self: self.sent)
    @rule(age=st.integers(0, 30))
    def an_old_frame_again(self, age: int) -> None:
        self.deliver(self.sent[-1 - age % len(self.sent)])

    @precondition(lambda self: self.sent)
    @rule()
    def the_last_frame_again(self) -> None:
        self.deliver(self.sent[-1])

    @precondition(lambda self: self.sent)
    @rule(bits=st.lists(st.integers(0, 10_000), min_size=1, max_size=3))
    def a_corrupt_frame(self, bits: list[int]) -> None:
        raw = bytearray(self.sent[-1])
        for bit in bits:
            raw[bit // 8 % len(raw)] ^= 1 << bit % 8
        self.deliver(bytes(raw))

    @rule(request=drives, jump=st.sampled_from([2, 200, 32_766, 32_767, 32_768, 40_000, 65_535]))
    def a_jump_of_sequence(self, request: Any, jump: int) -> None:
        raw = encode_frame((self.oracle.last_sequence + jump) & 0xFFFF, request)
        self.deliver(raw)
        self.sequence = self.oracle.last_sequence

    @rule(first=drives, second=drives)
    def two_frames_in_the_wrong_order(self, first: Any, second: Any) -> None:
        self.sequence = (self.sequence + 2) & 0xFFFF
        self.deliver(encode_frame(self.sequence, second))
        self.deliver(encode_frame((self.sequence - 1) & 0xFFFF, first))

    # rules: time

    @rule(ms=few_ms)
    def silence(self, ms: float) -> None:
        self.advance(ms)

    @rule(tenths=st.integers(1, 8))
    def time_with_heartbeats(self, tenths: int) -> None:
        for _ in range(tenths):
            self.heartbeat()
            self.advance(100)
        self.heartbeat()

    # rules: hands

    @rule(open_=st.booleans())
    def press(self, open_: bool) -> None:
        self.box.catch_up()
        self.box.set_stop_input(open_)
        self.oracle.hand_stop(open_=open_)
        self.judge()

    @rule(supply_v=st.sampled_from([13.5, 13.5, 0.0, 4.0, 15.9, 25.0]))
    def supply(self, supply_v: float) -> None:
        self.box.catch_up()
        self.plant.supply_v = supply_v
        self.box.supply_changed()
        self.oracle.hand_supply(supply_v)
        self.judge()

    @rule(channel=channels)
    def short(self, channel: int) -> None:
        self.box.catch_up()
        self.judge()
        self.plant.ohm[channel], self.plant.henry[channel] = 0.05, 1e-9
        if self.oracle.supply_v > 5:
            self.oracle.shorted.setdefault(channel, self.box.now_ns)

    @rule(channel=channels)
    def mend(self, channel: int) -> None:
        self.box.catch_up()
        self.judge()
        self.plant.ohm[channel], self.plant.henry[channel] = 14.0, 14e-3
        self.oracle.shorted.pop(channel, None)

    @rule()
    def hang(self) -> None:
        self.box.hang()
        self.oracle.hang()


def _channels_of(request: Any) -> tuple[int, ...]:
    match request:
        case wire.DriveStepper():
            return request.channels
        case wire.DriveBridge():
            return (request.channel_supply, request.channel_ground)
    return (request.channel,)


@dataclass
class Tally:
    """What a run really did."""

    steps: int = 0
    stretches: int = 0
    dangerous: int = 0


def run_machine(make: Callable[[], Any], *, examples: int, shrink: bool = True, steps: int = 50) -> Tally:
    """Run the machine and return what it really did."""
    tally = Tally()

    class Counted(SafetyMachine):
        def check_invariants(self, *args: Any, **kwargs: Any) -> None:
            tally.steps += 1
            super().check_invariants(*args, **kwargs)

        def teardown(self) -> None:
            super().teardown()
            if hasattr(self, "oracle"):
                tally.stretches += self.oracle.stretches
                tally.dangerous += self.oracle.dangerous

    Counted.make = staticmethod(make)
    phases = (Phase.generate, Phase.shrink) if shrink else (Phase.generate,)
    run_state_machine_as_test(
        Counted,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            database=None,
            phases=phases,
            report_multiple_bugs=False,
            suppress_health_check=list(HealthCheck),
        ),
    )
    return tally


LEAST_STEPS = 10_000
LEAST_DANGEROUS = 300


def test_no_order_of_events_energises_a_dangerous_channel(new_console: Any) -> None:
    tally = run_machine(new_console, examples=300)
    print(tally)
    assert tally.steps >= LEAST_STEPS
    assert tally.dangerous >= LEAST_DANGEROUS, (
        "hardly anything dangerous was ever driven: the run proves nothing"
    )


# -- is the oracle awake? The controller is broken on purpose, one guard at a time ---------------


def _nothing(*_: Any, **__: Any) -> None:
    return None


def _no(*_: Any, **__: Any) -> bool:
    return False


def _armed_for_ever(arming: Arming, hazard: Hazard, now_ns: int) -> bool:
    return hazard in arming._until_ns


def _executed_again(intake: Intake, sequence: int) -> bool:
    return True


def _latched_without_switching_off(box: Controller, reason: wire.StopReason) -> None:
    box.latch.latch(reason)


def _stale_is_new(intake: Intake, sequence: int) -> bool:
    return sequence != intake._last_sequence


def _never_reset(box: Controller) -> None:
    box.catch_up()
    box._hung_until_ns = box.now_ns + 400 * MS


def _trip_forgotten(box: Any, channel: int, current_a: float, time_ns: int) -> None:
    box.outputs.all_off(time_ns)
    box.outbox.event(wire.Trip(channel, 0))


def _session_without_care(box: Controller) -> None:
    box.heartbeat.forget()
    box.latch.greeted()
    box.telemetry.begin(box.now_ns)
    box.outbox.muted = False


def _only_said_to_be_open(box: Controller, open_: bool) -> None:
    box.latch.input_open = open_


def _always_good(supply: SupplyWatch, supply_v: float) -> bool:
    supply.supply_v, supply.good = supply_v, True
    return False


def _longest_sense(*_: Any) -> int:
    return 200


def _runs_on(run: DriveRun, reason: wire.EndReason, now_ns: int) -> None:
    run.catch_up(now_ns)


MUTANTS: dict[str, list[tuple[Any, str, Any]]] = {
    "arming is not asked for": [(Requests, "_refuse_unarmed", _nothing)],
    "arming does not expire": [
        (Arming, "expire", _nothing),
        (Arming, "next_ns", lambda _: NEVER),
        (Arming, "armed", _armed_for_ever),
    ],
    "a lost arming does not end the drive": [(Controller, "_disarmed", _nothing)],
    "disarm does nothing": [(Requests, "_disarm", _nothing)],
    "a load class carries no hazard": [
        (limits_module, "BOUND_HAZARD", dict.fromkeys(LoadClass, Hazard.NONE))
    ],
    "no heartbeat is needed": [(Heartbeat, "lost", _no), (Heartbeat, "next_ns", lambda _: NEVER)],
    "a stop does not latch": [(StopLatch, "latch", _no)],
    "a stop leaves the outputs": [(Controller, "stop", _latched_without_switching_off)],
    "the stop input is only reported": [(Controller, "set_stop_input", _only_said_to_be_open)],
    "the supply is never missed": [(SupplyWatch, "measured", _always_good)],
    "a new session changes nothing": [(Controller, "new_session", _session_without_care)],
    "configuring drops no arming": [(Controller, "disarm_all", _nothing)],
    "the pump leaves fuel armed": [(Controller, "pump_starts", _nothing)],
    "fuel is armed beside the pump": [(Controller, "pump_running", False)],
    "a repeated request is carried out again": [(Intake, "_is_new", _executed_again)],
    "a stale request is carried out": [(Intake, "_is_new", _stale_is_new)],
    "pulses are not held to the ceilings": [(requests_module, "check_pulses", _nothing)],
    "holds are not held to the ceilings": [(requests_module, "check_hold", _nothing)],
    "steps are not held to the ceilings": [(requests_module, "check_step", _nothing)],
    "sense pulses are not capped": [(requests_module, "sense_cap_us", _longest_sense)],
    "two drives at a time": [(Requests, "_refuse_busy", _nothing)],
    "over-current is not seen": [(Sampler, "advance", _nothing)],
    "a trip does not latch": [(Bench, "trip", _trip_forgotten)],
    "an unconfigured channel is driven": [(ChannelTable, "usable", ChannelTable.config)],
    "the watchdog is slow": [(Controller, "hang", _never_reset)],
    "cancel leaves the output on": [(DriveRun, "end", _runs_on)],
}


@pytest.mark.parametrize("name", MUTANTS)
def test_a_box_without_a_guard_is_caught(
    name: str, new_console: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for owner, attribute, broken in MUTANTS[name]:
        monkeypatch.setattr(owner, attribute, broken)
    with pytest.raises(DangerError):
        run_machine(new_console, examples=2000, shrink=False)
