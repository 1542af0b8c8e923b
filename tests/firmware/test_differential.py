"""Differential test: the Python controller and the C core, on the same loom, given the same bytes, time and hands.

Both must answer alike, switch alike (to the tick) and be in the same state. Only what must differ is masked: who the
box is, counts within two of each other, and the event counters, since the Python controller tells what happened
between its samples a little later than the core does.
"""

import os
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hostbox import HostBox
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof_sim.controller.controller import Controller
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import REFERENCE
from loomproof_wire import messages as wire
from loomproof_wire.frames import BadFrame, FrameReader, decode, encode_frame
from loomproof_wire.messages import ChannelKind, Hazard, LoadClass
from testbed.class_limits import within_class

MS = 1_000_000
SCRIPTS = int(os.environ.get("LOOMPROOF_SCRIPTS", "400"))
PROFILE = replace(REFERENCE, noise_counts=0.0, offset_spread_counts=0.0, gain_u_relative=0.0)
KINDS = {12: ChannelKind.HIGH_SIDE, 13: ChannelKind.LOGIC, 14: ChannelKind.LOGIC} | dict.fromkeys(
    (15, 16), ChannelKind.HALF_BRIDGE
)
DRIVES = {Drive.OFF: 0, Drive.ON: 1, Drive.HIGH: 2, Drive.LOW: 3}
EDGE_TOLERANCE_NS = 500
"""The core's tick; a chop part that is no whole number of ticks is cut."""
SETTLE_MS = 20
"""After this the Python controller has told what its last block of samples showed."""


class PlainPlant:
    """What firmware/host/plant.c is: R and L on a stiff supply; the current vanishes at switch-off."""

    def __init__(self) -> None:
        self.ohm = dict.fromkeys(range(1, 17), 14.0)
        self.henry = dict.fromkeys(range(1, 17), 14e-3)
        self.supply_v = 13.5
        self.drives = dict.fromkeys(range(1, 17), Drive.OFF)
        self.since = dict.fromkeys(range(1, 17), 0.0)
        self.log: list[tuple[int, int, int]] = []

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        if self.drives[channel] is drive:
            return
        if self.drives[channel] is Drive.OFF:
            self.since[channel] = time_s
        self.drives[channel] = drive
        self.log.append((round(time_s * 1e9), channel, DRIVES[drive]))

    def sample_many(self, channel: int, times_s: Any) -> Any:
        times = np.asarray(times_s, dtype=float)
        ohm, on = self.ohm[channel], self.drives[channel] is not Drive.OFF
        current = np.zeros(len(times))
        if on and ohm > 0:
            current = (
                self.supply_v / ohm * -np.expm1(-(times - self.since[channel]) * ohm / self.henry[channel])
            )
        rest = 0.1 if on else self.supply_v if ohm > 0 else 2.5
        return current, np.full(len(times), rest), np.full(len(times), self.supply_v)

    def sample(self, channel: int, time_s: float) -> Any:
        current, drain, supply = self.sample_many(channel, [time_s])
        return type("Sample", (), {"current_a": current[0], "drain_v": drain[0], "supply_v": supply[0]})

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        return self.sample(channel, time_s).drain_v


