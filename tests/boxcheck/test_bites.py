"""The suite bites: for each deliberate mistake in the simulated box, the case meant for it says so."""

import zlib
from dataclasses import replace

import pytest

from loomproof.boxcheck.catalogue import CASES
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.run import run_suite
from loomproof_sim.controller import (
    activity,
    arming,
    drive,
    limits,
    machine,
    outbox,
    requests,
    rest,
    session,
    supervision,
    traces,
    watch,
)
from loomproof_sim.controller import controller as core
from loomproof_sim.readback import Readback
from loomproof_wire.frames import decode
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    Ack,
    Arm,
    ChannelKind,
    Configure,
    DriveTrain,
    EndReason,
    GetChannel,
    Hazard,
    Heartbeat,
    RangeError,
    ReadTrace,
    Stop,
    WireError,
)

MS = 1_000_000
STOP_BYTES = 8
"""Of a stuffed stop frame without its delimiter."""


def heartbeat_late(patch):
    patch.setattr(supervision, "HEARTBEAT_TIMEOUT_NS", 500 * MS)


def heartbeat_one_ms_late(patch):
    patch.setattr(supervision, "HEARTBEAT_TIMEOUT_NS", 401 * MS)


def heartbeat_early(patch):
    patch.setattr(supervision, "HEARTBEAT_TIMEOUT_NS", 250 * MS)


def heartbeat_of_anyone(patch):
    def take(self, frame):
        Heartbeat.decode_body(frame.body)
        self._machine.beat()

    patch.setattr(session.SessionLayer, "_heartbeat", take)


def configured_from_the_start(patch):
    boot = core.Controller._boot

    def with_leftovers(self, now_ns):
        boot(self, now_ns)
        self.machine.parts.table.configure(Configure(2, 4, 0, 0, 1000, 0, 100, 1, 100, 0))

    patch.setattr(core.Controller, "_boot", with_leftovers)


def served_without_a_session(patch):
    init = session.SessionLayer.__init__

    def open_at_once(self, *args):
        init(self, *args)
        self.session = 1

    patch.setattr(session.SessionLayer, "__init__", open_at_once)


def stop_not_latched(patch):
    patch.setattr(supervision.StopLatch, "latch", lambda self, reason: True)


def stop_lets_the_drive_run(patch):
    patch.setattr(machine.StateMachine, "end_activity", lambda self, reason: None)


def stop_answered_first(patch):
    frame_before = session.SessionLayer._frame

    def answered_first(self, frame):
        if frame.kind != Stop.KIND:
            return frame_before(self, frame)
        self._outbox.reply(frame.sequence, Ack(frame.kind))
        return self._machine.stop_command()

    patch.setattr(session.SessionLayer, "_frame", answered_first)


def a_stop_has_no_number(patch):
    patch.setattr(session.SessionLayer, "_pass_over", lambda self, following: None)


def second_reason_kept(patch):
    def latch(self, reason):
        new, self.reason = not self.stopped, reason
        return new

    patch.setattr(supervision.StopLatch, "latch", latch)


def stop_keeps_the_arming(patch):
    patch.setattr(machine.StateMachine, "disarm_all", lambda self, reason: None)


def cleared_with_the_button_pressed(patch):
    patch.setattr(requests.Requests, "_clear_stop", lambda self, request: self._machine.latch.clear())


def button_released_clears(patch):
    press = core.Controller.set_stop_input

    def and_clear(self, open_):
        press(self, open_)
        if not open_:
            self.latch.clear()

    patch.setattr(core.Controller, "set_stop_input", and_clear)


def supply_never_measured(patch):
    patch.setattr(machine.StateMachine, "measure_supply", lambda self: True)


def repeat_carried_out(patch):
    is_new = session.SessionLayer._is_new
    patch.setattr(
        session.SessionLayer,
        "_is_new",
        lambda self, number: number == self._last_sequence or is_new(self, number),
    )


def old_copies_carried_out(patch):
    is_new = session.SessionLayer._is_new
    patch.setattr(
        session.SessionLayer,
        "_is_new",
        lambda self, number: number != self._last_sequence or is_new(self, number),
    )


def bad_frames_not_counted(patch):
    patch.setattr(machine.FrameCounters, "count_bad", lambda self: None)


