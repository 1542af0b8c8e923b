"""The state machine's instants: what is due when, hang and watchdog, stop input, sessions, status."""

import pytest

from loomproof_sim.controller.ports import NEVER_NS, Outputs
from loomproof_sim.plant.spec import Drive
from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame, encode_raw_frame
from loomproof_wire.messages import BoxState, DisarmReason, EndReason, Hazard, Refusal, StopReason

MS, US = 1_000_000, 1000


# -- time ---------------------------------------------------------------------------------------------


def test_time_does_not_run_backwards(console):
    console.box.advance_to(5)
    console.box.advance_to(5)
    with pytest.raises(ValueError, match="backwards"):
        console.box.advance_to(4)
    assert console.box.now_ns == 5


def test_a_box_nobody_spoke_to_has_nothing_to_do(cold):
    assert cold.box.next_event_ns() == NEVER_NS


def test_the_next_event_is_the_earliest_of_all(console):
    console.configure(1)
    console.box.advance_to(95 * MS)
    console.beat()
    console.ask(wire.Arm(Hazard.HEAT, 100))
    assert console.box.next_event_ns() == 100 * MS  # telemetry
    console.box.advance_to(100 * MS)
    assert console.box.next_event_ns() == 195 * MS  # the arming
    console.ask(wire.DriveHold(1, 10, 1, 0))
    assert console.box.next_event_ns() == 110 * MS  # the hold
    console.box.advance_to(195 * MS)
    console.box.machine.telemetry.begin(10**18)
    assert console.box.next_event_ns() == 495 * MS  # the heartbeat


def test_what_is_due_at_an_instant_happens_when_it_is_reached(console):
    console.ask(wire.Arm(Hazard.HEAT, 100))
    console.box.advance_to(100 * MS - 1)
    console.pump()
    assert console.events(wire.Disarmed) == []
    console.box.advance_to(100 * MS)
    console.pump()
    assert console.events(wire.Disarmed) == [wire.Disarmed(Hazard.HEAT, DisarmReason.EXPIRED)]


def test_a_heartbeat_missing_for_400_ms_stops_at_that_very_instant(console):
    console.configure(1, max_hold_ms=10_000)
    console.ask(wire.DriveHold(1, 5000, 1, 0))
    console.box.advance_to(400 * MS - 1)
    assert console.box.outputs.any_on
    console.box.advance_to(400 * MS)
    assert not console.box.outputs.any_on
    assert console.box.machine.state is BoxState.STOPPED
    assert console.box.latch.reason is StopReason.HEARTBEAT


# -- hanging ------------------------------------------------------------------------------------------


def test_a_hung_box_hears_nothing_and_is_reset_by_its_watchdog_120_ms_later(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.box.advance_to(5 * MS)
    console.box.hang()
    assert console.box.next_event_ns() == 125 * MS
    console.box.advance_to(50 * MS)
    console.box.hang()  # hanging twice hangs no longer
    assert console.box.next_event_ns() == 125 * MS
    console.pump()
    assert console.send(wire.Stop()) is None
    console.plant.supply_v = 3.0
    console.box.supply_changed()
    console.plant.supply_v = 13.5
    console.box.advance_to(125 * MS - 1)
    assert console.box.outputs.any_on
    console.box.advance_to(125 * MS)
    assert console.plant.on_times(1) == [(0, 125 * MS)]
    assert console.box.latch.reason is StopReason.WATCHDOG
    assert console.box.next_event_ns() == NEVER_NS


def test_a_reset_box_has_forgotten_everything_but_its_stop_input(console):
    console.configure(1)
    console.ask(wire.Arm(Hazard.HEAT, 60_000))
    console.box.machine.parts.tripped.add(3)
    console.box.latch.input_open = True
    console.box.hang()
    console.box.advance_to(200 * MS)
    assert console.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)
    console.open(9)
    status = console.ask(wire.GetStatus())
    assert (status.stop_reason, status.stop_input_open) == (StopReason.WATCHDOG, 1)
    assert (status.armed_mask, status.tripped_mask) == (0, 0)
    assert status.uptime_ms == 80  # since the reset
    assert status.supply_mv == 13_500


