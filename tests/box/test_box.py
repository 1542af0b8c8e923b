"""The box client against the simulated box, in virtual time."""

import threading
import zlib

import numpy as np
import pytest

from loomproof.box.client import Box
from loomproof.box.connect import connect
from loomproof.box.drive_outcome import RawTrace
from loomproof.box.errors import BoxStopped, ConfigurationMismatch, LinkLost, NoReply, RequestRefused
from loomproof.facts.drive import Chop, PeakHoldRequest, PulseTrain, TraceCapture
from loomproof_wire import messages
from loomproof_wire.messages import (
    BoxState,
    Configure,
    DriveEnded,
    EndReason,
    Hazard,
    LoadClass,
    RangeError,
    Refusal,
    StopReason,
)
from testbed.approve_without_asking import approve_without_asking, unasked_hold, unasked_train


def test_connecting_tells_what_the_box_is_and_touches_nothing():
    with connect("sim://?clock=virtual", auto_call_in=True) as box:
        assert isinstance(box, Box)
        assert box.identity.simulated == 1
        assert sorted(box.channels) == list(range(1, box.identity.channel_count + 1))
        assert all(info.channel == number for number, info in box.channels.items())
        assert box.warnings == ()
        status = box.status()
        assert (status.state, status.armed_mask, status.driving_channel) == (BoxState.IDLE, 0, 0)
        box.verify_configuration()
        with pytest.raises(TypeError):
            box.channels[1] = None
    assert not box.connected


@pytest.mark.parametrize(
    ("choices", "gate_s"),
    [
        ({"auto_call_in": False}, 0.5),
        ({"auto_call_in": True}, 2.0),
        ({"auto_call_in": True, "gate_s": 1.0}, 1.0),
    ],
)
def test_how_long_a_busy_program_is_believed_alive(choices, gate_s):
    with connect("sim://?clock=virtual", **choices) as box:
        assert box._link._core.gate_s == gate_s


def test_configuration_is_read_back_and_checked(box):
    asked = Configure(4, LoadClass.VALVE, Hazard.NONE, 0, 5_000, 100, 900, 50, 1500, 100)
    box.configure(asked)
    held = box.config(4)
    assert held.encode_body() == asked.encode_body()
    box.verify_configuration()


def test_the_digest_is_over_every_channel_as_the_page_says(box):
    bodies = b"".join(box.config(n).encode_body() for n in range(1, box.identity.channel_count + 1))
    digest = box._link.request(messages.GetDigest()).digest
    assert digest == zlib.crc32(bodies)


def test_a_configuration_that_did_not_arrive_as_told_is_named(box, bench):
    def garble(message):
        if isinstance(message, Configure):
            return [Configure(5, message.load_class, message.hazard, 0, 1000, 0, 10, 10, 100, 0)]
        return [message]

    bench.port.to_box = garble
    box.configure(Configure(4, LoadClass.VALVE, Hazard.NONE, 0, 5_000, 100, 900, 50, 1500, 100))
    bench.port.to_box = None
    with pytest.raises(ConfigurationMismatch, match="channel 4, 5") as mismatch:
        box.verify_configuration()
    assert mismatch.value.channels == (4, 5)


def test_a_train_with_traces(box):
    outcome = box.drive(
        unasked_train(
            4,
            count=5,
            period_us=100_000,
            on_time_us=50_000,
            every=2,
            decimation=8,
            samples=300,
        )
    )
    assert (outcome.pulses, outcome.reason, outcome.trip) == (5, EndReason.COMPLETE, None)
    assert [trace.header.pulse_index for trace in outcome.traces] == [0, 2, 4]
    for trace in outcome.traces:
        assert isinstance(trace, RawTrace)
        assert trace.header.channel == 4
        assert trace.header.sample_period_ns == 8 * box.identity.sample_period_ns
        for counts in (trace.fine, trace.wide, trace.supply, trace.drain):
            assert counts.dtype == np.uint16
            assert counts.shape == (trace.header.sample_count,) == (300,)
            assert counts.max() < 2**box.identity.adc_bits
        # A relay coil draws something by the end of its pulse, and the supply is there throughout.
        offset = box.channels[4].fine_offset_counts_x100 / 100
        assert trace.fine[200] - offset > 20
        assert trace.supply.min() > 500
    assert outcome.events_missed == outcome.traces_lost == 0


def test_every_sample_of_a_long_trace_is_where_it_belongs(box, bench):
    trace = box.sense(4, 200, 599)
    chunks = {m.first_sample: m.samples for m in bench.port.said if isinstance(m, messages.TraceChunk)}
    assert sorted(chunks) == list(range(0, 599, messages.CEILINGS.samples_per_chunk))
    sets = [chunk[n : n + 8] for _, chunk in sorted(chunks.items()) for n in range(0, len(chunk), 8)]
    for number in (0, 24, 25, 300, 598):
        expected = [int.from_bytes(sets[number][n : n + 2], "little") for n in (0, 2, 4, 6)]
        found = [int(column[number]) for column in (trace.fine, trace.wide, trace.supply, trace.drain)]
        assert found == expected


