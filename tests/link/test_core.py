"""The core in virtual time: every instant is exact."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.link.errors import LinkLost, NoReply, RequestRefused, StopSent, Unreadable
from loomproof.link.protocol import EVENT_LIMIT, GATE_S, LinkCore
from loomproof_wire.frames import Frame, FrameReader, decode, encode_frame, encode_raw_frame
from loomproof_wire.messages import (
    PROTOCOL_MAJOR,
    SPEC_HASH,
    Ack,
    ClearStop,
    DriveTrain,
    GetChannel,
    GetStatus,
    Heartbeat,
    Hello,
    Identity,
    RangeError,
    Refusal,
    Status,
    Stop,
    Stopped,
    StopReason,
    SupplyEvent,
    Telemetry,
    Trip,
)
from loomproof_wire.messages import Refused as RefusedMessage

TRAIN = DriveTrain(3, 20, 100_000, 3000, 0, 1, 0)
HELLO = Hello(PROTOCOL_MAJOR, 0, 77, SPEC_HASH)
IDENTITY = Identity(
    PROTOCOL_MAJOR, 0, SPEC_HASH, "0.1", 1, "fake", "F-1", 1, 16, 10, 26_000, 600, "2026-01-31"
)
STATUS = Status(1, 0, StopReason.BOOT, 0, 12_500, 230, 0, 0, 0, (0,) * 5, 4, 0, 0, 0)


def telemetry(uptime_ms: int) -> Telemetry:
    return Telemetry(uptime_ms, 0, StopReason.NONE, 0, 12_500, 230, 0, 0, 0, (0,) * 5, 4, 0, 0, 0)


def sent(data: bytes) -> list[Frame]:
    found = FrameReader().feed(data)
    assert all(isinstance(frame, Frame) for frame in found)
    return found


@pytest.fixture
def live() -> LinkCore:
    """A core whose session is open, at time 0, next sequence number 1."""
    core = LinkCore()
    pending = core.begin(HELLO, 0.0)
    core.receive(encode_frame(pending.sequence, IDENTITY))
    assert pending.result() == IDENTITY
    return core


def poll_at(core: LinkCore, *times_s: float) -> list[tuple[float, bytes]]:
    return [(time_s, data) for time_s in times_s if (data := core.poll(time_s))]


def test_a_request_is_repeated_with_the_same_bytes_and_then_given_up(live):
    pending = live.begin(TRAIN, 1.0)
    repeats = poll_at(live, *[1 + ms / 1000 for ms in range(1200)])
    assert repeats == [(1.25, pending.frame), (1.5, pending.frame)]
    assert isinstance(pending.error, NoReply)
    assert pending.error.tries == 3
    with pytest.raises(NoReply, match="drive train"):
        pending.result()


def test_it_is_given_up_only_when_the_last_wait_is_over(live):
    pending = live.begin(TRAIN, 1.0)
    for time_s in (1.25, 1.5, 1.749):
        live.poll(time_s)
    assert not pending.finished
    live.poll(1.75)
    assert pending.finished


def test_own_waits_and_tries(live):
    pending = live.begin(TRAIN, 0.0, timeout_s=1.0, tries=2)
    assert [time_s for time_s, _ in poll_at(live, 0.9, 1.0, 1.9)] == [1.0]
    live.poll(2.0)
    assert pending.error.tries == 2


def test_an_answer_ends_the_repeats(live):
    pending = live.begin(TRAIN, 0.0)
    live.receive(encode_frame(pending.sequence, Ack(TRAIN.KIND)))
    assert pending.result() == Ack(TRAIN.KIND)
    assert poll_at(live, 0.25, 0.5, 5) == []


def test_a_refusal_tells_reason_and_remedy(live):
    pending = live.begin(TRAIN, 0.0)
    live.receive(encode_frame(pending.sequence, RefusedMessage(TRAIN.KIND, Refusal.OVER_DUTY, 300)))
    with pytest.raises(RequestRefused) as refused:
        pending.result()
    assert (refused.value.reason, refused.value.detail, refused.value.request_kind) == (
        Refusal.OVER_DUTY,
        300,
        TRAIN.KIND,
    )
    assert "lengthen the period" in refused.value.remedy
    assert "drive train" in str(refused.value)


@pytest.mark.parametrize(
    "stray",
    [
        lambda number: encode_frame(number + 1, Ack(TRAIN.KIND)),
        lambda number: encode_frame(number - 1, Ack(TRAIN.KIND)),
        lambda number: encode_frame(number, Ack(Stop.KIND)),
        lambda number: encode_frame(number, RefusedMessage(Stop.KIND, Refusal.BUSY, 0)),
        lambda number: encode_frame(number, STATUS),
        lambda number: encode_frame(number, TRAIN),
    ],
    ids=["ahead", "behind", "ack of a stop", "refusal of a stop", "another reply", "an echo"],
)
def test_what_does_not_answer_the_request_is_a_stray(live, stray):
    pending = live.begin(TRAIN, 0.0)
    live.receive(stray(pending.sequence))
    assert not pending.finished
    assert live.counters.stray_replies == 1
    live.receive(encode_frame(pending.sequence, Ack(TRAIN.KIND)))
    assert pending.finished


def test_a_second_copy_and_a_late_answer_are_strays(live):
    first = live.begin(GetStatus(), 0.0)
    for _ in range(2):
        live.receive(encode_frame(first.sequence, STATUS))
    second = live.begin(GetStatus(), 1.0)
    live.receive(encode_frame(first.sequence, STATUS))
    assert not second.finished
    assert live.counters.stray_replies == 2


def test_a_damaged_answer_is_no_answer(live):
    pending = live.begin(TRAIN, 0.0)
    damaged = bytearray(encode_frame(pending.sequence, Ack(TRAIN.KIND)))
    damaged[3] ^= 0x40
    live.receive(bytes(damaged))
    assert not pending.finished
    assert live.counters.bad_frames == 1
    assert live.poll(0.25) == pending.frame


def test_an_abandoned_request_is_not_repeated(live):
    pending = live.begin(TRAIN, 0.0)
    live.abandon(pending)
    assert poll_at(live, 0.25, 0.5, 0.75) == []
    assert not pending.finished
    with pytest.raises(RuntimeError):
        pending.result()


def test_a_value_out_of_range_uses_no_sequence_number(live):
    before = live.next_sequence
    with pytest.raises(RangeError):
        live.begin(GetChannel(17), 0.0)
    assert live.next_sequence == before
    assert live.begin(GetStatus(), 0.0).sequence == before


def test_sequence_numbers_wrap(live):
    live.next_sequence = 0xFFFF
    assert [live.begin(GetStatus(), 0.0).sequence for _ in range(3)] == [0xFFFF, 0, 1]


def test_a_sound_answer_of_another_version_is_told_not_waited_for(live):
    pending = live.begin(HELLO, 0.0)
    live.receive(encode_raw_frame(Identity.KIND, pending.sequence, b"\x02\x00"))
    with pytest.raises(Unreadable) as unreadable:
        pending.result()
    assert unreadable.value.body == b"\x02\x00"
    live.receive(encode_raw_frame(0x7F, 0, b""))
    assert live.counters.unreadable == 2


@given(
    pieces=st.lists(
        st.one_of(
            st.binary(max_size=300),
            st.builds(encode_raw_frame, st.integers(0, 255), st.integers(0, 3), st.binary(max_size=220)),
        ),
        max_size=20,
    )
)
def test_nothing_a_box_can_say_raises(pieces):
    core = LinkCore()
    core.receive(encode_frame(core.begin(HELLO, 0.0).sequence, IDENTITY))
    pending = core.begin(GetStatus(), 0.0)
    for piece in pieces:
        core.receive(piece)
        core.poll(0.1)
    assert pending.reply is None or isinstance(pending.reply, Status)


# --- events ------------------------------------------------------------


def test_events_come_in_order_and_gaps_and_copies_are_seen(live):
    trips = [Trip(channel, 100) for channel in range(1, 6)]
    arrived = []
    for number in (0, 1, 1, 0, 4):
        arrived += live.receive(encode_frame(number, trips[number]))
    assert arrived == [trips[0], trips[1], trips[4]] == list(live.events)
    assert live.counters.missed_events == 2
    assert live.counters.dropped_events == 2


def test_event_numbers_wrap(live):
    live._next_event = 0xFFFF
    assert len(live.receive(encode_frame(0xFFFF, Trip(1, 1)) + encode_frame(0, Trip(2, 2)))) == 2
    assert live.counters.missed_events == 0


def test_events_of_an_older_session_are_dropped(live):
    live.receive(encode_frame(0, Trip(1, 1)))
    pending = live.begin(HELLO, 0.0)
    assert live.receive(encode_frame(1, Stopped(StopReason.COMMAND))) == []
    assert not live.events
    live.receive(encode_frame(pending.sequence, IDENTITY))
    assert live.receive(encode_frame(0, SupplyEvent(0, 0))) == [SupplyEvent(0, 0)]
    assert live.counters.missed_events == 0


def test_telemetry_is_kept_only_at_its_newest_but_in_its_place(live):
    for number, event in enumerate([telemetry(1), telemetry(2), Trip(1, 1), telemetry(3), telemetry(4)]):
        assert live.receive(encode_frame(number, event)) == [event]
    assert list(live.events) == [telemetry(2), Trip(1, 1), telemetry(4)]


def test_events_nobody_takes_do_not_pile_up_for_ever(live):
    for number in range(EVENT_LIMIT + 10):
        live.receive(encode_frame(number, Trip(1, number % 1000)))
    assert len(live.events) == EVENT_LIMIT
    assert live.counters.dropped_events == 10


# --- heartbeat and its gate ------------------------------------------------------------


def heartbeats(core: LinkCore, times_s, calls_s=()) -> list[float]:
    """When heartbeats went out, polling at `times_s`, with the interface calling in at `calls_s`."""
    calls, beats = sorted(calls_s), []
    for time_s in times_s:
        while calls and calls[0] <= time_s:
            core.call_in(calls.pop(0))
        if data := core.poll(time_s):
            assert [decode(frame) for frame in sent(data)] == [Heartbeat(77)]
            beats.append(time_s)
    return beats


MILLISECONDS = [ms / 1000 for ms in range(3001)]


def test_no_heartbeat_without_a_session():
    core = LinkCore()
    core.call_in(0.0)
    assert heartbeats(core, MILLISECONDS[:1000]) == []


def test_no_heartbeat_before_the_interface_first_called_in(live):
    assert heartbeats(live, MILLISECONDS[:1000]) == []


def test_a_live_interface_gives_one_every_100_ms(live):
    beats = heartbeats(live, MILLISECONDS, [n * 0.4 for n in range(8)])
    assert beats == pytest.approx([n * 0.1 for n in range(31)])
    assert live.counters.heartbeats == 31


def test_a_frozen_interface_ends_them_within_500_ms(live):
    beats = heartbeats(live, MILLISECONDS, [0.0, 0.25])
    assert beats == pytest.approx([n * 0.1 for n in range(8)])
    assert max(beats) < 0.25 + GATE_S


def test_the_gate_is_shut_at_exactly_its_time(live):
    live.call_in(1.0)
    assert live.gate_open(1.0 + GATE_S - 1e-6)
    assert not live.gate_open(1.0 + GATE_S)


def test_they_go_on_when_the_interface_is_back(live):
    beats = heartbeats(live, MILLISECONDS, [0.0, 1.5])
    assert beats == pytest.approx([n * 0.1 for n in (*range(5), *range(15, 20))])


def test_a_late_poll_does_not_send_a_burst(live):
    assert heartbeats(live, [0.0, 0.35, 0.36, 0.37, 0.44, 0.45], [0.0]) == [0.0, 0.35, 0.45]


def test_repeats_do_not_hold_heartbeats_back(live):
    live.call_in(0.2)
    pending = live.begin(TRAIN, 0.0)
    live._heartbeat_due_s = 0.25
    assert [decode(frame) for frame in sent(live.poll(0.25))] == [Heartbeat(77), TRAIN]
    assert pending.sent == 2


@given(
    calls_ms=st.lists(st.integers(0, 5000), max_size=12),
    polls_ms=st.lists(st.integers(1, 60), min_size=20, max_size=150),
)
def test_whatever_the_timing_a_heartbeat_means_a_recent_call_and_a_recent_call_means_heartbeats(
    calls_ms, polls_ms
):
    core = LinkCore()
    core.receive(encode_frame(core.begin(HELLO, 0.0).sequence, IDENTITY))
    times = [sum(polls_ms[: n + 1]) / 1000 for n in range(len(polls_ms))]
    calls = [ms / 1000 for ms in calls_ms]
    beats = heartbeats(core, times, calls)
    for beat in beats:
        assert any(call <= beat < call + GATE_S for call in calls)
    # Polled at most 60 ms apart with the gate open, no two heartbeats are more than 160 ms apart.
    for time_s in times:
        if any(call <= time_s - 0.161 and time_s < call + GATE_S for call in calls):
            assert any(time_s - 0.1601 <= beat <= time_s for beat in beats)


def test_next_due_tells_when_to_poll(live):
    assert live.next_due_s() == -float("inf")
    live.call_in(0.0)
    live.poll(0.0)
    assert live.next_due_s() == pytest.approx(0.1)
    live.begin(TRAIN, 0.0, timeout_s=0.03)
    assert live.next_due_s() == pytest.approx(0.03)
    assert LinkCore().next_due_s() == float("inf")


# --- loss and stop ------------------------------------------------------------


def test_a_lost_port_fails_the_request_and_silences_the_link(live):
    live.call_in(0.0)
    pending = live.begin(TRAIN, 0.0)
    live.lose("unplugged")
    with pytest.raises(LinkLost, match="unplugged"):
        pending.result()
    assert poll_at(live, 0.1, 0.3, 1) == []
    with pytest.raises(LinkLost):
        live.begin(ClearStop(), 1.0)
    live.lose("again")
    assert live.lost == "unplugged"


def test_a_stop_is_understood_even_in_the_middle_of_another_frame():
    whole = encode_frame(5, TRAIN)
    for cut in range(len(whole) - 1):
        found = [f for f in FrameReader().feed(whole[:cut] + LinkCore().stop()) if isinstance(f, Frame)]
        assert [decode(frame) for frame in found] == [Stop()]


def test_a_stop_has_the_number_of_the_next_request_and_leaves_it_to_it(live):
    lost = live.begin(ClearStop(), 0.0)
    stop = sent(live.stop())[0]
    following = live.begin(ClearStop(), 0.0)
    assert stop.sequence == following.sequence == lost.sequence + 1


def test_nothing_begun_before_a_stop_is_repeated_after_it(live):
    before = live.last_stop
    pending = live.begin(ClearStop(), 0.0, after=before)
    live.stop()
    assert [decode(frame) for frame in sent(live.poll(0.25))] == []
    with pytest.raises(StopSent, match="clear stop"):
        pending.result()
    assert live.counters.resent == 0
    number = live.next_sequence
    with pytest.raises(StopSent):
        live.begin(ClearStop(), 1.0, after=before)
    assert live.next_sequence == number
    live.begin(ClearStop(), 1.0, after=live.last_stop)
    assert [decode(frame) for frame in sent(live.poll(1.25))] == [ClearStop()]


def test_a_request_begun_before_a_stop_still_takes_its_answer(live):
    pending = live.begin(TRAIN, 0.0, after=live.last_stop)
    live.stop()
    live.receive(encode_frame(pending.sequence, Ack(TRAIN.KIND)))
    assert pending.result() == Ack(TRAIN.KIND)


def test_a_stop_itself_is_repeated_whatever_stops_come(live):
    live.begin(Stop(), 0.0)
    live.stop()
    assert [decode(frame) for frame in sent(live.poll(0.25))] == [Stop()]


@pytest.mark.parametrize(
    ("request_", "reason", "repeated"),
    [
        (ClearStop(), StopReason.HEARTBEAT, False),
        (ClearStop(), StopReason.SUPPLY, False),
        (ClearStop(), StopReason.COMMAND, True),
        (GetStatus(), StopReason.HEARTBEAT, True),
    ],
)
def test_a_clear_is_not_repeated_once_the_box_has_stopped_by_itself(live, request_, reason, repeated):
    live.begin(request_, 0.0, after=live.last_stop)
    live.receive(encode_frame(0, Stopped(reason)))
    assert [decode(frame) for frame in sent(live.poll(0.25))] == ([request_] if repeated else [])