class Pair:
    """Both boxes, side by side."""

    def __init__(self, core: HostBox) -> None:
        core.restart()
        core.switches(), core.take_output()
        self.core = core
        self.plant = PlainPlant()
        self.box = Controller(self.plant, PROFILE, kinds=KINDS)
        self.now_ns = 0
        self.sequence = 0
        self.sent: list[bytes] = []
        self.readers = FrameReader(), FrameReader()
        self.heard: tuple[list[Any], list[Any]] = ([], [])

    def deliver(self, raw: bytes) -> None:
        self.box.receive(raw)
        self.core.receive(raw)

    def send(self, message: Any) -> None:
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.sent.append(encode_frame(self.sequence, message))
        self.deliver(self.sent[-1])

    def beat(self) -> None:
        self.deliver(encode_frame(0, wire.Heartbeat(1)))

    def wait(self, ms: int) -> None:
        self.now_ns += ms * MS
        self.box.advance_to(self.now_ns)
        self.core.advance_to(self.now_ns)

    def press(self, open_: bool) -> None:
        self.box.catch_up()
        self.box.set_stop_input(open_)
        self.core.set_stop_input(open_)

    def supply(self, volts: float) -> None:
        self.box.catch_up()
        self.plant.supply_v = volts
        self.box.supply_changed()
        self.core.set_supply(volts)

    def load(self, channel: int, ohm: float, henry: float) -> None:
        self.box.catch_up()
        for end in (15, 16) if channel >= 15 else (channel,):  # one load lies between the half-bridges
            self.plant.ohm[end], self.plant.henry[end] = ohm, henry
            self.core.set_load(end, ohm, henry)

    def hang(self) -> None:
        self.box.hang()
        self.core.hang()

    def collect(self) -> None:
        for heard, reader, box in zip(self.heard, self.readers, (self.box, self.core), strict=True):
            for frame in reader.feed(box.take_output()):
                assert not isinstance(frame, BadFrame)
                heard.append((frame.sequence, decode(frame)))

    def compare(self) -> None:
        """Let both say what they have to say, and compare all that was seen."""
        self.wait(SETTLE_MS)
        self.collect()
        python, core = self.heard
        for kinds in ("replies", "events", "telemetry"):
            ours, theirs = (_select(heard, kinds) for heard in (python, core))
            assert theirs == ours, f"{kinds} differ (core first)"
        assert len(python) == len(core)
        _compare_switches(self.plant.log, self.core.switches())


def _select(heard: list[Any], kinds: str) -> list[Any]:
    if kinds == "replies":
        return [(sequence, _masked(m)) for sequence, m in heard if m.KIND < 0x80]
    is_telemetry = kinds == "telemetry"
    return [_masked(m) for _, m in heard if m.KIND >= 0x80 and isinstance(m, wire.Telemetry) == is_telemetry]


class _Near(int):
    """A count: equal when within two."""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, int) and abs(int(self) - int(other)) <= 2

    __hash__ = None  # type: ignore[assignment]


def _masked(m: Any) -> Any:
    match m:
        case wire.Identity():
            return replace(m, firmware_version="", build_hash=0, board="", serial_number="")
        case wire.Status() | wire.Telemetry():
            return _as_dict(m) | {"supply_mv": round(m.supply_mv / 100), "board_temperature_dc": 0}
        case wire.SupplyEvent():
            return replace(m, supply_mv=round(m.supply_mv / 100))
        case wire.Trip():
            return replace(m, current_ma=0)  # what was sampled, against what flowed
        case wire.Refused() if m.reason is wire.Refusal.SUPPLY_OUT_OF_RANGE:
            return replace(m, detail=round(m.detail / 100))
        case wire.Refused() if m.reason is wire.Refusal.RESTING:
            return replace(m, detail=_Near(m.detail))
        case wire.ScanResult():
            near = {name: [_Near(v) for v in getattr(m, name)] for name in ("fine_counts", "wide_counts")}
            return _as_dict(m) | near
        case wire.Dropout():
            return replace(m, depth_permille=_Near(m.depth_permille))
        case wire.TraceChunk():
            counts = np.frombuffer(m.samples, dtype="<u2")
            return m.trace_id, m.first_sample, [_Near(v) for v in counts]
    return m


def _as_dict(m: Any) -> dict[str, Any]:
    return {name: getattr(m, name) for name in m.__slots__} | {"kind": m.KIND}


def _compare_switches(python: list[Any], core: list[Any]) -> None:
    assert [s[1:] for s in core] == [s[1:] for s in python], "outputs switched differently"
    for ours, theirs in zip(python, core, strict=True):
        assert abs(ours[0] - theirs[0]) <= EDGE_TOLERANCE_NS, f"{theirs} should be {ours}"


