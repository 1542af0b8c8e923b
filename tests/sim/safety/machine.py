"""The safety machine: one box under random treatment, with the oracle looking on."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

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

from loomproof_sim.plant.spec import Drive
from loomproof_wire import messages as wire
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame
from loomproof_wire.messages import Hazard, LoadClass
from tests.sim.safety.drawn import (
    WIDE,
    channels,
    drives,
    few_ms,
    hazards,
    limit_sets,
    load_classes,
    looks,
    single,
    sound_drives,
)
from tests.sim.safety.oracle import (
    MS,
    WATCHDOG_NS,
    DangerError,
    Oracle,
    dangers,
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
