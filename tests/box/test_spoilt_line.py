"""The box client when the line to the box loses, doubles or delays frames, or breaks."""

import dataclasses
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.box.connect import connect
from loomproof.box.errors import (
    BoxError,
    EventLost,
    Incompatible,
    LinkDown,
    LinkLost,
    NoReply,
    RequestRefused,
    Unreadable,
)
from loomproof_sim.named_boxes import forget
from loomproof_wire import messages
from loomproof_wire.frames import encode_raw_frame
from loomproof_wire.messages import (
    BoxState,
    Configure,
    DriveEnded,
    DriveTrain,
    EndReason,
    Hazard,
    Identity,
    LoadClass,
    Refusal,
    TraceChunk,
    TraceReady,
)
from testbed.approve_without_asking import unasked_train


def dropping(kind, times=1):
    """A filter that loses the first `times` messages of a kind."""
    left = [times]

    def spoil(message):
        if isinstance(message, kind) and left[0]:
            left[0] -= 1
            return []
        return [message]

    return spoil


def replacing(kind, change):
    return lambda message: [change(message)] if isinstance(message, kind) else [message]


@pytest.mark.parametrize("times", [1, 2])
def test_a_lost_answer_fires_no_second_train(box, bench, times):
    bench.port.from_box = dropping(messages.Ack, times)
    assert box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000)).pulses == 3
    assert [m for m in bench.port.said if isinstance(m, DriveEnded)] == [DriveEnded(4, 3, EndReason.COMPLETE)]


def test_a_train_that_is_over_before_its_answer_arrives(box, bench):
    bench.port.from_box = dropping(messages.Ack, 2)
    outcome = box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000, every=1, samples=50))
    assert (outcome.pulses, len(outcome.traces)) == (1, 1)


def test_a_train_of_which_nothing_is_known_is_stopped(box, bench):
    bench.port.from_box = dropping(messages.Ack, 3)
    with pytest.raises(NoReply):
        box.drive(unasked_train(4, count=100, period_us=100_000, on_time_us=2000))
    bench.port.from_box = None
    assert box.status().state is BoxState.STOPPED


def test_a_lost_end_is_told_not_waited_for(box, bench):
    bench.port.from_box = dropping(DriveEnded)
    with pytest.raises(EventLost, match="channel 4") as lost:
        box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000))
    assert lost.value.channel == 4
    assert box.now_s() < 2
    assert box.status().state is BoxState.IDLE
    assert box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000)).pulses == 3


def test_a_lost_end_without_telemetry_is_told_too(box, bench):
    bench.port.from_box = lambda m: [] if isinstance(m, DriveEnded | messages.Telemetry) else [m]
    with pytest.raises(EventLost):
        box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000))


def test_a_quiet_box_that_drives_on_is_waited_for(box, bench):
    bench.port.from_box = lambda m: [] if isinstance(m, messages.Telemetry) else [m]
    assert box.drive(unasked_train(4, count=30, period_us=100_000, on_time_us=2000)).pulses == 30


def test_a_lost_trace_announcement_is_counted(box, bench):
    bench.port.from_box = dropping(TraceReady)
    outcome = box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000, every=1, samples=50))
    assert [trace.header.pulse_index for trace in outcome.traces] == [1, 2]
    assert outcome.events_missed == 1


def test_a_sense_pulse_is_made_again_when_its_trace_is_lost(box, bench):
    bench.port.from_box = dropping(TraceReady, 2)
    assert box.sense(4, 100, 50).header.sample_count == 50
    bench.port.from_box = dropping(TraceReady, 3)
    with pytest.raises(EventLost):
        box.sense(4, 100, 50)


def test_lost_chunks_are_asked_for_again(box, bench):
    clean = box.sense(4, 100, 200)
    drop = random.Random(3)
    bench.port.from_box = lambda m: [] if isinstance(m, TraceChunk) and drop.random() < 0.4 else [m]
    spoilt = box.sense(4, 100, 200)
    assert spoilt.header.sample_count == clean.header.sample_count == len(spoilt.fine)


def test_a_trace_that_was_pushed_out_is_counted(box, bench):
    gone = replacing(
        TraceChunk, lambda chunk: messages.Refused(messages.ReadTrace.KIND, Refusal.NO_TRACE, chunk.trace_id)
    )
    bench.port.from_box = gone
    outcome = box.drive(unasked_train(4, count=2, period_us=100_000, on_time_us=2000, every=1, samples=50))
    assert (outcome.traces, outcome.traces_lost, outcome.pulses) == ((), 2, 2)