def test_the_stop_input_cuts_the_outputs_of_a_hung_box_and_only_when_it_opens(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.box.advance_to(5 * MS)
    console.box.hang()
    console.box.advance_to(10 * MS)
    console.box.set_stop_input(False)
    assert console.box.outputs.any_on
    console.box.set_stop_input(True)
    assert console.plant.on_times(1) == [(0, 10 * MS)]
    assert console.box.latch.reason is StopReason.NONE  # the program stands still


def test_releasing_the_stop_input_stops_nothing(console):
    console.configure(1)
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.box.set_stop_input(False)
    assert console.box.outputs.any_on
    assert console.box.latch.reason is StopReason.NONE


# -- stopping and sessions ----------------------------------------------------------------------------


def test_a_stop_is_told_once_and_its_first_reason_stays(console):
    console.box.set_stop_input(True)
    console.ask(wire.Stop())
    assert console.events(wire.Stopped) == [wire.Stopped(StopReason.STOP_INPUT)]
    assert console.ask(wire.GetStatus()).stop_reason is StopReason.STOP_INPUT


def test_a_stopped_drive_ends_before_its_disarming_is_told(console):
    console.configure(1, wire.LoadClass.MOTOR)
    console.ask(wire.Arm(Hazard.MOTION, 60_000))
    console.ask(wire.DriveHold(1, 100, 1, 0))
    before = len(console.heard)
    console.ask(wire.Stop())
    assert console.heard[before:] == [
        wire.DriveEnded(1, 0, EndReason.STOPPED),
        wire.Disarmed(Hazard.MOTION, DisarmReason.STOPPED),
        wire.Stopped(StopReason.COMMAND),
        wire.Ack(wire.Stop.KIND),
    ]


@pytest.mark.parametrize(("hazard", "ends"), [(Hazard.MOTION, True), (Hazard.HEAT, False)])
def test_only_the_drive_that_needs_a_lost_arming_ends(console, hazard, ends):
    console.configure(1, wire.LoadClass.MOTOR)
    for armed in (Hazard.MOTION, Hazard.HEAT):
        console.ask(wire.Arm(armed, 60_000))
    console.ask(wire.DriveHold(1, 100, 1, 0))
    console.ask(wire.Disarm(hazard))
    assert console.box.outputs.any_on is not ends
    assert (console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.DISARMED)]) is ends


def test_a_new_session_ends_everything_unheard(console):
    console.configure(1, wire.LoadClass.MOTOR)
    console.ask(wire.Arm(Hazard.MOTION, 60_000))
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.advance_to(30 * MS)
    console.pump()
    before = len(console.heard)
    console.ask(wire.Hello(1, 0, 5, 0))
    assert console.plant.on_times(1) == [(0, 30 * MS)]
    new = console.heard[before:]
    assert [type(message) for message in new] == [wire.Disarmed, wire.Identity]
    assert new[0] == wire.Disarmed(Hazard.MOTION, DisarmReason.NEW_SESSION)
    assert not console.box.machine.heartbeat.alive
    assert console.box.machine.telemetry.next_ns() == 130 * MS
    assert console.ask(wire.GetConfig(1)).load_class is wire.LoadClass.MOTOR


def test_the_same_session_greeted_again_changes_nothing(console):
    console.ask(wire.Arm(Hazard.HEAT, 60_000))
    console.ask(wire.Hello(1, 0, 77, wire.SPEC_HASH))
    assert console.box.machine.heartbeat.alive
    assert console.ask(wire.GetStatus()).armed_mask == 1 << Hazard.HEAT


def test_events_are_counted_from_nought_in_each_session(console):
    console.configure(1)
    for session in (5, 6):
        console.ask(wire.Hello(1, 0, session, 0))
        console.beat(session)
        console.ask(wire.Arm(Hazard.HEAT, 1000))
        console.box.receive(encode_frame(1, wire.Stop()))
        events = [(number, m) for number, m in console.pump() if isinstance(m, wire.Disarmed | wire.Stopped)]
        assert [number for number, _ in events] == [0, 1]
        console.ask(wire.ClearStop())


# -- the supply ---------------------------------------------------------------------------------------


def test_a_supply_that_goes_ends_the_drive_disarms_and_stops_in_that_order(console):
    console.configure(1)
    console.ask(wire.Arm(Hazard.SPARK, 60_000))
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.advance_to(7 * MS)
    console.pump()
    before = len(console.heard)
    console.plant.supply_v = 3.0
    console.box.supply_changed()
    console.pump()
    assert console.heard[before:] == [
        wire.DriveEnded(1, 0, EndReason.STOPPED),
        wire.Disarmed(Hazard.SPARK, DisarmReason.SUPPLY_LOST),
        wire.Stopped(StopReason.SUPPLY),
        wire.SupplyEvent(0, 3000),
    ]


def test_a_supply_that_moves_within_its_range_is_no_event(console):
    for supply_v in (6.0, 18.0, 12.0):
        console.plant.supply_v = supply_v
        console.box.supply_changed()
    console.pump()
    assert console.events(wire.SupplyEvent) == console.events(wire.Stopped) == []


def test_a_supply_that_comes_back_is_told_and_clears_nothing(console):
    console.plant.supply_v = 3.0
    console.box.supply_changed()
    console.plant.supply_v = 13.5
    console.box.supply_changed()
    console.pump()
    assert console.events(wire.SupplyEvent) == [wire.SupplyEvent(0, 3000), wire.SupplyEvent(1, 13_500)]
    assert console.box.machine.state is BoxState.STOPPED


