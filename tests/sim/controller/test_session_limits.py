"""Refusals of the session layer field by field, repeats and late answers, and a box that hangs."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from loomproof_sim.controller.controller import Controller
from loomproof_sim.controller.ports import NEVER_NS
from loomproof_sim.profiles import REFERENCE
from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame, encode_raw_frame
from loomproof_wire.messages import BoxState, Hazard, Refusal, StopReason

MS = 1_000_000


def replies_to(console: Any, kind: int, body: bytes, sequence: int) -> list[Any]:
    console.box.receive(encode_raw_frame(kind, sequence, body))
    return [message for number, message in console.pump() if number == sequence]


@pytest.mark.parametrize(
    ("body", "reason", "detail"),
    [
        (b"\2\0" + bytes(8), Refusal.BAD_VERSION, 1),
        (b"\2", Refusal.BAD_VERSION, 1),
        (b"", Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(7), Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(9), Refusal.UNKNOWN_MESSAGE, 0),
        (b"\1\0" + bytes(8), Refusal.OUT_OF_RANGE, 2),
    ],
    ids=["version", "version alone", "empty", "short", "long", "session 0"],
)
def test_a_hello_that_is_none_opens_no_session(cold: Any, body: bytes, reason: Refusal, detail: int) -> None:
    refused = wire.Refused(wire.Hello.KIND, reason, detail)
    assert replies_to(cold, wire.Hello.KIND, body, 7) == [refused]
    assert cold.box.session.session is None
    assert cold.refusal(wire.GetStatus()) == (Refusal.NO_SESSION, 0)


def test_a_hello_with_another_minor_version_opens_a_session(cold: Any) -> None:
    assert isinstance(cold.ask(wire.Hello(1, 9, 5, 0)), wire.Identity)
    assert cold.box.session.session == 5


@pytest.mark.parametrize(
    ("kind", "body", "reason", "detail"),
    [
        (0x3F, b"", Refusal.UNKNOWN_MESSAGE, 0),
        (0x3F, b"abc", Refusal.UNKNOWN_MESSAGE, 0),
        (wire.Arm.KIND, b"\1", Refusal.UNKNOWN_MESSAGE, 0),
        (wire.Arm.KIND, b"\1\0\1\0", Refusal.UNKNOWN_MESSAGE, 0),
        (wire.GetStatus.KIND, b"\0", Refusal.UNKNOWN_MESSAGE, 0),
        (wire.Ack.KIND, b"\1", Refusal.UNKNOWN_MESSAGE, 0),
        (wire.Arm.KIND, b"\1\1\0", Refusal.OUT_OF_RANGE, 1),
        (wire.Arm.KIND, b"\0\0\1", Refusal.OUT_OF_RANGE, 0),
        (wire.GetChannel.KIND, b"\0", Refusal.OUT_OF_RANGE, 0),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_detail(
    console: Any, kind: int, body: bytes, reason: Refusal, detail: int
) -> None:
    console.sequence += 1
    assert replies_to(console, kind, body, console.sequence) == [wire.Refused(kind, reason, detail)]


def test_a_refusal_of_the_box_has_its_own_detail(console: Any) -> None:
    assert console.refusal(wire.Sense(3, 50, 5)) == (Refusal.NOT_CONFIGURED, 3)
    assert console.refusal(wire.Sense(4, 50, 5)) == (Refusal.NOT_CONFIGURED, 4)


def test_a_heartbeat_of_another_size_is_a_bad_frame_and_no_beat(console: Any) -> None:
    for body in (b"", b"\0" * 3, b"\0" * 5):
        before = console.ask(wire.GetStatus()).bad_frames
        console.box.receive(encode_raw_frame(wire.Heartbeat.KIND, 0, body))
        assert console.ask(wire.GetStatus()).bad_frames == before + 1


def test_a_heartbeat_without_a_session_is_none(cold: Any) -> None:
    cold.beat()
    cold.ask(wire.Hello(1, 0, 77, 0))
    assert cold.refusal(wire.Arm(Hazard.FUEL, 1000)) == (Refusal.NO_HEARTBEAT, 0)


@pytest.mark.parametrize("first", [0, 1, 2, 0x7FFF, 0x8000, 0xFFFF])
def test_numbers_begin_with_that_of_the_hello(cold: Any, first: int) -> None:
    assert isinstance(cold.send(wire.Hello(1, 0, 5, 0), sequence=first), wire.Identity)
    assert isinstance(cold.send(wire.GetStatus(), sequence=(first + 1) & 0xFFFF), wire.Status)
    assert cold.send(wire.GetStatus(), sequence=first) is None
    status = cold.send(wire.GetStatus(), sequence=(first + 2) & 0xFFFF)
    assert status.stale_frames == 1


def test_a_repeated_hello_of_the_session_is_answered_again_and_changes_nothing(console: Any) -> None:
    console.ask(wire.Arm(Hazard.SPARK, 60_000))
    hello = wire.Hello(1, 0, 77, wire.SPEC_HASH)
    assert isinstance(console.ask(hello), wire.Identity)
    assert isinstance(console.send(hello, sequence=console.sequence), wire.Identity)
    assert console.send(hello, sequence=(console.sequence - 1) & 0xFFFF) is None
    status = console.ask(wire.GetStatus())
    assert (status.armed_mask, status.stale_frames) == (1 << Hazard.SPARK, 1)


def test_a_hello_of_another_session_counts_from_its_own_number(console: Any) -> None:
    console.ask(wire.Arm(Hazard.SPARK, 60_000))
    assert isinstance(console.send(wire.Hello(1, 0, 78, 0), sequence=3), wire.Identity)
    console.sequence = 3
    assert console.ask(wire.GetStatus()).armed_mask == 0


def test_a_stop_is_acknowledged_and_a_frame_that_is_none_is_counted(cold: Any) -> None:
    assert cold.send(wire.Stop()) == wire.Ack(wire.Stop.KIND)
    assert cold.box.latch.reason is StopReason.COMMAND
    cold.box.receive(b"\x05abc\0")
    cold.open()
    assert cold.ask(wire.GetStatus()).bad_frames == 1


# -- answers that come late --------------------------------------------------------------------------------


def test_a_scan_is_answered_late_and_again_when_it_is_asked_again(console: Any) -> None:
    console.configure(1)
    assert console.send(wire.Scan(1, 80)) is None
    asked = console.sequence
    assert console.send(wire.Scan(1, 80), sequence=asked) is None  # a repeat meanwhile is not carried out
    console.run(5)
    assert len(console.events(wire.ScanResult)) == 1
    assert console.send(wire.Scan(1, 80), sequence=asked) == console.events(wire.ScanResult)[0]
    assert len(console.plant.on_times(1)) == 1


def test_a_late_answer_does_not_take_the_place_of_a_newer_one(console: Any) -> None:
    console.configure(1)
    assert console.send(wire.Scan(1, 80)) is None
    assert isinstance(console.ask(wire.GetDigest()), wire.Digest)
    console.run(5)
    assert len(console.events(wire.ScanResult)) == 1
    again = console.send(wire.GetDigest(), sequence=console.sequence)
    assert isinstance(again, wire.Digest)


# -- time ----------------------------------------------------------------------------------------------------


def test_a_box_begins_at_nought_and_time_never_runs_backwards(cold: Any) -> None:
    assert cold.box.now_ns == 0
    cold.box.advance_to(0)
    cold.box.advance_to(5)
    cold.box.advance_to(5)
    with pytest.raises(ValueError, match="4 ns after 5 ns"):
        cold.box.advance_to(4)
    assert cold.box.now_ns == 5


def test_what_never_comes_is_the_end_of_all_64_bit_times() -> None:
    assert np.iinfo(np.int64).max == NEVER_NS


def test_what_is_due_at_the_very_time_happens(console: Any) -> None:
    """A pulse that ends at 1 ms is over at 1 ms; the outputs switch at their own times whatever the steps."""
    console.configure(1)
    console.ask(wire.DriveTrain(1, 1, 10_000, 1000, 0, 1, 0))
    began_ns = console.box.now_ns
    assert console.box.next_event_ns() <= began_ns + MS
    console.box.advance_to(began_ns + MS - 1)
    assert console.box.outputs.any_on
    console.box.advance_to(began_ns + MS)
    assert not console.box.outputs.any_on
    assert console.plant.on_times(1) == [(began_ns, began_ns + MS)]


def test_the_next_event_is_never_in_the_past_and_the_soonest(console: Any) -> None:
    """Telemetry each 100 ms, the heartbeat's limit 400 ms after its last, an arming at its end."""
    assert console.box.next_event_ns() == 100 * MS
    console.ask(wire.Arm(Hazard.HEAT, 150))
    console.box.advance_to(101 * MS)
    assert console.box.next_event_ns() == 150 * MS
    console.box.advance_to(150 * MS)
    assert console.box.next_event_ns() == 200 * MS
    console.box.advance_to(399 * MS)
    assert console.box.next_event_ns() == 400 * MS