def wrong_size_called_out_of_range(patch):
    reply_to = session.SessionLayer._reply_to

    def other_reason(self, frame):
        try:
            decode(frame)
        except RangeError:
            pass
        except WireError:
            return session.Refused(frame.kind, session.Refusal.OUT_OF_RANGE, 255)
        return reply_to(self, frame)

    patch.setattr(session.SessionLayer, "_reply_to", other_reason)


def too_much_is_clipped(patch):
    def clip(frame):
        try:
            return decode(frame)
        except RangeError as error:
            if frame.kind != Configure.KIND:
                raise
            values = list(Configure.LAYOUT.unpack(frame.body))
            values[error.field_index] = 200
            return clip(replace(frame, body=Configure.LAYOUT.pack(*values)))

    patch.setattr(session, "decode", clip)


def own_ceiling_not_kept(patch):
    patch.setattr(limits, "ceilings_of", lambda kind: limits.ChannelCeilings())


def configure_keeps_the_arming(patch):
    configure = requests.Requests._configure

    def keep(self, request):
        patch.setattr(self._machine, "disarm_all", lambda reason: None)
        configure(self, request)
        del self._machine.disarm_all

    patch.setattr(requests.Requests, "_configure", keep)


def trip_not_latched(patch):
    trip = activity.BoxParts.trip

    def forget(self, channel, current_a, time_ns):
        trip(self, channel, current_a, time_ns)
        self.tripped.discard(channel)

    patch.setattr(activity.BoxParts, "trip", forget)


def never_trips(patch):
    config = limits.ChannelTable.config

    def generous(self, channel):
        return replace(config(self, channel), max_current_ma=20_000)

    patch.setattr(limits.ChannelTable, "usable", generous)
    patch.setattr(
        requests.Requests,
        "_start_drive",
        _with_limits(requests.Requests._start_drive, 1e6),
    )


def _with_limits(start, limit_a):
    def begin(self, *args, **kwargs):
        drive = self._machine.start_drive
        self._machine.start_drive = lambda plan: drive(
            replace(plan, limits_a=dict.fromkeys(plan.limits_a, limit_a))
        )
        try:
            start(self, *args, **kwargs)
        finally:
            del self._machine.start_drive

    return begin


def two_at_a_time(patch):
    patch.setattr(requests.Requests, "_refuse_busy", lambda self: None)


def arming_not_needed(patch):
    patch.setattr(requests.Requests, "_refuse_unarmed", lambda self, hazards: None)


def any_class_will_do(patch):
    patch.setattr(
        arming.Arming,
        "missing",
        lambda self, hazards, now_ns: None if self._until_ns else next(iter(hazards), None),
    )


def arming_lasts_longer(patch):
    arm = arming.Arming.arm
    patch.setattr(arming.Arming, "arm", lambda self, hazard, until_ns: arm(self, hazard, until_ns + MS))


def expiry_lets_the_drive_run(patch):
    def only_tell(self, hazard, reason):
        self.parts.outbox.event(machine.Disarmed(hazard, reason))

    patch.setattr(machine.StateMachine, "_disarmed", only_tell)


def pump_keeps_fuel(patch):
    patch.setattr(machine.StateMachine, "pump_starts", lambda self: None)


def fuel_armed_beside_the_pump(patch):
    patch.setattr(machine.StateMachine, "pump_running", False)


def session_keeps_the_arming(patch):
    new_session = machine.StateMachine.new_session

    def keep(self):
        held = dict(self.arming._until_ns)
        new_session(self)
        self.arming._until_ns.update(held)

    patch.setattr(machine.StateMachine, "new_session", keep)


def session_ends_a_drive_aloud(patch):
    new_session = machine.StateMachine.new_session

    def aloud(self):
        self.end_activity(EndReason.CANCELLED)
        new_session(self)

    patch.setattr(machine.StateMachine, "new_session", aloud)


def events_not_counted_anew(patch):
    patch.setattr(outbox.Outbox, "restart", lambda self: setattr(self, "muted", False))


def telemetry_slow(patch):
    patch.setattr(supervision, "TELEMETRY_NS", 200 * MS)


def digest_of_configured_only(patch):
    def some(self):
        held = self._parts.table._configs
        return zlib.crc32(b"".join(held[channel].encode_body() for channel in sorted(held)))

    patch.setattr(requests.Requests, "_digest", some)


def one_pulse_less(patch):
    train = requests.train
    patch.setattr(requests, "train", lambda ch, count, period, on: train(ch, max(1, count - 1), period, on))


def two_us_too_long(patch):
    train = requests.train
    patch.setattr(requests, "train", lambda ch, count, period, on: train(ch, count, period, on + 2))