# -- what happens to them ----------------------------------------------------------------------------------------

CHANNELS = st.sampled_from([1, 2, 3, 4, 12, 13, 15, 16])
ON_TIMES = st.sampled_from([50, 100, 1000, 3000, 20_000, 100_000])
PERIODS = st.sampled_from([200, 1000, 5000, 20_000, 150_000])
SAMPLES = st.sampled_from([0, 1, 20, 100, 600])
DECIMATION = st.sampled_from([1, 1, 2, 7])
LIMITS = st.sampled_from([
    (100_000, 10_000, 900, 2000, 5000, 100),
    (3000, 50, 500, 20, 1200, 80),
    (20_000, 0, 900, 200, 200, 0),
])  # fmt: skip

configures = st.builds(
    lambda ch, load, hazard, pump, x: wire.Configure(ch, load, hazard, pump, *x),
    CHANNELS, st.sampled_from(LoadClass), st.sampled_from(Hazard), st.sampled_from([0, 0, 0, 1]), LIMITS,
)  # fmt: skip
trains = st.builds(
    wire.DriveTrain, CHANNELS, st.sampled_from([1, 2, 5, 30]), PERIODS, ON_TIMES,
    st.sampled_from([0, 1, 3]), DECIMATION, SAMPLES,
)  # fmt: skip
peaks = st.builds(
    wire.DrivePeakHold, CHANNELS, st.sampled_from([1, 3]), PERIODS, ON_TIMES, st.sampled_from([50, 1000, 2500]),
    st.sampled_from([150, 200, 333]), st.sampled_from([50, 333, 500, 950]), st.sampled_from([0, 1]), DECIMATION, SAMPLES,
)  # fmt: skip
holds = st.builds(wire.DriveHold, CHANNELS, st.sampled_from([1, 5, 40, 300]), DECIMATION, SAMPLES)
steppers = st.builds(
    wire.DriveStepper,
    st.sampled_from([(1, 2, 3, 4), (4, 2, 1, 3), (1, 2, 3, 3), (1, 2, 3, 15)]),
    st.sampled_from([0, 1, -3, 9, 25]),
    st.sampled_from([1000, 2500, 40_000]),
)
bridges = st.builds(
    wire.DriveBridge, st.sampled_from([15, 16, 1]), st.sampled_from([15, 16, 16]), st.sampled_from([1, 30]),
    st.sampled_from([150, 333, 1000]), st.sampled_from([50, 300, 500, 900]), DECIMATION, SAMPLES,
)  # fmt: skip
senses = st.builds(wire.Sense, CHANNELS, st.sampled_from([10, 60, 80, 200]), st.sampled_from([1, 40]))
reads = st.builds(wire.ReadTrace, st.integers(0, 12), st.sampled_from([0, 0, 25, 90, 600]))
simple = st.one_of(
    st.builds(wire.GetConfig, CHANNELS), st.just(wire.GetDigest()), st.just(wire.GetStatus()),
    st.just(wire.Cancel()), st.just(wire.Stop()), st.just(wire.ClearStop()), st.just(wire.ClearStop()),
    st.builds(wire.Arm, st.sampled_from([h for h in Hazard if h]), st.sampled_from([100, 250, 5000, 60_000])),
    st.builds(wire.Disarm, st.sampled_from(Hazard)),
    st.builds(wire.Hello, st.sampled_from([1, 1, 1, 2]), st.just(0), st.integers(1, 3), st.just(0)),
    st.just(wire.Ack(3)),
)  # fmt: skip
requests = st.one_of(
    configures, trains, trains, peaks, holds, steppers, bridges, senses, reads, reads, simple
)