@pytest.mark.parametrize(
    "change",
    [
        lambda c: TraceChunk(c.trace_id + 1, c.first_sample, c.samples),
        lambda c: TraceChunk(c.trace_id, c.first_sample + 1, c.samples),
        lambda c: TraceChunk(c.trace_id, c.first_sample, b""),
        lambda c: TraceChunk(c.trace_id, c.first_sample, c.samples[:-1]),
        lambda c: TraceChunk(c.trace_id, c.first_sample, c.samples[:8] * 25),
    ],
    ids=["another trace", "other samples", "none", "half a sample", "too many"],
)
def test_samples_that_were_not_asked_for_are_not_taken_and_the_drive_is_stopped(box, bench, change):
    bench.port.from_box = replacing(TraceChunk, change)
    with pytest.raises(Unreadable, match="not the samples"):
        box.drive(unasked_train(4, count=50, period_us=100_000, on_time_us=2000, every=100, samples=30))
    bench.port.from_box = None
    assert box.status().state is BoxState.STOPPED


def test_reports_of_something_older_are_not_taken_for_this_drive(box):
    stale = DriveEnded(4, 99, EndReason.COMPLETE)
    box._link._core.events.append(stale)
    assert box.drive(unasked_train(4, count=3, period_us=100_000, on_time_us=2000)).pulses == 3
    box._link._core.events.append(stale)
    assert box.sense(4, 100, 50).header.sample_count == 50
    box._link._core.events.append(stale)
    with box.watch(4, duration_ms=100) as watch:
        watch.collect()
    assert watch.ended.pulses != 99