def hold_not_bounded(patch):
    patch.setattr(requests, "check_hold", lambda config, duration_ms: None)


def sense_not_bounded(patch):
    patch.setattr(requests, "sense_cap_us", lambda config, kind, supply_v: 200)


def stepper_not_bounded(patch):
    patch.setattr(requests, "check_step", lambda config, *, steps, step_us: None)


def duty_not_checked(patch):
    check = requests.check_pulses
    patch.setattr(
        requests,
        "check_pulses",
        lambda config, *, count, period_us, on_time_us: check(
            config, count=count, period_us=10_000_000, on_time_us=on_time_us
        ),
    )


def chunks_one_late(patch):
    chunk = traces.TraceStore.chunk

    def late(self, trace_id, first):
        got = chunk(self, trace_id, first)
        return replace(got, samples=got.samples[8:] + got.samples[:8])

    patch.setattr(traces.TraceStore, "chunk", late)


def chunk_past_the_end(patch):
    chunk = traces.TraceStore.chunk
    patch.setattr(
        traces.TraceStore,
        "chunk",
        lambda self, trace_id, first: chunk(
            self,
            trace_id,
            min(first, len(self._held[trace_id].counts) - 1) if trace_id in self._held else first,
        ),
    )


def heartbeat_not_needed_again(patch):
    patch.setattr(supervision.HeartbeatTimer, "alive", True)


def identity_of_another_version(patch):
    identity = core.identity
    patch.setattr(core, "identity", lambda *args: replace(identity(*args), protocol_major=PROTOCOL_MAJOR + 1))


def any_version_will_do(patch):
    greeted = session.SessionLayer._hello

    def accept(self, frame):
        greeted(self, replace(frame, body=bytes([PROTOCOL_MAJOR]) + frame.body[1:]))

    patch.setattr(session.SessionLayer, "_hello", accept)


def every_hello_is_new(patch):
    greeted = session.SessionLayer._hello

    def begin_again(self, frame):
        self.session = None
        greeted(self, frame)

    patch.setattr(session.SessionLayer, "_hello", begin_again)


def hello_clears_the_stop(patch):
    new_session = machine.StateMachine.new_session

    def and_clear(self):
        new_session(self)
        self.latch.clear()

    patch.setattr(machine.StateMachine, "new_session", and_clear)


def idle_fill_counted(patch):
    feed = session.SessionLayer.feed

    def count(self, data):
        if len(data) > 1 and not data.strip(b"\0"):
            self._machine.frames.count_bad()
        feed(self, data)

    patch.setattr(session.SessionLayer, "feed", count)


def lone_bytes_lost(patch):
    feed = session.SessionLayer.feed
    patch.setattr(
        session.SessionLayer, "feed", lambda self, data: feed(self, data) if len(data) > 1 else None
    )


def numbers_do_not_wrap(patch):
    patch.setattr(session.SessionLayer, "_is_new", lambda self, number: number > self._last_sequence)


def stale_stop_dropped(patch):
    taken = session.SessionLayer._frame

    def drop(self, frame):
        ahead = (frame.sequence - self._last_sequence) & 0xFFFF
        if frame.kind != Stop.KIND or ahead <= 0x7FFF:
            taken(self, frame)

    patch.setattr(session.SessionLayer, "_frame", drop)


def stopped_takes_no_configuration(patch):
    configure = requests.Requests._configure

    def refuse(self, request):
        self._refuse_unready()
        configure(self, request)

    patch.setattr(requests.Requests, "_configure", refuse)


def cancel_ignored(patch):
    patch.setattr(requests.Requests, "_cancel", lambda self, request: None)


def channel_numbers_clipped(patch):
    _clip(patch, GetChannel, lambda error: GetChannel(1))


def arming_clipped(patch):
    _clip(patch, Arm, lambda error: Arm(Hazard.HEAT, 1000))


def trains_clipped(patch):
    _clip(patch, DriveTrain, lambda error: DriveTrain(1, 1, 20_000, 1000, 0, 1, 0))


def _clip(patch, kind, instead):
    def clip(frame):
        try:
            return decode(frame)
        except RangeError as error:
            if frame.kind != kind.KIND:
                raise
            return instead(error)

    patch.setattr(session, "decode", clip)