# 100 to 200 mA: also a logic channel may have that, and a load of 14 ohm trips it after a while.
fit = st.builds(
    lambda load, hazard, x: within_class(wire.Configure(1, load, hazard, 0, *x)),
    st.sampled_from([x for x in LoadClass if x]), st.sampled_from(Hazard),
    st.sampled_from([(100_000, 10_000, 900, 2000, 200, 80), (100_000, 500, 900, 40, 150, 0)]),
)  # fmt: skip
fit_for_power = st.builds(lambda c: within_class(replace(c, max_current_ma=5000)), fit)
switched = st.one_of(trains, trains, peaks, holds, steppers, bridges, senses)
rights = st.tuples(st.just("right"), st.tuples(st.one_of(fit, fit_for_power, fit_for_power), switched))

Step = tuple[str, Any]
steps = st.one_of(
    st.tuples(st.just("send"), requests),
    rights,
    rights,
    rights,
    st.tuples(st.just("beats"), st.integers(1, 6)),
    st.tuples(st.just("wait"), st.sampled_from([1, 3, 20, 90, 399, 401])),
    st.tuples(st.just("again"), st.integers(0, 5)),
    st.tuples(st.just("corrupt"), st.integers(0, 2000)),
    st.tuples(st.just("cut"), st.integers(1, 20)),
    st.tuples(st.just("jump"), st.sampled_from([2, 32_767, 32_768, 65_535])),
    st.tuples(st.just("noise"), st.binary(max_size=12)),
    st.tuples(st.just("press"), st.booleans()),
    st.tuples(st.just("supply"), st.sampled_from([13.5, 13.5, 4.0, 19.0])),
    st.tuples(
        st.just("load"), st.tuples(CHANNELS, st.sampled_from([(0.05, 1e-9), (14.0, 14e-3), (-1.0, 1.0)]))
    ),
    st.tuples(st.just("hang"), st.none()),
)


def _channels(request: Any) -> tuple[int, ...]:
    match request:
        case wire.DriveStepper():
            return tuple(sorted(set(request.channels)))
        case wire.DriveBridge():
            return (request.channel_supply, request.channel_ground)
    return (request.channel,)


def _do_it_right(pair: Pair, configure: wire.Configure, request: Any) -> None:
    """What a console and its operator do before a drive, so that drives are reached at all."""
    pair.press(False)
    pair.supply(13.5)
    pair.send(wire.Hello(1, 0, 1, 0))
    pair.beat()
    pair.send(wire.Cancel())
    pair.send(wire.ClearStop())
    for channel in _channels(request):
        pair.send(replace(configure, channel=channel))
    for hazard in (Hazard.FUEL, Hazard.SPARK, Hazard.CRANK, Hazard.MOTION, Hazard.HEAT):
        pair.send(wire.Arm(hazard, 2000))
    pair.send(request)