def test_the_same_seed_reads_the_same_and_nought_is_that_of_a_box_without_one() -> None:
    boxes = [Controller(_NoLoom(), REFERENCE, seed=seed) for seed in (0, 1)]
    unsaid = Controller(_NoLoom(), REFERENCE)
    scales = [[box.readback.scale(n) for n in range(1, 17)] for box in (unsaid, *boxes)]
    assert scales[0] == scales[1] != scales[2]


class _NoLoom:
    """Pins with nothing on them; only boxes that are not driven stand in front of it."""

    def switch(self, channel: int, drive: Any, time_s: float) -> None:
        raise AssertionError("nothing is driven here")

    def sample(self, channel: int, time_s: float) -> Any:
        del channel, time_s
        return type("Pin", (), {"current_a": 0.0, "drain_v": 13.5, "supply_v": 13.5})()


# -- a program that hangs ---------------------------------------------------------------------------------------


def test_a_box_that_hangs_takes_nothing_until_its_watchdog_and_then_nothing_of_before(console: Any) -> None:
    console.configure(1)
    console.ask(wire.Arm(Hazard.HEAT, 60_000))
    console.ask(wire.DriveHold(1, 2000, 1, 0))
    console.run(5)
    console.box.hang()
    assert console.box.next_event_ns() == 5 * MS + REFERENCE.watchdog_ns
    assert console.send(wire.Stop()) is None
    console.box.advance_to(50 * MS)
    console.box.hang()  # it hangs already: the watchdog does not begin anew
    console.plant.supply_v = 3.0
    console.box.supply_changed()
    console.box.catch_up()
    console.plant.supply_v = 13.5
    assert console.plant.on_times(1) == [(0, None)]
    console.box.advance_to(5 * MS + REFERENCE.watchdog_ns)
    assert console.plant.on_times(1) == [(0, 5 * MS + REFERENCE.watchdog_ns)]
    assert console.box.take_output() == b""
    console.open(9)
    status = console.ask(wire.GetStatus())
    assert (status.state, status.stop_reason, status.armed_mask) == (BoxState.STOPPED, StopReason.WATCHDOG, 0)