def test_a_broken_console_stops_the_drive(box, bench, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("loomproof.box.drive_log.read_trace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        box.drive(unasked_train(4, count=50, period_us=100_000, on_time_us=2000, every=1, samples=30))
    assert box.status().state is BoxState.STOPPED


@given(data=st.data(), seed=st.integers(0, 2**32 - 1), loss=st.floats(0, 0.5), doubling=st.floats(0, 0.5))
@settings(max_examples=40, deadline=None)
def test_however_bad_the_line_no_train_runs_more_often_than_it_was_asked_for(
    bench_factory, data, seed, loss, doubling
):
    bench = bench_factory()
    box = bench.connect()
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.sleep(0.15)
    chance = random.Random(seed)

    def spoil(message):
        if chance.random() < loss:
            return []
        return [message, message] if chance.random() < doubling else [message]

    bench.port.from_box = bench.port.to_box = spoil
    asked = refused = 0
    try:
        for _ in range(data.draw(st.integers(1, 4))):
            asked += 1
            try:
                box.drive(unasked_train(4, count=asked, period_us=20_000, on_time_us=2000))
            except (EventLost, NoReply):
                pass
            except RequestRefused:
                refused += 1
    finally:
        bench.port.from_box = bench.port.to_box = None
        box.sleep(0.6)
        ends = [m for m in bench.port.said if isinstance(m, DriveEnded)]
        box.close()
    assert len(ends) <= asked - refused
    assert all(ended.pulses <= asked for ended in ends)
    assert [e.pulses for e in ends if e.reason is EndReason.COMPLETE] == sorted(
        {e.pulses for e in ends if e.reason is EndReason.COMPLETE}
    )


# --- versions -------------------------------------------------------------------------------------------


def spoil_from_the_start(bench, spoil):
    bench.prepare = lambda port: setattr(port, "from_box", spoil)


def change_identity(**fields):

    return replacing(Identity, lambda identity: dataclasses.replace(identity, **fields))


def test_a_box_that_refuses_our_version(bench):
    spoil_from_the_start(
        bench, replacing(Identity, lambda _: messages.Refused(messages.Hello.KIND, Refusal.BAD_VERSION, 2))
    )
    with pytest.raises(Incompatible, match=r"version 2, this console version 1; update the console"):
        bench.connect()


@pytest.mark.parametrize(("major", "remedy"), [(2, "update the console"), (0, "update the box firmware")])
def test_a_box_of_another_major_version(bench, major, remedy):
    spoil_from_the_start(bench, change_identity(protocol_major=major))
    with pytest.raises(Incompatible, match=remedy):
        bench.connect()
    assert not bench.port.port.is_open


def test_a_box_whose_identity_has_another_shape(bench):
    def newer(message):
        if not isinstance(message, Identity):
            return [message]
        # Whatever sequence the first hello carries: a new link begins at 0.
        return [encode_raw_frame(Identity.KIND, 0, b"\x02 something new")]

    spoil_from_the_start(bench, newer)
    with pytest.raises(Incompatible, match="version 2"):
        bench.connect()


def test_another_edition_of_the_same_version_is_a_warning(bench):
    spoil_from_the_start(bench, change_identity(spec_hash=0x1234, protocol_minor=7))
    box = bench.connect()
    assert len(box.warnings) == 2
    assert "00001234" in box.warnings[0]
    assert "1.7" in box.warnings[1]


def test_a_box_that_mixes_up_its_channels_is_not_worked_with(bench):
    spoil_from_the_start(
        bench,
        replacing(
            messages.ChannelConfig,
            lambda c: messages.ChannelConfig.decode_body(b"\x03" + c.encode_body()[1:]),
        ),
    )
    with pytest.raises(Incompatible, match="other channels"):
        bench.connect()


# --- loss and return ------------------------------------------------------------------------------------


@pytest.fixture
def named(bench):
    """A box that is still there after the link was lost."""

    url = "sim://?clock=virtual&name=spoilt"
    box = bench.connect(url)
    box.configure(Configure(1, LoadClass.INJECTOR, Hazard.FUEL, 0, 20_000, 0, 500, 100, 5000, 200))
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.sleep(0.15)
    yield box
    box.close()
    forget("spoilt")


def test_unplugged_in_a_drive_then_back_with_nothing_armed(named, bench):
    heard = []
    named.subscribe(heard.append)
    named.arm(Hazard.FUEL, 60)
    sim = bench.port.port.sim

    def pull_the_plug(message):
        if isinstance(message, messages.Telemetry) and message.state is BoxState.DRIVING:
            bench.port.unplugged = True
        return [message]

    bench.port.from_box = pull_the_plug
    with pytest.raises(LinkLost):
        named.drive(unasked_train(1, count=100, period_us=100_000, on_time_us=2000))
    assert not named.connected
    assert [event for event in heard if isinstance(event, LinkDown)] == [LinkDown("device disconnected")]
    with pytest.raises(LinkLost):
        named.stop_now()
    before_s = named.now_s()
    sim.run_for(1.0)

    found = named.reconnect()
    assert named.connected
    assert found.configuration_kept
    assert (found.status.state, found.status.stop_reason) == (BoxState.STOPPED, messages.StopReason.HEARTBEAT)
    assert found.status.armed_mask == 0
    assert named.now_s() >= before_s
    named.verify_configuration()
    named.clear_stop()
    named.sleep(0.15)
    with pytest.raises(RequestRefused) as refused:
        named.drive(unasked_train(1, count=1, period_us=100_000, on_time_us=2000))
    assert refused.value.reason is Refusal.NOT_ARMED
    heard.clear()
    named.sleep(0.3)
    assert any(isinstance(event, messages.Telemetry) for event in heard)


def test_a_box_that_was_reset_meanwhile_says_so(bench):
    url = "sim://?clock=virtual"
    box = bench.connect(url)
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.verify_configuration()
    box.sleep(1.0)
    clock_s = box.now_s()
    # Without a name each opening is a new box, as after a reset.
    found = box.reconnect()
    assert not found.configuration_kept
    assert box.now_s() >= clock_s
    with pytest.raises(BoxError, match="channel 4"):
        box.verify_configuration()
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.verify_configuration()


def test_another_box_in_its_place_is_not_taken_for_it(bench):
    box = bench.connect()
    bench.prepare = lambda port: setattr(port, "from_box", change_identity(serial_number="OTHER"))
    with pytest.raises(Incompatible, match="OTHER"):
        box.reconnect()
    assert not box.connected


def test_reconnecting_too_early_may_be_tried_again(bench):
    box = bench.connect()
    bench.prepare = lambda port: setattr(port, "unplugged", True)
    with pytest.raises(LinkLost):
        box.reconnect()
    bench.prepare = lambda port: None
    assert box.reconnect().status.state is BoxState.IDLE


def test_a_port_that_is_not_there():
    with pytest.raises(LinkLost, match="check this address"):
        connect("/dev/no-such-port", auto_call_in=True)


def test_drive_train_is_the_message_it_claims(box, bench):
    sent = []
    bench.port.to_box = lambda message: (sent.append(message), [message])[1]
    box.drive(
        unasked_train(
            4,
            count=2,
            period_us=50_000,
            on_time_us=3000,
            every=1,
            decimation=2,
            samples=30,
        )
    )
    assert [m for m in sent if isinstance(m, DriveTrain)] == [DriveTrain(4, 2, 50_000, 3000, 1, 2, 30)]
