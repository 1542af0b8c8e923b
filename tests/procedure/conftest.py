"""A box and an operator for the procedure: a log of what was asked of the box, in a clock of its own."""

import contextlib
from collections import deque
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest

from loomproof.box.errors import BoxStopped, RequestRefused
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import BridgeRequest, HoldRequest, PeakHoldRequest, StepperRequest, TrainRequest
from loomproof.procedure.prompts import Answer, Choice, PromptKind
from loomproof.safety.statements import StatementKind, form_for
from loomproof_wire import messages as m
from testbed.jobs import hazards_job

OHM = {1: 14.2, 2: 0.5, 3: 22.0, 4: 90.0, 5: 40.0, 6: 40.0, 7: 40.0, 8: 40.0}
HENRY = {1: 14e-3, 2: 3.5e-3, 3: 30e-3, 4: 0.25}
FINE_A, WIDE_A, VOLT = 2 / 1024, 20 / 1024, 60 / 1024


def info(channel):
    return m.ChannelInfo(
        channel=channel,
        channel_kind=m.ChannelKind.LOW_SIDE,
        max_on_time_us=100_000,
        max_hold_ms=10_000,
        max_duty_permille=900,
        max_count=2000,
        max_current_ma=20_000,
        max_sense_us=200,
        wide_na_per_count=round(WIDE_A * 1e9),
        wide_offset_counts_x100=0,
        fine_na_per_count=round(FINE_A * 1e9),
        fine_offset_counts_x100=0,
        supply_uv_per_count=round(VOLT * 1e6),
        drain_uv_per_count=round(VOLT * 1e6),
        gain_uncertainty_ppm=2000,
        noise_counts_x100=30,
        bias_mv=2500,
        bias_ohm=47_000,
        clamp_mv=48_000,
    )


@dataclass
class FakeBox:
    """Answers like a sound box.

    `log` holds (what, detail), `requests` what was driven; `on` maps a call to what happens instead.
    """

    channel_count: int = 8
    supply_v: float = 13.5
    log: list = field(default_factory=list)
    requests: list = field(default_factory=list)
    on: dict = field(default_factory=dict)
    wiring: dict = field(default_factory=dict)
    pulled: set = field(default_factory=set)
    tripped: set = field(default_factory=set)
    stopped: bool = False
    clock_s: float = 100.0
    armed: set = field(default_factory=set)
    loose: dict = field(default_factory=dict)
    heard: object = None

    def __post_init__(self):
        self.channels = {c: info(c) for c in range(1, self.channel_count + 1)}
        self.identity = m.Identity(
            1, 0, m.SPEC_HASH, "1.0", 7, "fake", "F-1", 1, self.channel_count, 10, 26_000, 600, ""
        )
        self.configs = {}
        self.callbacks = []

    def _do(self, what, detail=None):
        self.log.append((what, detail))
        self.clock_s += 0.01
        if what in self.on:
            self.on[what](detail)

    def calls(self, *names):
        return [entry for entry in self.log if entry[0] in names]

    def tell(self, message):
        for callback in self.callbacks:
            callback(message)

    def now_s(self):
        return self.clock_s

    def sleep(self, seconds):
        self.clock_s += seconds
        if "sleep" in self.on:
            self.on["sleep"](seconds)

    def call_in(self):
        pass

    def subscribe(self, callback):
        self.callbacks.append(callback)

    def configure(self, configuration):
        self._do("configure", configuration)
        self.configs[configuration.channel] = configuration
        self.tripped.discard(configuration.channel)
        self.armed.clear()

    def verify_configuration(self):
        self._do("verify")

    def status(self):
        state = m.BoxState.STOPPED if self.stopped else m.BoxState.IDLE
        mask = sum(1 << (c - 1) for c in self.tripped)
        return m.Status(
            0, state, m.StopReason.NONE, 0, int(self.supply_v * 1000), 250, 0, mask, 0, (0,) * 5, 8, 0, 0, 0
        )

    def _check_stopped(self, kind):
        if self.stopped:
            raise BoxStopped(kind, m.Refusal.STOPPED)

    def arm(self, hazard, duration_s):
        self._do("arm", (hazard, duration_s))
        self._check_stopped(m.Arm.KIND)
        self.armed.add(hazard)

    def disarm(self, hazard):
        self._do("disarm", hazard)
        self.armed.discard(hazard)

    def stop_now(self):
        self._do("stop")
        self.stopped = True
        self.armed.clear()

    def clear_stop(self):
        self._do("clear_stop")
        self.stopped = False

    def _drive(self, what, channels, pulses, on_us, every, decimation, samples, duration_s):
        for channel in channels:
            hazard = self.configs[channel].hazard
            if hazard is not m.Hazard.NONE and hazard not in self.armed:
                raise RequestRefused(m.DriveTrain.KIND, m.Refusal.NOT_ARMED, hazard)
        self._do(what, channels)
        self._check_stopped(m.DriveTrain.KIND)
        self.clock_s += duration_s
        if self.tripped & set(channels):
            return SimpleNamespace(pulses=0, reason=m.EndReason.TRIPPED, traces=())
        traces = tuple(self.trace(channels[0], on_us, decimation, samples) for _ in range(1)) if every else ()
        for trace in traces:
            if self.heard is not None:
                self.heard(trace)
        reason = m.EndReason.STOPPED if self.stopped else m.EndReason.COMPLETE
        return SimpleNamespace(pulses=pulses, reason=reason, traces=traces)

    def drive(self, approved, on_trace=None):
        assert isinstance(approved, ApprovedDrive)
        self.heard = on_trace
        self.requests.append(approved.request)
        try:
            return self._drive_as_asked(approved.request)
        finally:
            self.heard = None

    def _drive_as_asked(self, request):
        train, capture = request.train, request.capture
        how = (train.on_time_us, capture.every, capture.decimation, capture.samples, request.duration_s)
        match request:
            case TrainRequest():
                return self._drive("drive", request.channels, train.count, *how)
            case PeakHoldRequest():
                return self._drive("peak_hold", request.channels, train.count, *how)
            case StepperRequest():
                return self._drive("stepper", request.channels, train.count, *how)
            case BridgeRequest():
                return self._drive("bridge", request.channels[::-1], train.count, how[0], 1, *how[2:])
            case HoldRequest():
                return self._drive("hold", request.channels, train.count, how[0], 1, *how[2:])

    def sense(self, channel, on_time_us, samples):
        self._do("sense", channel)
        return self.trace(channel, on_time_us, 1, samples)

    @contextlib.contextmanager
    def watch(self, channel, *, duration_ms, sample_hz=5000, depth_permille=200):
        self._do("watch", channel)
        self.clock_s += duration_ms / 1000
        yield [m.Dropout(channel, 1000 * n, 500, 800) for n in range(self.loose.get(channel, 0))]

    def has_load(self, channel):
        return self.wiring.get(channel, channel) not in self.pulled

    def trace(self, channel, on_us, decimation, samples):
        period_s = 26e-6 * decimation
        times = 2e-6 + period_s * np.arange(samples)
        ohm, henry = OHM.get(channel, 40.0), HENRY.get(channel, 30e-3)
        on = times < on_us * 1e-6
        amps = np.where(on, self.supply_v / ohm * -np.expm1(-times * ohm / henry), 0.0)
        amps = amps if self.has_load(channel) else amps * 0
        drain = np.where(on, 0.1 * amps, self.supply_v)
        header = m.TraceReady(1, channel, 0, samples, round(period_s * 1e9), on_us, 2000, 0, 0, 0, 0)
        counts = [np.clip(np.round(v), 0, 1023).astype(np.uint16) for v in (amps / FINE_A, amps / WIDE_A)]
        volts = [np.round(v / VOLT).astype(np.uint16) for v in (np.full(samples, self.supply_v), drain)]
        return SimpleNamespace(header=header, fine=counts[0], wide=counts[1], supply=volts[0], drain=volts[1])

    def scan(self, channels, on_time_us):
        self._do("scan", (tuple(channels), on_time_us))
        drain, fine = [0] * 16, [0] * 16
        for channel in channels:
            drain[channel - 1] = round((self.supply_v if self.has_load(channel) else 2.5) / VOLT)
            if on_time_us and self.has_load(channel):
                fine[channel - 1] = 40
        mask = sum(1 << (c - 1) for c in channels)
        supply = round(self.supply_v / VOLT)
        return m.ScanResult(
            mask, mask if on_time_us else 0, on_time_us, supply, tuple(drain), tuple(fine), (0,) * 16
        )