def play(pair: Pair, script: list[Step]) -> None:
    """Do to both what the script says."""
    for name, value in script:
        match name:
            case "send":
                pair.send(value)
            case "right":
                _do_it_right(pair, *value)
            case "beats":
                for _ in range(value):
                    pair.beat()
                    pair.wait(100)
                pair.beat()
            case "wait":
                pair.wait(value)
            case "again" if pair.sent:
                pair.deliver(pair.sent[-1 - value % len(pair.sent)])
            case "corrupt" if pair.sent:
                raw = bytearray(pair.sent[-1])
                raw[value // 8 % len(raw)] ^= 1 << value % 8
                pair.deliver(bytes(raw) + b"\0")
            case "cut" if pair.sent:
                pair.deliver(pair.sent[-1][:-value] + b"\0")
            case "jump":
                pair.sequence = (pair.sequence + value) & 0xFFFF
                pair.send(wire.GetStatus())
            case "noise":
                pair.deliver(value + b"\0")
            case "press":
                pair.press(value)
            case "supply":
                pair.supply(value)
            case "load":
                pair.load(value[0], *value[1])
            case "hang":
                pair.hang()


@pytest.fixture(scope="module")
def core():
    return HostBox()


HELLO = [("send", wire.Hello(1, 0, 1, 0)), ("beats", 1)]


# the same scripts each run, so that a red run is the change's own; a campaign, which sets their number, draws others
@settings(
    max_examples=SCRIPTS,
    deadline=None,
    database=None,
    derandomize="LOOMPROOF_SCRIPTS" not in os.environ,
    suppress_health_check=list(HealthCheck),
)
@given(script=st.lists(steps, min_size=3, max_size=12))
def test_both_implementations_behave_alike(core, script):
    pair = Pair(core)
    play(pair, HELLO + script)
    pair.compare()


LOAD = wire.Configure(1, LoadClass.VALVE, Hazard.NONE, 0, 100_000, 10_000, 900, 2000, 5000, 100)


def test_a_difference_is_seen(core):
    """The comparison is awake: a load that only one of them has shows in the counts it reads."""
    pair = Pair(core)
    pair.plant.ohm[1] = 20.0
    play(pair, [*HELLO, ("right", (LOAD, wire.DriveTrain(1, 1, 10_000, 3000, 1, 1, 100))), ("wait", 30)])
    play(pair, [("send", wire.ReadTrace(1, 50))])
    with pytest.raises(AssertionError, match="replies differ"):
        pair.compare()


@pytest.mark.parametrize("on_time_us", [0, 60, 100])
def test_a_scan_is_answered_alike(core, on_time_us):
    pair = Pair(core)
    play(pair, HELLO)
    for channel in (1, 3, 4, 12):
        pair.send(replace(LOAD, channel=channel))
    pair.send(wire.Scan(0xFFFF, on_time_us))
    pair.wait(SETTLE_MS)
    pair.collect()
    ours, theirs = (_select(heard, "replies") for heard in pair.heard)
    assert theirs == ours
    lengths = [_pulse_lengths(log) for log in (pair.plant.log, pair.core.switches())]
    assert lengths[0] == lengths[1]
    assert len(lengths[0]) == (4 if on_time_us else 0)


def _pulse_lengths(log: list[Any]) -> list[tuple[int, int]]:
    return [(on[1], off[0] - on[0]) for on, off in zip(log[::2], log[1::2], strict=True)]


@pytest.mark.parametrize("held", [0, 1])
def test_a_watch_tells_the_same_dropouts(core, held):
    pair = Pair(core)
    play(pair, [*HELLO, ("send", LOAD), ("send", wire.Watch(1, held, 600, 5000, 200)), ("beats", 2)])
    play(pair, [("load", (1, (-1.0, 1.0))), ("wait", 7), ("load", (1, (14.0, 14e-3))), ("beats", 5)])
    pair.compare()
    dropouts = [m for _, m in pair.heard[1] if isinstance(m, wire.Dropout)]
    assert [d.depth_permille for d in dropouts] == [1000]


def test_a_bridge_that_needs_fuel_and_runs_the_pump_is_refused_by_both(core):
    """Found by the fuzzer: the pump took the arming of fuel away, and the drive began without it."""
    pair = Pair(core)
    play(pair, HELLO)
    pair.send(replace(LOAD, channel=15, fuel_pump=1, max_sense_us=0))
    pair.send(replace(LOAD, channel=16, hazard=Hazard.FUEL, max_sense_us=0))
    pair.send(wire.Arm(Hazard.FUEL, 5000))
    pair.send(wire.DriveBridge(15, 16, 30, 150, 500, 1, 0))
    pair.compare()
    _, refused = pair.heard[1][-1] if isinstance(pair.heard[1][-1][1], wire.Refused) else pair.heard[1][-2]
    assert refused == wire.Refused(wire.DriveBridge.KIND, wire.Refusal.PUMP_CHANNEL, 15)
    assert pair.plant.log == []