def test_hold_peak_hold_and_scan(box):
    held = box.drive(unasked_hold(4, duration_ms=300, decimation=20, samples=100))
    assert (held.reason, len(held.traces)) == (EndReason.COMPLETE, 1)
    box.arm(Hazard.FUEL, 5)
    request = PeakHoldRequest(
        channel=1,
        train=PulseTrain(count=3, period_us=50_000, on_time_us=4000),
        chop=Chop(peak_us=1000, period_us=150, duty_permille=300),
        capture=TraceCapture(every=1, samples=200),
    )
    peak = box.drive(approve_without_asking(request))
    assert (peak.pulses, peak.reason, len(peak.traces)) == (3, EndReason.COMPLETE, 3)
    scan = box.scan([1, 4], 150)
    assert scan.mask == scan.sensed_mask == 0b1001
    resting = box.scan([2], 0)
    assert (resting.mask, resting.sensed_mask) == (0b10, 0)


def test_interlocks_of_the_box_are_told(box):
    with pytest.raises(RequestRefused) as refused:
        box.drive(unasked_train(1, count=1, period_us=100_000, on_time_us=2000))
    assert refused.value.reason is Refusal.NOT_ARMED
    assert refused.value.detail == Hazard.FUEL
    box.arm(Hazard.FUEL, 1.0)
    assert box.drive(unasked_train(1, count=1, period_us=100_000, on_time_us=2000)).pulses == 1
    box.disarm(Hazard.FUEL)
    with pytest.raises(RequestRefused):
        box.drive(unasked_train(1, count=1, period_us=100_000, on_time_us=2000))
    assert box.status().state is BoxState.IDLE


def test_a_value_out_of_range_is_said_before_anything_is_sent(box, bench):
    bench.port.said.clear()
    for call in (
        lambda: box.drive(unasked_train(4, count=0, period_us=100_000, on_time_us=2000)),
        lambda: box.drive(unasked_train(17, count=1, period_us=100_000, on_time_us=2000)),
        lambda: box.arm(Hazard.NONE, 1),
        lambda: box.arm(Hazard.FUEL, 61),
        lambda: box.sense(4, 201, 10),
    ):
        with pytest.raises(RangeError):
            call()
    assert not any(isinstance(m, messages.Ack | messages.Refused) for m in bench.port.said)


def test_an_expired_arming_ends_the_drive(box):
    box.arm(Hazard.FUEL, 0.25)
    outcome = box.drive(unasked_train(1, count=10, period_us=100_000, on_time_us=2000))
    assert outcome.reason is EndReason.DISARMED
    assert outcome.pulses == 3


def test_stop_ends_a_drive_and_stays_until_cleared(box):
    box.subscribe(
        lambda event: box.stop_now() if isinstance(event, messages.Telemetry) and event.state else None
    )
    outcome = box.drive(unasked_train(4, count=20, period_us=100_000, on_time_us=2000))
    assert outcome.reason is EndReason.STOPPED
    assert outcome.stop_reason is StopReason.COMMAND
    assert outcome.pulses < 5
    with pytest.raises(BoxStopped) as stopped:
        box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000))
    assert stopped.value.reason is Refusal.STOPPED
    assert "clear the stop" in stopped.value.remedy
    assert stopped.value.stop_reason is StopReason.COMMAND
    assert "a stop frame" in str(stopped.value)
    box.clear_stop()
    assert box.status().state is BoxState.IDLE


def test_stop_is_acknowledged(box):
    box.arm(Hazard.FUEL, 10)
    box.stop()
    status = box.status()
    assert (status.state, status.stop_reason, status.armed_mask) == (BoxState.STOPPED, StopReason.COMMAND, 0)


def test_the_stop_input(box, bench):
    bench.hands.stop_input(True)
    with pytest.raises(BoxStopped):
        box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000))
    with pytest.raises(BoxStopped) as refused:
        box.clear_stop()
    assert refused.value.reason is Refusal.STOP_INPUT_OPEN
    bench.hands.stop_input(False)
    box.clear_stop()
    assert box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000)).pulses == 1


def test_cancel_from_elsewhere_ends_a_drive_without_latching(box):
    done = []

    def cancel_once(event):
        if isinstance(event, messages.Telemetry) and event.state is BoxState.DRIVING and not done:
            done.append(threading.Thread(target=box.cancel))
            done[0].start()

    box.subscribe(cancel_once)
    outcome = box.drive(unasked_train(4, count=100, period_us=100_000, on_time_us=2000))
    done[0].join(10)
    assert outcome.reason is EndReason.CANCELLED
    assert outcome.pulses < 100
    assert box.status().state is BoxState.IDLE