def channels_it_lacks(patch):
    scale = Readback.scale
    patch.setattr(limits.ChannelTable, "kind", lambda self, channel: ChannelKind.LOW_SIDE)
    patch.setattr(Readback, "scale", lambda self, channel: scale(self, min(channel, 4)))


def unconfigured_channels_driven(patch):
    patch.setattr(limits.ChannelTable, "usable", limits.ChannelTable.config)


def longer_arming_stays(patch):
    arm = arming.Arming.arm

    def keep(self, hazard, until_ns):
        arm(self, hazard, max(until_ns, self._until_ns.get(hazard, 0)))

    patch.setattr(arming.Arming, "arm", keep)


def disarm_of_all_ignored(patch):
    disarm = requests.Requests._disarm

    def some(self, request):
        if request.hazard is not Hazard.NONE:
            disarm(self, request)

    patch.setattr(requests.Requests, "_disarm", some)


def pulses_not_bounded(patch):
    patch.setattr(requests, "check_pulses", lambda config, **pulses: None)


def any_driver_will_do(patch):
    ready = requests.Requests._ready

    def any_kind(self, channels, kinds, **more):
        return ready(self, channels, tuple(ChannelKind), **more)

    patch.setattr(requests.Requests, "_ready", any_kind)


def busy_judged_first(patch):
    ready = requests.Requests._ready

    def busy_first(self, *args, **more):
        self._refuse_busy()
        return ready(self, *args, **more)

    patch.setattr(requests.Requests, "_ready", busy_first)


def event_counter_skips(patch):
    event = outbox.Outbox.event

    def skip(self, message):
        event(self, message)
        self._counter = (self._counter + 1) & 0xFFFF

    patch.setattr(outbox.Outbox, "event", skip)


def holds_too_long(patch):
    train = requests.train

    def longer(channel, count, period_us, on_us):
        return train(channel, count, period_us, on_us + (2000 if on_us > 100_000 else 0))

    patch.setattr(requests, "train", longer)


def header_forgets_decimation(patch):
    init = traces.TraceStore.__init__

    def announce_the_boards(self, profile, readback, announce):
        init(
            self,
            profile,
            readback,
            lambda ready: announce(replace(ready, sample_period_ns=profile.sample_period_ns)),
        )

    patch.setattr(traces.TraceStore, "__init__", announce_the_boards)


def no_current_is_read(patch):
    counts = Readback.counts

    def resting(self, channel, current_a, supply_v, drain_v):
        return counts(self, channel, current_a * 0.0, supply_v, drain_v)

    patch.setattr(Readback, "counts", resting)


def every_pulse_traced(patch):
    patch.setattr(drive.TracePlan, "wants", lambda self, pulse: self.every > 0 and self.sets > 0)


def memory_never_full(patch):
    patch.setattr(traces.TraceStore, "free", 8)


def traces_kept_back_while_driving(patch):
    execute = requests.Requests.execute

    def refuse(self, message, later):
        if isinstance(message, ReadTrace):
            self._refuse_busy()
        return execute(self, message, later)

    patch.setattr(requests.Requests, "execute", refuse)


def sense_pulses_need_arming(patch):
    ready = requests.Requests._ready

    def armed(self, channels, kinds, *, needs_arming=True):
        return ready(self, channels, kinds, needs_arming=True)

    patch.setattr(requests.Requests, "_ready", armed)


def scan_at_rest_senses(patch):
    scan = requests.Requests._scan
    patch.setattr(
        requests.Requests,
        "_scan",
        lambda self, request, later: scan(self, replace(request, on_time_us=request.on_time_us or 60), later),
    )


def held_watch_is_no_drive_of_the_pump(patch):
    patch.setattr(
        watch.WatchActivity, "pump", property(lambda self: False, lambda self, value: None), raising=False
    )


def held_watch_keeps_fuel(patch):
    starts = machine.StateMachine.pump_starts
    patch.setattr(
        machine.StateMachine,
        "pump_starts",
        lambda self: starts(self) if self.activity is not None else None,
    )


def stops_overtake(patch):
    """A stop acts in the receive path, and what was queued before it is carried out after it."""
    feed = session.SessionLayer.feed

    def stops_first(self, data):
        frames = [frame for frame in data.split(b"\0") if frame]
        stops = [frame for frame in frames if len(frame) == STOP_BYTES and frame[1] == Stop.KIND]
        others = [frame for frame in frames if frame not in stops]
        feed(self, b"".join(frame + b"\0" for frame in [*stops, *others]) or data)

    patch.setattr(session.SessionLayer, "feed", stops_first)
    stop_orders_no_numbers(patch)


