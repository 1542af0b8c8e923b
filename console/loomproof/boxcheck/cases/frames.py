"""Malformed frames, and sequence numbers."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.need import Need
from loomproof_wire.frames import MAX_ENCODED_BYTES, encode_frame
from loomproof_wire.messages import (
    Ack,
    Arm,
    BoxState,
    ClearStop,
    DriveEnded,
    EndReason,
    GetStatus,
    Hazard,
    Refusal,
    Refused,
    Stop,
    Stopped,
)

BOOK = CaseBook()
FRAMES = "Frames"
SEQUENCES = "Sequence numbers"
QUIET_S = 0.05


def _counted_and_dropped(fixture: Fixture, data: bytes, frames: int, what: str) -> None:
    before = fixture.status()
    sequence = fixture.sequence + 1
    fixture.line.write(data)
    reply = fixture.line.reply_to(sequence & 0xFFFF, QUIET_S)
    fixture.expect(reply is None, f"{what} was answered")
    after = fixture.status()
    counted = after.bad_frames - before.bad_frames
    fixture.expect(counted == frames, f"{what}: bad_frames went up by {counted}, not by {frames}")
    fixture.expect(after.armed_mask == 0, f"{what} was acted on: a class is armed")


def _arm_frame(fixture: Fixture) -> bytes:
    return encode_frame((fixture.sequence + 1) & 0xFFFF, Arm(Hazard.MOTION, 5000))


@BOOK.case(
    "A frame whose CRC is wrong is counted and dropped; nothing acts on it.",
    rule=FRAMES,
    mend="Check the CRC over kind, sequence and body (initial value and final XOR 0xFFFFFFFF) before "
    "the dispatcher sees anything.",
)
def corrupt_frame_dropped(fixture: Fixture) -> None:
    frame = bytearray(_arm_frame(fixture))
    for index in (1, 4, len(frame) - 3):
        spoilt = bytearray(frame)
        spoilt[index] ^= 0x10 if spoilt[index] != 0x10 else 0x20
        _counted_and_dropped(fixture, bytes(spoilt), 1, f"a frame with byte {index} changed")


@BOOK.case(
    "A frame that was cut short is counted and dropped, and the next frame is received.",
    rule=FRAMES,
    mend="Anything shorter than kind, sequence and CRC (7 bytes after COBS) is not a frame. Start afresh at every 0x00.",
)
def short_frame_dropped(fixture: Fixture) -> None:
    frame = _arm_frame(fixture)
    _counted_and_dropped(fixture, frame[:5] + b"\0", 1, "a frame cut after 5 bytes")
    _counted_and_dropped(fixture, b"\x02\x01\0", 1, "a frame of one byte")


@BOOK.case(
    "A frame that is too long is counted once and dropped, and the next frame is received.",
    rule=FRAMES,
    mend="When the receive buffer is full, drop it and wait for 0x00: never write past its end, never "
    "wrap round.",
)
def oversize_frame_dropped(fixture: Fixture) -> None:
    _counted_and_dropped(fixture, b"\x01" * (MAX_ENCODED_BYTES + 40) + b"\0", 1, "a frame of 280 bytes")
    _counted_and_dropped(fixture, b"\x55" * 1500 + b"\0", 1, "a frame of 1500 bytes")


@BOOK.case(
    "Empty runs between delimiters are ignored and not counted.",
    rule=FRAMES,
    mend="Ignore a 0x00 that ends no frame.",
)
def idle_fill_ignored(fixture: Fixture) -> None:
    _counted_and_dropped(fixture, b"\0" * 40, 0, "idle fill")


@BOOK.case(
    "It does not matter how the bytes of a frame are grouped in time.",
    rule="The line",
    mend="Take bytes as they come; use no gap between bytes to end a frame.",
)
def bytes_in_any_grouping(fixture: Fixture) -> None:
    sequence = fixture.next_sequence()
    for byte in encode_frame(sequence, GetStatus()):
        fixture.line.write(bytes([byte]))
        fixture.wait_ms(3)
    fixture.answer(sequence, "get_status, one byte every 3 ms")


@BOOK.case(
    "A request repeated with the same sequence number is answered again and not carried out again.",
    rule=SEQUENCES,
    needs=(Need.CHANNEL,),
    mend="Remember the last number and the last answer; send the answer again when the number comes again.",
)
def repeat_answered_not_executed(fixture: Fixture) -> None:
    sequence = fixture.next_sequence()
    message = fixture.train(count=1)
    fixture.line.send(message, sequence)
    fixture.answer(sequence, "drive_train")
    fixture.ended(EndReason.COMPLETE, 60, pulses=1)
    fixture.line.send(message, sequence)
    reply = fixture.answer(sequence, "the repeated drive_train")
    fixture.expect(isinstance(reply, Ack), "the repeat was not answered as the first time")
    fixture.no_event(DriveEnded, 60 + fixture.tolerance.line_ms)


@BOOK.case(
    "A refusal is remembered like any answer: its repeat is refused again, even when it could be "
    "carried out by now.",
    rule=SEQUENCES,
    needs=(Need.CHANNEL,),
    mend="Refusals count as answers; store them as well.",
    refusals=(Refusal.BUSY,),
)
def refusal_repeated(fixture: Fixture) -> None:
    fixture.accepted(fixture.hold(60))
    message = fixture.train()
    fixture.refused(message, Refusal.BUSY, fixture.channel)
    fixture.ended(EndReason.COMPLETE, 60)
    fixture.line.send(message, fixture.sequence)
    reply = fixture.answer(fixture.sequence, "the repeat")
    again = isinstance(reply, Refused) and reply.reason is Refusal.BUSY
    fixture.expect(again, "the repeat of a refused request was judged anew")


@BOOK.case(
    "An old copy of a request is counted as stale and dropped.",
    rule=SEQUENCES,
    mend="Take the difference to the last number modulo 65536; 32768 and above is stale.",
)
def stale_dropped(fixture: Fixture) -> None:
    before = fixture.status()
    for back in (1, 100, 32767):
        sequence = (fixture.sequence - back) & 0xFFFF
        fixture.line.send(Arm(Hazard.MOTION, 5000), sequence)
        fixture.expect(fixture.line.reply_to(sequence, QUIET_S) is None, f"a number {back} back was answered")
    after = fixture.status()
    fixture.expect(after.armed_mask == 0, "a stale request was carried out")
    counted = after.stale_frames - before.stale_frames
    fixture.expect(counted == 3, f"stale_frames went up by {counted}, not by 3")


@BOOK.case(
    "A number up to 32767 ahead is a new request, also across 65535.",
    rule=SEQUENCES,
    mend="Compare modulo 65536, in unsigned 16 bit arithmetic.",
)
def numbers_wrap(fixture: Fixture) -> None:
    for _ in range(3):
        fixture.sequence = (fixture.sequence + 32766) & 0xFFFF
        fixture.status()


@BOOK.case(
    "stop is obeyed with any sequence number; an old one leaves the remembered number as it was.",
    rule=SEQUENCES,
    mend="Take stop out before the sequence rule.",
)
def stop_with_any_number(fixture: Fixture) -> None:
    old = (fixture.sequence - 500) & 0xFFFF
    fixture.line.send(Stop(), old)
    fixture.expect(
        isinstance(fixture.answer(old, "stop"), Ack), "stop with an old number was not acknowledged"
    )
    fixture.event(Stopped, 0)
    fixture.status()


@BOOK.case(
    "A clear_stop that is numbered before the last stop is stale: lost before the stop and repeated after it, it does not "
    "undo it.",
    rule=SEQUENCES,
    mend="A stop has the number of the console's next request; count those before it as answered.",
)
def numbered_before_a_stop(fixture: Fixture) -> None:
    before = fixture.status()
    lost, also_lost = fixture.next_sequence(), fixture.next_sequence()
    number = (also_lost + 1) & 0xFFFF
    fixture.line.send(Stop(), number)
    fixture.expect(isinstance(fixture.answer(number, "stop"), Ack), "the stop was not acknowledged")
    fixture.event(Stopped, 0)
    for sequence in (lost, also_lost):
        fixture.line.send(ClearStop(), sequence)
        fixture.expect(
            fixture.line.reply_to(sequence, QUIET_S) is None, "a clear_stop from before the stop was answered"
        )
    after = fixture.status()
    fixture.expect(after.state is BoxState.STOPPED, "a clear_stop from before the stop undid it")
    counted = after.stale_frames - before.stale_frames
    fixture.expect(counted == 1, f"stale_frames went up by {counted}, not by 1")
    fixture.accepted(ClearStop())