# -- the status ---------------------------------------------------------------------------------------


def test_the_status_says_everything(console):
    console.box.machine.parts.tripped.update((1, 16))
    console.ask(wire.Arm(Hazard.HEAT, 2000))
    console.box.advance_to(1234 * US)
    status = console.ask(wire.GetStatus())
    assert status == wire.Status(
        uptime_ms=1,
        state=BoxState.IDLE,
        stop_reason=StopReason.NONE,
        stop_input_open=0,
        supply_mv=13_500,
        board_temperature_dc=310,
        driving_channel=0,
        tripped_mask=0b1000_0000_0000_0001,
        armed_mask=1 << Hazard.HEAT,
        armed_left_ms=(0, 0, 0, 0, 1999),
        free_traces=8,
        bad_frames=0,
        stale_frames=0,
        overruns=0,
    )


def test_uptime_counts_milliseconds_of_32_bits(console):
    console.box.machine.heartbeat.forget()
    console.box.machine.telemetry.begin(10**18)
    console.box.advance_to((2**32 + 7) * MS + MS - 1)
    assert console.ask(wire.GetStatus()).uptime_ms == 7


# -- frames -------------------------------------------------------------------------------------------


def test_a_greeting_out_of_range_or_of_another_size_opens_nothing(cold):
    cold.sequence += 1
    for body, reason in (
        (wire.Hello(1, 0, 1, 0).encode_body()[:-1], Refusal.UNKNOWN_MESSAGE),
        (b"", Refusal.UNKNOWN_MESSAGE),
        (wire.Hello(1, 0, 1, 0).encode_body()[:2] + bytes(8), Refusal.OUT_OF_RANGE),
    ):
        cold.box.receive(encode_raw_frame(wire.Hello.KIND, cold.sequence, body))
        ((_, reply),) = cold.pump()
        assert (reply.request_kind, reply.reason) == (wire.Hello.KIND, reason)
    assert cold.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)


def test_a_heartbeat_of_another_size_is_a_bad_frame(console):
    console.box.receive(encode_raw_frame(wire.Heartbeat.KIND, 0, b"\x01"))
    assert console.ask(wire.GetStatus()).bad_frames == 1


def test_a_heartbeat_without_a_session_counts_for_nothing(cold):
    for session in (0, 77):
        cold.box.receive(encode_raw_frame(wire.Heartbeat.KIND, 0, session.to_bytes(4, "little")))
    assert not cold.box.machine.heartbeat.alive


@pytest.mark.parametrize("name", ["bad", "stale"])
def test_counters_stay_at_their_end(console, name):
    setattr(console.box.machine.frames, name, 0xFFFE)
    for expected in (0xFFFF, 0xFFFF):
        if name == "bad":
            console.box.receive(encode_raw_frame(wire.Heartbeat.KIND, 0, b"\x01"))
        else:
            assert console.send(wire.GetStatus(), sequence=(console.sequence - 1) & 0xFFFF) is None
        assert getattr(console.box.machine.frames, name) == expected


def test_a_repeated_scan_is_not_answered_before_its_result_and_answered_again_after_it(console):
    console.configure(1)
    assert console.send(wire.Scan(1, 50)) is None
    sequence = console.sequence
    assert console.send(wire.Scan(1, 50), sequence=sequence) is None
    console.run(5)
    (result,) = console.events(wire.ScanResult)
    assert console.send(wire.Scan(1, 50), sequence=sequence) == result
    assert len(console.plant.on_times(1)) == 1


def test_a_late_answer_is_not_taken_for_that_of_a_newer_request(console):
    console.configure(1)
    console.send(wire.Scan(1, 50))
    console.ask(wire.GetDigest())
    digest = console.heard[-1]
    console.run(5)
    assert console.send(wire.GetDigest(), sequence=console.sequence) == digest


# -- outputs ------------------------------------------------------------------------------------------


def test_outputs_switch_off_whatever_is_on_and_only_that(console):
    outputs = Outputs(console.plant, 16)
    assert not outputs.any_on
    outputs.set(3, Drive.ON, 5)
    outputs.set(16, Drive.LOW, 6)
    assert outputs.any_on
    assert (outputs.drive(3), outputs.drive(16), outputs.drive(1)) == (Drive.ON, Drive.LOW, Drive.OFF)
    outputs.all_off(7)
    outputs.all_off(8)
    assert console.plant.log == [(5, 3, Drive.ON), (6, 16, Drive.LOW), (7, 3, Drive.OFF), (7, 16, Drive.OFF)]
    assert not outputs.any_on