def stop_orders_no_numbers(patch):
    patch.setattr(session.SessionLayer, "_pass_over", lambda self, following: None)


def class_has_no_ceilings(patch):
    patch.setattr(limits, "class_ceilings", lambda ceilings, load_class, max_current_ma: ceilings)


def energy_of_a_pulse_not_bounded(patch):
    ceilings_of = limits.class_ceilings
    least_ma = 1  # whose pulse may last as long as the class allows
    patch.setattr(
        limits,
        "class_ceilings",
        lambda ceilings, load_class, max_current_ma: ceilings_of(ceilings, load_class, least_ma),
    )


def _rest_forgotten_for(patch, *reasons):
    owe = drive.DriveActivity._owe_rest

    def forget(self, reason, now_ns):
        if reason not in reasons:
            owe(self, reason, now_ns)

    patch.setattr(drive.DriveActivity, "_owe_rest", forget)


def cancel_forgets_the_rest(patch):
    _rest_forgotten_for(patch, EndReason.CANCELLED)


def stop_forgets_the_rest(patch):
    _rest_forgotten_for(patch, EndReason.STOPPED)


def configure_forgets_the_rest(patch):
    configure = requests.Requests._configure

    def forget(self, request):
        configure(self, request)
        self._parts.rest._until_ms.pop(request.channel, None)

    patch.setattr(requests.Requests, "_configure", forget)


def session_forgets_the_rest(patch):
    new_session = machine.StateMachine.new_session

    def forget(self):
        new_session(self)
        self.parts.rest._until_ms.clear()

    patch.setattr(machine.StateMachine, "new_session", forget)


def neighbour_rests(patch):
    owe = rest.RestLedger.owe
    patch.setattr(rest.RestLedger, "owe", lambda self, channel, *times: owe(self, channel % 16 + 1, *times))