class Person:
    """Answers prompts as told; `replies` maps a prompt kind to an answer or to a function of the prompt."""

    def __init__(self, box=None, **replies):
        self.box = box
        self.replies = replies
        self.prompts = []
        self.cancelled = False
        self.name = "RB"
        self.pending = deque()

    def of(self, kind):
        return [prompt for prompt in self.prompts if prompt.kind is kind]

    def answer(self, prompt):
        self.prompts.append(prompt)
        reply = self.replies.get(prompt.kind.value)
        if callable(reply):
            reply = reply(prompt)
        if reply is not None:
            return reply
        if prompt.kind is PromptKind.STATEMENT:
            return Answer(Choice.STATE, prompt.statement.fact_keys, prompt.statement.typed_word, "RB")
        return Answer(prompt.choices[0])

    def show(self, prompt):
        self.prompts.append(prompt)
        if self.box is None:
            return
        place = prompt.channels
        if prompt.kind is PromptKind.PULL:
            self.box.pulled |= set(place)
        else:
            self.box.pulled -= set(place)

    def poll(self, prompt):
        reply = self.replies.get(prompt.kind.value)
        return reply(prompt) if callable(reply) else reply

    def withdraw(self, prompt):
        pass

    def cancel(self):
        self.cancelled = True


class Notebook:
    """A recorder that keeps a list."""

    def __init__(self, box=None):
        self.entries = []
        self.box = box

    def begin(self, **facts):
        self.entries.append(("begin", facts))
        return "R-1"

    def _note(self, what, item):
        self.entries.append((what, item))
        if self.box is not None:
            self.box.log.append(("record", what))

    def step_began(self, step):
        self._note("began", step)

    def step_ended(self, outcome, traces=()):
        self._note("ended", (outcome, traces))

    def statement(self, statement):
        self._note("statement", statement)

    def event(self, event):
        self._note("event", event)

    def findings(self, verdicts, findings):
        self._note("findings", (verdicts, findings))

    def finish(self, verdict, note=""):
        self._note("finish", verdict)

    def of(self, what):
        return [item for kind, item in self.entries if kind == what]


def state_harmless(session):
    """State what any pulse on a vehicle needs."""
    form = form_for(StatementKind.LOOM_HARMLESS, session.job.setting)
    session.state(StatementKind.LOOM_HARMLESS, form.fact_keys, form.typed_word, "RB")


def rail_is_not_dry(prompt):
    """Of a person who states everything but that: so the fuel budget holds."""
    if prompt.statement.kind is StatementKind.RAIL_DRY:
        return Answer(Choice.SKIP)
    return None


@pytest.fixture(scope="session")
def job():
    return hazards_job()


@pytest.fixture
def box():
    return FakeBox()


@pytest.fixture
def make_person():
    return Person


@pytest.fixture
def notebook(box):
    return Notebook(box)
