"""Sessions, sequence numbers, heartbeat, stop: as docs/protocol.md says. Times are exact, in virtual time."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame, encode_raw_frame
from loomproof_wire.messages import BoxState, DisarmReason, Hazard, LoadClass, Refusal, StopReason

MS = 1_000_000


def test_it_boots_with_nothing_on_and_nothing_armed(cold: Any) -> None:
    assert cold.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)
    assert not cold.box.outputs.any_on
    assert cold.plant.log == []
    cold.box.advance_to(2_000 * MS)
    assert cold.box.take_output() == b""  # nobody is there to be told


def test_a_hello_opens_a_session_and_tells_who_it_is(cold: Any) -> None:
    identity = cold.ask(wire.Hello(1, 0, 5, 0))
    assert (identity.simulated, identity.channel_count, identity.adc_bits) == (1, 16, 10)
    assert identity.sample_period_ns == 26_000
    assert cold.ask(wire.GetStatus()).state is BoxState.IDLE


def test_another_major_version_is_refused_and_opens_nothing(cold: Any) -> None:
    assert cold.refusal(wire.Hello(2, 0, 5, 0)) == (Refusal.BAD_VERSION, 1)
    assert cold.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)


def test_a_repeated_request_is_answered_again_and_not_carried_out_again(console: Any, train: Any) -> None:
    console.configure(1)
    request = train(1, count=2)
    assert isinstance(console.send(request), wire.Ack)
    console.run(100)
    assert isinstance(console.send(request, sequence=console.sequence), wire.Ack)
    console.run(100)
    assert len(console.plant.on_times(1)) == 2


def test_stale_frames_are_counted_and_dropped(console: Any) -> None:
    assert console.send(wire.GetStatus(), sequence=(console.sequence - 1) & 0xFFFF) is None
    assert console.ask(wire.GetStatus()).stale_frames == 1


@pytest.mark.parametrize(("ahead", "taken"), [(1, True), (32_767, True), (32_768, False), (65_535, False)])
def test_how_far_ahead_a_sequence_number_may_be(console: Any, ahead: int, taken: bool) -> None:
    reply = console.send(wire.GetStatus(), sequence=(console.sequence + ahead) & 0xFFFF)
    assert (reply is not None) == taken


def test_bad_frames_are_counted_and_harmless(console: Any) -> None:
    console.box.receive(b"\x05hello\x00" + encode_frame(9, wire.Stop())[:-3] + b"\x00")
    status = console.ask(wire.GetStatus())
    assert (status.bad_frames, status.state) == (2, BoxState.IDLE)


def test_unknown_and_misshapen_messages_are_refused(console: Any) -> None:
    for kind, body in ((0x3F, b""), (wire.Arm.KIND, b"\x01")):
        console.sequence += 1
        console.box.receive(encode_raw_frame(kind, console.sequence, body))
        ((_, reply),) = console.pump()
        assert (reply.request_kind, reply.reason) == (kind, Refusal.UNKNOWN_MESSAGE)


def test_a_field_out_of_range_is_refused_with_its_index(console: Any) -> None:
    console.sequence += 1
    body = wire.Arm(Hazard.FUEL, 100).encode_body()[:1] + b"\x01\x00"
    console.box.receive(encode_raw_frame(wire.Arm.KIND, console.sequence, body))
    ((_, reply),) = console.pump()
    assert (reply.reason, reply.detail) == (Refusal.OUT_OF_RANGE, 1)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)  # it makes boxes anew
@given(st.lists(st.binary(max_size=60), max_size=20))
def test_no_bytes_whatever_harm_it(new_console: Any, chunks: list[bytes]) -> None:
    box = new_console()
    box.open()
    for chunk in chunks:
        box.box.receive(chunk)
        box.box.advance_to(box.box.now_ns + MS)
    assert box.plant.log == []


def test_outputs_go_off_400_ms_after_the_last_heartbeat(console: Any, train: Any) -> None:
    console.configure(1, max_hold_ms=10_000)
    last_beat_ns = console.box.now_ns
    console.ask(wire.DriveHold(1, 5000, 1, 0))
    console.run(1000, beating=False)
    assert console.plant.on_times(1) == [(0, last_beat_ns + 400 * MS)]
    assert console.events(wire.Stopped) == [wire.Stopped(StopReason.HEARTBEAT)]
    assert console.refusal(train(1))[0] is Refusal.STOPPED


def test_heartbeats_of_another_session_count_for_nothing(console: Any) -> None:
    console.configure(1, max_hold_ms=10_000)
    console.ask(wire.DriveHold(1, 5000, 1, 0))
    for _ in range(6):
        console.beat(session=78)
        console.run(100, beating=False)
    assert console.plant.on_times(1) == [(0, 400 * MS)]


def test_nothing_is_driven_before_the_first_heartbeat(cold: Any, train: Any) -> None:
    cold.ask(wire.Hello(1, 0, 77, 0))
    cold.configure(1)
    assert cold.refusal(train(1))[0] is Refusal.NO_HEARTBEAT
    assert cold.refusal(wire.Sense(1, 50, 10))[0] is Refusal.NO_HEARTBEAT
    assert cold.refusal(wire.Arm(Hazard.FUEL, 1000))[0] is Refusal.NO_HEARTBEAT


def test_a_stop_is_obeyed_before_its_reply_whatever_its_number(console: Any) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.run(10)
    said = []
    off_before_reply = []
    reply = console.box.outbox.reply

    def listening(sequence: int, message: Any) -> bytes:
        off_before_reply.append(not console.box.outputs.any_on)
        said.append(message)
        return bytes(reply(sequence, message))

    console.box.outbox.reply = listening
    console.box.receive(encode_frame((console.sequence - 500) & 0xFFFF, wire.Stop()))
    assert said == [wire.Ack(wire.Stop.KIND)]
    assert off_before_reply == [True]
    assert console.plant.on_times(1) == [(0, 10 * MS)]


@pytest.mark.parametrize(("ahead", "stale"), [(1, False), (2, True), (255, True), (256, False)])
def test_a_clear_that_is_numbered_before_the_last_stop_is_stale(
    console: Any, ahead: int, stale: bool
) -> None:
    """The clear was lost before the stop, and the line delivers its repeat after it."""
    last = console.sequence
    console.box.receive(encode_frame((last + ahead) & 0xFFFF, wire.Stop()))
    counted = console.box.machine.frames.stale
    console.box.receive(encode_frame((last + 1) & 0xFFFF, wire.ClearStop()))
    assert console.box.machine.latch.stopped is stale
    assert console.box.machine.frames.stale == counted + (stale and ahead > 2)
    console.box.receive(encode_frame((last + ahead) & 0xFFFF, wire.ClearStop()))
    assert not console.box.machine.latch.stopped


def test_a_stop_works_without_a_session(cold: Any) -> None:
    assert cold.send(wire.Stop()) == wire.Ack(wire.Stop.KIND)


def test_a_stop_latches_until_it_is_cleared_and_rearms_nothing(console: Any, train: Any) -> None:
    console.configure(1, LoadClass.INJECTOR)
    console.ask(wire.Arm(Hazard.FUEL, 60_000))
    console.ask(wire.Stop())
    assert wire.Disarmed(Hazard.FUEL, DisarmReason.STOPPED) in console.heard
    assert console.refusal(train(1))[0] is Refusal.STOPPED
    console.ask(wire.Hello(1, 0, 78, 0))  # another session does not clear it
    console.beat(78)
    assert console.ask(wire.GetStatus()).state is BoxState.STOPPED
    console.ask(wire.ClearStop())
    assert console.refusal(train(1)) == (Refusal.NOT_ARMED, Hazard.FUEL)


def test_the_stop_input_stops_and_keeps_stopped_while_open(console: Any) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.run(7)
    console.box.set_stop_input(True)
    assert console.plant.on_times(1) == [(0, 7 * MS)]
    assert console.refusal(wire.ClearStop())[0] is Refusal.STOP_INPUT_OPEN
    console.box.set_stop_input(False)
    assert console.ask(wire.GetStatus()).stop_reason is StopReason.STOP_INPUT
    console.ask(wire.ClearStop())


def test_supply_loss_stops_disarms_and_is_told(console: Any) -> None:
    console.configure(1)
    console.ask(wire.Arm(Hazard.SPARK, 60_000))
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.run(7)
    console.plant.supply_v = 3.0
    console.box.supply_changed()
    console.pump()
    assert console.plant.on_times(1) == [(0, 7 * MS)]
    assert wire.Disarmed(Hazard.SPARK, DisarmReason.SUPPLY_LOST) in console.heard
    assert wire.SupplyEvent(0, 3000) in console.heard
    assert console.refusal(wire.ClearStop()) == (Refusal.SUPPLY_OUT_OF_RANGE, 3000)
    console.plant.supply_v = 13.5
    console.box.supply_changed()
    console.ask(wire.ClearStop())
    assert wire.SupplyEvent(1, 13_500) in console.heard


def test_a_hung_controller_is_reset_by_its_watchdog(console: Any) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.run(5)
    console.box.hang()
    console.run(300)
    assert console.plant.on_times(1) == [(0, 125 * MS)]  # 120 ms of watchdog
    assert console.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)
    console.ask(wire.Hello(1, 0, 9, 0))
    status = console.ask(wire.GetStatus())
    assert (status.state, status.stop_reason) == (BoxState.STOPPED, StopReason.WATCHDOG)
    assert console.ask(wire.GetConfig(1)).load_class is LoadClass.NONE


def test_the_stop_input_works_on_a_hung_controller(console: Any) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.run(5)
    console.box.hang()
    console.box.advance_to(30 * MS)
    console.box.set_stop_input(True)
    assert console.plant.on_times(1) == [(0, 30 * MS)]


def test_telemetry_comes_every_100_ms(console: Any) -> None:
    events = [event for event in console.run(1000) if isinstance(event, wire.Telemetry)]
    assert [event.uptime_ms for event in events] == list(range(100, 1001, 100))
