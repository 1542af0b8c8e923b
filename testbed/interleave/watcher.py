"""What no interleaving may do: watches one box from outside, knows the protocol page and nothing of the box's code.

Each rule is judged from bytes sent, bytes received, hands and the changes of the outputs.
"""

from dataclasses import dataclass, field
from math import sqrt
from typing import Any

from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass

MS = 1_000_000
CHANNELS = 16
BRIDGE = {15, 16}
DRIVES = (wire.DriveTrain, wire.DriveHold, wire.DrivePeakHold, wire.DriveStepper, wire.DriveBridge)
BOUND = {
    LoadClass.INJECTOR: Hazard.FUEL,
    LoadClass.COIL: Hazard.SPARK,
    LoadClass.IGNITER_COIL: Hazard.SPARK,
    LoadClass.MOTOR: Hazard.MOTION,
}
"""The hazard of a load class, as the protocol's guarantees have it."""
LONGEST_US = {
    LoadClass.INJECTOR: 25_000,
    LoadClass.COIL: 10_000,
    LoadClass.IGNITER_COIL: 10_000,
    LoadClass.RELAY: 10_000_000,
    LoadClass.VALVE: 10_000_000,
    LoadClass.LAMP: 10_000_000,
    LoadClass.MOTOR: 5_000_000,
    LoadClass.STEPPER: 2_000_000,
    LoadClass.LOGIC_INPUT: 100_000,
}
"""Of one stretch on, by the table of the protocol page."""


SPARK_SENSE_US = int(1e6 * sqrt(2 * 0.1e-3 * 1e-3) / 13.5)
"""Longest sense pulse of a coil at the supply of the search: 0.1 mJ in 1 mH, from E = (V t)^2 / (2 L)."""


def hazards_of(config: wire.Configure) -> set[Hazard]:
    """Return what must be armed to drive a channel."""
    if config.load_class is LoadClass.MOTOR and config.hazard is Hazard.CRANK:
        return {Hazard.CRANK}
    return {config.hazard, BOUND.get(config.load_class, Hazard.NONE)} - {Hazard.NONE}


class ViolationError(AssertionError):
    """A rule is broken; `rule` names it."""

    def __init__(self, rule: str, channel: int, now_ns: int) -> None:
        super().__init__(f"{rule}: channel {channel} at {now_ns / MS:.4f} ms")
        self.rule = rule


@dataclass(frozen=True)
class Slack:
    """How late a box may act, by its make.

    Attributes:
        on_ns: a stretch on may be longer by this.
        act_ns: from a stop at the box's input to its outputs off.
        dead_ns: how long dead timers or a hung program may go on, until the watchdog.
        tell_ns: how old a message of its may be when it has come over the line.
        hold_hangs: a program without a main loop cannot be held: it hangs.
        holds: its main loop can be kept from its turns.
    """

    on_ns: int = 1000
    act_ns: int = 0
    dead_ns: int = 121 * MS
    tell_ns: int = 0
    hold_hangs: bool = False
    holds: bool = True