def rest_too_short(patch):
    owe = rest.RestLedger.owe
    patch.setattr(
        rest.RestLedger,
        "owe",
        lambda self, channel, on_ns, since_ns, now_ns: owe(self, channel, on_ns // 10, since_ns, now_ns),
    )


def dropouts_kept_quiet(patch):
    patch.setattr(watch.WatchActivity, "_report", lambda self, dropouts: None)


MISTAKES = {
    a_stop_has_no_number: "numbered-before-a-stop",
    heartbeat_late: "heartbeat-loss-stops",
    heartbeat_one_ms_late: "heartbeat-loss-stops",
    heartbeat_early: "heartbeat-of-this-session",
    heartbeat_of_anyone: "heartbeat-of-this-session",
    heartbeat_not_needed_again: "heartbeat-needed-again",
    configured_from_the_start: "starts-empty",
    served_without_a_session: "no-session-no-service",
    stop_not_latched: "stop-stops",
    stop_lets_the_drive_run: "stop-stops",
    stop_answered_first: "stop-before-reply",
    stop_keeps_the_arming: "stop-stops",
    second_reason_kept: "first-reason-stays",
    cleared_with_the_button_pressed: "stop-input-stops",
    button_released_clears: "stop-input-stops",
    supply_never_measured: "supply-loss-stops",
    repeat_carried_out: "repeat-answered-not-executed",
    old_copies_carried_out: "stale-dropped",
    bad_frames_not_counted: "corrupt-frame-dropped",
    wrong_size_called_out_of_range: "unknown-refused",
    too_much_is_clipped: "ceilings-not-raised",
    own_ceiling_not_kept: "own-ceilings-kept",
    configure_keeps_the_arming: "configure-disarms",
    trip_not_latched: "trip-latches",
    never_trips: "trip-latches",
    two_at_a_time: "one-channel-at-a-time",
    arming_not_needed: "needs-its-class",
    any_class_will_do: "needs-its-class",
    arming_lasts_longer: "arming-expires",
    expiry_lets_the_drive_run: "arming-expires",
    pump_keeps_fuel: "pump-drops-fuel",
    fuel_armed_beside_the_pump: "pump-drops-fuel",
    session_keeps_the_arming: "new-session-drops-all",
    session_ends_a_drive_aloud: "new-session-drops-all",
    events_not_counted_anew: "telemetry-comes",
    telemetry_slow: "telemetry-comes",
    digest_of_configured_only: "configuration-read-back",
    one_pulse_less: "train-delivered",
    two_us_too_long: "on-time-kept",
    hold_not_bounded: "hold-limits",
    sense_not_bounded: "sense-limits",
    stepper_not_bounded: "stepper-steps",
    duty_not_checked: "train-limits",
    chunks_one_late: "trace-in-chunks",
    chunk_past_the_end: "trace-bounds",
    identity_of_another_version: "tells-who-it-is",
    any_version_will_do: "other-version-refused",
    every_hello_is_new: "hello-again-changes-nothing",
    hello_clears_the_stop: "stop-survives-hello",
    idle_fill_counted: "idle-fill-ignored",
    lone_bytes_lost: "bytes-in-any-grouping",
    numbers_do_not_wrap: "numbers-wrap",
    stale_stop_dropped: "stop-with-any-number",
    stopped_takes_no_configuration: "stopped-still-answers",
    cancel_ignored: "cancel-ends-a-drive",
    channel_numbers_clipped: "channel-numbers-checked",
    arming_clipped: "arming-bounded",
    trains_clipped: "ranges-checked",
    unconfigured_channels_driven: "not-configured",
    longer_arming_stays: "arming-again",
    disarm_of_all_ignored: "disarm-drops",
    pulses_not_bounded: "peak-hold-limits",
    any_driver_will_do: "wrong-kind",
    busy_judged_first: "order-of-refusals",
    event_counter_skips: "order-of-events",
    holds_too_long: "hold-ends",
    header_forgets_decimation: "trace-header",
    no_current_is_read: "trace-shows-current",
    every_pulse_traced: "every-nth-traced",
    memory_never_full: "traces-pushed-out",
    traces_kept_back_while_driving: "traces-readable-always",
    sense_pulses_need_arming: "sense-pulse",
    scan_at_rest_senses: "scan-at-rest",
    dropouts_kept_quiet: "watch-reports-dropouts",
    held_watch_is_no_drive_of_the_pump: "pump-watch-drops-fuel",
    held_watch_keeps_fuel: "pump-watch-drops-fuel",
    stops_overtake: "clear-and-stop-together",
    stop_orders_no_numbers: "numbered-before-a-stop",
    class_has_no_ceilings: "class-ceilings",
    energy_of_a_pulse_not_bounded: "class-ceilings",
    cancel_forgets_the_rest: "rest-kept",
    stop_forgets_the_rest: "rest-kept",
    configure_forgets_the_rest: "rest-kept",
    session_forgets_the_rest: "rest-kept",
    neighbour_rests: "rest-kept",
    rest_too_short: "rest-kept",
}
AGAIN = (
    (bad_frames_not_counted, "short-frame-dropped"),
    (bad_frames_not_counted, "oversize-frame-dropped"),
    (repeat_carried_out, "refusal-repeated"),
    (two_at_a_time, "configure-while-driving"),
    (hold_not_bounded, "bridge-drives"),
    (telemetry_slow, "chopping-leaves-time"),
    (heartbeat_late, "silence-ends-a-train"),
    (cancel_ignored, "next-drive-after-cancel"),
    (cancel_ignored, "watch-ends"),
    (sense_not_bounded, "scan-reads"),
)
"""Mistakes that break more than one guarantee."""
CANNOT_BREAK = {"ceilings-shown"}
"""The generated codec of the simulated box cannot encode a ceiling over the protocol's."""


@pytest.mark.parametrize(
    ("mistake", "key"), [*MISTAKES.items(), *AGAIN], ids=lambda one: getattr(one, "__name__", one)
)
def test_a_mistake_is_named_by_its_case(monkeypatch, make_python_box, mistake, key):
    mistake(monkeypatch)
    results = run_suite(make_python_box(), [case for case in CASES if case.key == key])
    assert [(r.case.key, r.outcome) for r in results] == [(key, Outcome.BROKEN)], results
    assert results[0].text


def test_a_channel_that_a_small_board_lacks_is_missed(monkeypatch, make_python_box):
    channels_it_lacks(monkeypatch)
    cases = [case for case in CASES if case.key == "no-such-channel"]
    (result,) = run_suite(make_python_box("four"), cases)
    assert result.outcome is Outcome.BROKEN
    assert "no_such_channel" in result.text


def test_every_case_bites():
    """Every case has a mistake that it names, or a reason why the simulated box cannot make one."""
    bitten = {*MISTAKES.values(), *(key for _, key in AGAIN), "no-such-channel"}
    assert {case.key for case in CASES} - bitten == CANNOT_BREAK