def test_a_second_drive_meanwhile_is_refused_here(box):
    refusals = []
    box.subscribe(lambda event: threading.Thread(target=try_it).start() if not refusals else None)

    def try_it():
        try:
            box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000))
        except RequestRefused as refused:
            refusals.append(refused)

    box.drive(unasked_train(4, count=10, period_us=100_000, on_time_us=2000))
    assert {(r.reason, r.detail) for r in refusals} == {(Refusal.BUSY, 4)}


def test_a_short_trips_the_channel(bench):
    box = bench.connect("sim://?clock=virtual&fault=short_across_load:4")
    box.configure(Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200))
    box.sleep(0.15)
    outcome = box.drive(unasked_train(4, count=5, period_us=100_000, on_time_us=20_000, every=1, samples=100))
    assert outcome.reason is EndReason.TRIPPED
    assert outcome.trip.channel == 4
    assert outcome.trip.current_ma > 3000
    assert outcome.pulses == 0
    with pytest.raises(RequestRefused) as refused:
        box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000))
    assert refused.value.reason is Refusal.TRIPPED


def test_a_watch_sees_the_connector_pulled(box, bench):
    with box.watch_held(unasked_hold(4, duration_ms=2000)) as watch:
        box.sleep(0.5)
        bench.hands.pull(4)
        box.sleep(0.1)
        bench.hands.seat(4)
        dropouts = watch.collect()
    assert len(dropouts) == 1
    assert dropouts[0].start_us == pytest.approx(500_000, abs=30_000)
    assert dropouts[0].length_us == pytest.approx(100_000, abs=30_000)
    assert watch.ended == DriveEnded(4, watch.ended.pulses, EndReason.COMPLETE)


def test_leaving_a_watch_early_cancels_it(box):
    with box.watch_held(unasked_hold(4, duration_ms=5000)) as watch:
        pass
    assert watch.ended.reason is EndReason.CANCELLED
    assert box.now_s() < 2
    box.sleep(0.5)  # the channel rests
    assert box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000)).pulses == 1
    with pytest.raises(RequestRefused), box.watch_held(unasked_hold(1, duration_ms=100)):
        pytest.fail("fuel is not armed")
    assert box.drive(unasked_train(4, count=1, period_us=100_000, on_time_us=2000)).pulses == 1


def test_events_and_latest_status(box):
    heard = []
    end = box.subscribe(heard.append)
    box.sleep(0.35)
    assert len([e for e in heard if isinstance(e, messages.Telemetry)]) >= 3
    assert box.latest_status.uptime_ms == heard[-1].uptime_ms
    assert isinstance(box.latest_status, messages.Status)
    end()
    count = len(heard)
    box.sleep(0.35)
    assert len(heard) == count


def test_without_calling_in_the_box_stops(bench):
    box = bench.connect(auto_call_in=False)
    box.call_in()
    box.sleep(0.3)
    called_s = box.now_s()
    box.call_in()
    box.sleep(2.0)
    stops = [m for m in bench.port.said if isinstance(m, messages.Stopped)]
    assert stops == [messages.Stopped(StopReason.HEARTBEAT)]
    stopped_at = next(
        m.uptime_ms / 1000
        for m in bench.port.said
        if isinstance(m, messages.Telemetry) and m.state is BoxState.STOPPED
    )
    # The gate closes 0.5 s after the call, the box waits 0.4 s more, telemetry comes within 0.1 s.
    assert called_s + 0.7 < stopped_at < called_s + 0.5 + 0.4 + 0.1 + 1e-3


def test_a_closed_box_is_gone(box, bench):
    box.close()
    box.close()
    assert not box.connected
    assert not bench.port.port.is_open
    with pytest.raises(LinkLost, match="closed"):
        box.status()


def test_closing_an_idle_box_does_not_stop_it(bench):
    box = bench.connect()
    sent = []
    bench.port.to_box = lambda message: (sent.append(message), [message])[1]
    box.close()
    assert not any(isinstance(message, messages.Stop) for message in sent)


def test_closing_an_armed_box_sends_a_stop(box, bench):
    box.arm(Hazard.FUEL, 10)
    sent = []
    bench.port.to_box = lambda message: (sent.append(message), [message])[1]
    box.close()
    assert isinstance(sent[-1], messages.Stop)


def test_nothing_at_the_other_end(bench):
    bench.prepare = lambda port: setattr(port, "to_box", lambda message: [])
    with pytest.raises(NoReply, match="hello"):
        bench.connect(patience_s=1.0)
    assert not bench.port.port.is_open