@dataclass
class Watcher:
    """The state of one box as far as its console and its pins show it."""

    slack: Slack = field(default_factory=Slack)
    epoch: int = 0
    """Stops so far."""
    stopped_ns: int | None = None
    """Time of the newest stop that no clear has followed."""
    newest_stop_ns: int = -(10**12)
    sent_in: dict[int, int] = field(default_factory=dict)
    """Number of a request -> the epoch in which it was first sent."""
    requests: dict[int, Any] = field(default_factory=dict)
    answered: set[int] = field(default_factory=set)
    """Numbers of status requests that were answered once."""
    configs: dict[int, wire.Configure] = field(default_factory=dict)
    armed_until_ns: dict[Hazard, int] = field(default_factory=dict)
    tripped: set[int] = field(default_factory=set)
    on: dict[int, int] = field(default_factory=dict)
    """Channel -> since when."""
    last_on: dict[int, tuple[int, int, int]] = field(default_factory=dict)
    """Channel -> begin and length of its last stretch on that owes rest, and the duty then."""
    beat_ns: int | None = None
    plain: bool = False
    """The last drive begun was one whose stretches on owe rest."""
    mixed: bool = False
    sensing: bool = False
    """The last drive begun was a sense pulse."""
    lately_armed_ns: dict[Hazard, int] = field(default_factory=dict)
    """The most that was armed at any time since the last look."""
    scans: set[int] = field(default_factory=set)
    """Numbers of scans that are not answered: their pulses need no arming and owe no rest."""
    timers_dead: bool = False
    hung: bool = False
    """The program stands still: only the stop input and the watchdog act."""
    barred: set[str] = field(default_factory=set)
    """What the hands keep from working: `stop input`, `supply`."""
    energised: int = 0
    """Switch-on edges of channels with a hazard: a run without any proves nothing."""
    accepted: int = 0

    # -- what is done to the box ------------------------------------------------------------------------

    def sending(self, number: int, message: wire.Message, now_ns: int) -> None:
        """Note a frame just before its last byte arrives."""
        if isinstance(message, wire.Stop):
            self.stop(now_ns)
        elif isinstance(message, wire.Heartbeat):
            self.beat_ns = now_ns
        else:
            self.sent_in.setdefault(number, self.epoch)
            self.requests[number] = message
            if isinstance(message, wire.Scan):
                self.scans.add(number)

    def numbered_anew(self, number: int) -> None:
        """Note that a number is used for a new request."""
        self.sent_in.pop(number, None)
        self.answered.discard(number)

    def stop(self, now_ns: int) -> None:
        """Note a stop: nothing turns on, and nothing is armed, until a clear that is sent after it."""
        self.epoch += 1
        self.newest_stop_ns = now_ns
        self.stopped_ns = now_ns
        self.armed_until_ns.clear()

    def hand(self, what: str, now_ns: int, *, bars: bool) -> None:
        """Note the stop input or the supply."""
        if bars:
            self.barred.add(what)
            self.stop(now_ns)
        else:
            self.barred.discard(what)

    def reset(self, now_ns: int) -> None:
        """Note that the watchdog reset the box: it forgets everything and is stopped."""
        self.stop(now_ns)
        self.configs.clear()
        self.last_on.clear()
        self.tripped.clear()
        self.requests.clear()
        self.scans.clear()
        self.timers_dead = self.hung = False

    # -- what the box shows -----------------------------------------------------------------------------

    def shown(
        self, replies: list[tuple[int, Any]], switches: list[tuple[int, int, int]], now_ns: int
    ) -> None:
        """Judge what came since the last call: messages with their numbers, and changes of outputs."""
        pump_on = self._pump_on()
        fuel_armed = False
        self.mixed = bool(self.scans)
        self.lately_armed_ns = dict(self.armed_until_ns)
        trips: list[int] = []
        for number, message in replies:
            fuel_armed |= self._message(number, message, now_ns, trips)
            for hazard, until_ns in self.armed_until_ns.items():
                self.lately_armed_ns[hazard] = max(until_ns, self.lately_armed_ns.get(hazard, until_ns))
        for at_ns, channel, drive in switches:
            self._switch(at_ns, channel, drive, now_ns)
        self.tripped.update(trips)
        self._judge_now(now_ns)
        if fuel_armed and pump_on and self._pump_on() == pump_on:
            raise ViolationError("fuel was armed while the pump ran", min(pump_on), now_ns)

    def _pump_on(self) -> set[int]:
        return {
            c
            for c in self.on
            if c in self.configs and self.configs[c].fuel_pump and self.plain and not self.scans
        }

    def _message(self, number: int, message: wire.Message, now_ns: int, trips: list[int]) -> bool:
        match message:
            case wire.Ack():
                return self._acknowledged(number, now_ns)
            case wire.Status() | wire.Telemetry():
                self._judge_mask(number, message, now_ns)
            case wire.Trip():
                trips.append(message.channel)
            case wire.Disarmed():
                self.armed_until_ns.pop(message.hazard, None)
            case wire.Stopped():
                self.armed_until_ns.clear()
            case wire.ScanResult() | wire.Refused():
                self.scans.discard(number)
        return False

    def _judge_mask(self, number: int, message: wire.Status | wire.Telemetry, now_ns: int) -> None:
        again = isinstance(message, wire.Status) and number in self.answered
        self.answered |= {number} if isinstance(message, wire.Status) else set()
        if again or now_ns < self.newest_stop_ns + self.slack.tell_ns:
            return  # an answer that is sent again is as old as it was; what is on the line may be from before the stop
        for hazard in Hazard:
            if message.armed_mask >> hazard & 1 and hazard not in self.armed_until_ns:
                raise ViolationError(f"{hazard.name.lower()} is armed, and nobody armed it", 0, now_ns)

    def _acknowledged(self, number: int, now_ns: int) -> bool:
        request = self.requests.get(number)
        current = self.sent_in.get(number) == self.epoch
        self.accepted += 1
        match request:
            case wire.ClearStop() if current:
                self.stopped_ns = None
            case wire.Configure():
                self.configs[request.channel] = request
                self.tripped.discard(request.channel)
                self.armed_until_ns.clear()
            case wire.Arm() if current:
                self.armed_until_ns[request.hazard] = now_ns + request.duration_ms * MS
                return request.hazard is Hazard.FUEL
            case wire.Hello():
                self.armed_until_ns.clear()
            case wire.Disarm():
                for hazard in Hazard if request.hazard is Hazard.NONE else (request.hazard,):
                    self.armed_until_ns.pop(hazard, None)
            case wire.DriveTrain() | wire.DriveHold() | wire.DriveStepper() | wire.Watch():
                self._begun(request, plain=not isinstance(request, wire.Watch) or bool(request.held))
            case wire.DrivePeakHold() | wire.DriveBridge() | wire.Sense():
                self._begun(request, plain=False)
        return False

    def _begun(self, request: Any, *, plain: bool) -> None:  # noqa: ANN401 - any drive
        """Note that a drive began; where another kind of drive came in the same look, less can be judged."""
        self.mixed |= self.plain != plain
        self.plain = plain
        self.sensing = isinstance(request, wire.Sense)
        channels = getattr(request, "channels", None) or (getattr(request, "channel", 0),)
        if plain and any(c in self.configs and self.configs[c].fuel_pump for c in channels):
            self.armed_until_ns.pop(Hazard.FUEL, None)

    # -- rules ------------------------------------------------------------------------------------------

    def _switch(self, at_ns: int, channel: int, drive: int, now_ns: int) -> None:
        if not drive:
            since_ns = self.on.pop(channel, None)
            if since_ns is not None:
                self._judge_length(channel, at_ns - since_ns, at_ns)
                if self.plain and not self.mixed and channel in self.configs:
                    duty = self.configs[channel].max_duty_permille
                    self.last_on[channel] = (since_ns, at_ns - since_ns, duty)
            return
        if channel in self.on:
            return
        self._judge_on(at_ns, channel, now_ns)
        self.on[channel] = at_ns

    def _judge_on(self, at_ns: int, channel: int, now_ns: int) -> None:
        if self.stopped_ns is not None and at_ns > self.stopped_ns + self._late_ns():
            raise ViolationError("turned on after a stop that no later clear followed", channel, at_ns)
        if self.barred and not self.hung:
            raise ViolationError(f"turned on without {min(self.barred)}", channel, at_ns)
        config = self.configs.get(channel)
        if config is None or config.load_class is LoadClass.NONE:
            raise ViolationError("turned on without a configuration", channel, at_ns)
        if channel in self.tripped:
            raise ViolationError("turned on after it tripped", channel, at_ns)
        others = set(self.on) - {channel}
        if others and (others | {channel}) != BRIDGE:
            raise ViolationError("several outputs at once", channel, at_ns)
        if self.plain and not self.mixed:
            self._judge_armed(config, at_ns, now_ns)
            self._judge_rest(channel, at_ns)

    def _judge_armed(self, config: wire.Configure, at_ns: int, now_ns: int) -> None:
        hazards = hazards_of(config)
        self.energised += bool(hazards)
        for hazard in hazards:
            if self.lately_armed_ns.get(hazard, -1) + 2 * MS + self._dead_ns() < min(at_ns, now_ns):
                raise ViolationError(f"turned on without {hazard.name.lower()} armed", config.channel, at_ns)

    def _judge_still_armed(self, config: wire.Configure, now_ns: int) -> None:
        late_ns = 2 * MS + self._dead_ns()
        for hazard in hazards_of(config):
            if self.armed_until_ns.get(hazard, -1) + late_ns < now_ns and not self.hung:
                raise ViolationError(
                    f"on though {hazard.name.lower()} is no longer armed", config.channel, now_ns
                )

    def _judge_rest(self, channel: int, at_ns: int) -> None:
        if channel not in self.last_on:
            return
        since_ns, length_ns, duty = self.last_on[channel]
        if (at_ns - since_ns) * duty + self.slack.on_ns * 1000 < length_ns * 1000:
            raise ViolationError("turned on before it had rested", channel, at_ns)

    def _judge_length(self, channel: int, length_ns: int, at_ns: int) -> None:
        config = self.configs.get(channel)
        if config is None:
            return
        own_us = max(config.max_on_time_us, config.max_hold_ms * 1000, config.max_sense_us)
        most_us = min(own_us, LONGEST_US.get(config.load_class, own_us))
        if (
            (self.sensing or self.scans)
            and not self.plain
            and not self.mixed
            and BOUND.get(config.load_class) is Hazard.SPARK
        ):
            most_us = min(most_us, SPARK_SENSE_US)
        if length_ns > most_us * 1000 + self.slack.on_ns + self._dead_ns():
            raise ViolationError("on for too long", channel, at_ns)

    def _dead_ns(self) -> int:
        return self.slack.dead_ns if self.timers_dead else 0

    def _late_ns(self) -> int:
        return self.slack.act_ns + (self.slack.dead_ns if self.hung else 0)

    def _judge_now(self, now_ns: int) -> None:
        for channel, since_ns in self.on.items():
            self._judge_length(channel, now_ns - since_ns, now_ns)
            if self.plain and not self.mixed and channel in self.configs:
                self._judge_still_armed(self.configs[channel], now_ns)
            if self.stopped_ns is not None and now_ns > self.stopped_ns + self._late_ns():
                raise ViolationError("on after a stop", channel, now_ns)
            silent_ns = now_ns - (self.beat_ns if self.beat_ns is not None else -(10**12))
            if silent_ns > 401 * MS + self.slack.act_ns + self._dead_ns():
                raise ViolationError("on without heartbeat", channel, now_ns)