def test_the_stop_input_stays_as_it_is_over_a_reset(console: Any) -> None:
    console.box.set_stop_input(True)
    console.box.hang()
    console.box.advance_to(console.box.now_ns + REFERENCE.watchdog_ns)
    console.open(9)
    assert console.ask(wire.GetStatus()).stop_input_open == 1
    console.box.set_stop_input(False)
    assert console.ask(wire.GetStatus()).stop_input_open == 0
    assert console.ask(wire.GetStatus()).stop_reason is StopReason.WATCHDOG


def test_letting_go_of_the_stop_input_stops_nothing(console: Any) -> None:
    console.box.set_stop_input(False)
    assert console.ask(wire.GetStatus()).state is BoxState.IDLE
    console.configure(1)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.hang()
    console.box.set_stop_input(False)
    assert console.box.outputs.any_on


@pytest.mark.parametrize("reason", [StopReason.COMMAND, StopReason.SUPPLY])
def test_its_server_stops_a_box_with_its_reason(console: Any, reason: StopReason) -> None:
    console.configure(1)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.stop(reason)
    assert not console.box.outputs.any_on
    assert console.ask(wire.GetStatus()).stop_reason is reason


def test_samples_up_to_now_count_before_the_plant_changes(console: Any) -> None:
    """A short that is there for 30 us trips, although the box is asked only after it has gone."""
    console.configure(1, max_current_ma=1000)
    console.ask(wire.DriveHold(1, 1000, 1, 0))
    console.box.advance_to(10 * MS)
    console.box.catch_up()
    console.plant.ohm[1], console.plant.henry[1] = 0.1, 1e-9
    console.box.advance_to(10 * MS + 100_000)
    console.box.catch_up()
    console.plant.ohm[1], console.plant.henry[1] = 14.0, 14e-3
    console.run(1)
    assert [trip.channel for trip in console.events(wire.Trip)] == [1]


def test_a_board_of_four_channels_says_so(new_console: Any) -> None:
    console = new_console(replace(REFERENCE, channel_count=4))
    assert console.ask(wire.Hello(1, 0, 5, 0)).channel_count == 4
    console.beat(5)
    assert console.refusal(wire.GetConfig(5)) == (Refusal.NO_SUCH_CHANNEL, 5)
    assert console.ask(wire.GetConfig(4)).channel == 4
    console.box.receive(encode_frame(console.sequence + 1, wire.Stop()))
    assert console.box.latch.stopped
