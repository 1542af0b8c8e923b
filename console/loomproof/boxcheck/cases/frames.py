"""Frames that are none, and sequence numbers."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Bench
from loomproof.boxcheck.need import Need
from loomproof_wire.frames import MAX_ENCODED_BYTES, encode_frame
from loomproof_wire.messages import (
    Ack,
    Arm,
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


def _counted_and_dropped(bench: Bench, data: bytes, frames: int, what: str) -> None:
    before = bench.status()
    sequence = bench.sequence + 1
    bench.line.write(data)
    reply = bench.line.reply_to(sequence & 0xFFFF, QUIET_S)
    bench.expect(reply is None, f"{what} was answered")
    after = bench.status()
    counted = after.bad_frames - before.bad_frames
    bench.expect(counted == frames, f"{what}: bad_frames went up by {counted}, not by {frames}")
    bench.expect(after.armed_mask == 0, f"{what} was acted on: a class is armed")


def _arm_frame(bench: Bench) -> bytes:
    return encode_frame((bench.sequence + 1) & 0xFFFF, Arm(Hazard.MOTION, 5000))


@BOOK.case(
    "A frame whose CRC is wrong is counted and dropped; nothing acts on it.",
    rule=FRAMES,
    mend="Check the CRC over kind, sequence and body (initial value and final XOR 0xFFFFFFFF) before "
    "the dispatcher "
    "sees anything.",
)
def corrupt_frame_dropped(bench: Bench) -> None:
    frame = bytearray(_arm_frame(bench))
    for index in (1, 4, len(frame) - 3):
        spoilt = bytearray(frame)
        spoilt[index] ^= 0x10 if spoilt[index] != 0x10 else 0x20
        _counted_and_dropped(bench, bytes(spoilt), 1, f"a frame with byte {index} changed")


@BOOK.case(
    "A frame that was cut short is counted and dropped, and the next frame is heard.",
    rule=FRAMES,
    mend="Anything shorter than kind, sequence and CRC (7 bytes after COBS) is no frame. Start anew "
    "at every 0x00.",
)
def short_frame_dropped(bench: Bench) -> None:
    frame = _arm_frame(bench)
    _counted_and_dropped(bench, frame[:5] + b"\0", 1, "a frame cut after 5 bytes")
    _counted_and_dropped(bench, b"\x02\x01\0", 1, "a frame of one byte")


@BOOK.case(
    "A frame that is too long is counted once and dropped, and the next frame is heard.",
    rule=FRAMES,
    mend="When the receive buffer is full, drop it and wait for 0x00: never write past its end, "
    "never wrap round.",
)
def oversize_frame_dropped(bench: Bench) -> None:
    _counted_and_dropped(bench, b"\x01" * (MAX_ENCODED_BYTES + 40) + b"\0", 1, "a frame of 280 bytes")
    _counted_and_dropped(bench, b"\x55" * 1500 + b"\0", 1, "a frame of 1500 bytes")


@BOOK.case(
    "Empty runs between delimiters mean nothing and are not counted.",
    rule=FRAMES,
    mend="Ignore a 0x00 that ends nothing.",
)
def idle_fill_ignored(bench: Bench) -> None:
    _counted_and_dropped(bench, b"\0" * 40, 0, "idle fill")


@BOOK.case(
    "It does not matter how the bytes of a frame are grouped in time.",
    rule="The line",
    mend="Take bytes as they come; use no gap between bytes to end a frame.",
)
def bytes_in_any_grouping(bench: Bench) -> None:
    sequence = bench.next_sequence()
    for byte in encode_frame(sequence, GetStatus()):
        bench.line.write(bytes([byte]))
        bench.wait_ms(3)
    bench.answer(sequence, "get_status, one byte every 3 ms")


@BOOK.case(
    "A request repeated with the same sequence number is answered again and not carried out again.",
    rule=SEQUENCES,
    needs=(Need.CHANNEL,),
    mend="Remember the last number and the last answer; send the answer again when the number comes again.",
)
def repeat_answered_not_executed(bench: Bench) -> None:
    sequence = bench.next_sequence()
    message = bench.train(count=1)
    bench.line.send(message, sequence)
    bench.answer(sequence, "drive_train")
    bench.ended(EndReason.COMPLETE, 60, pulses=1)
    bench.line.send(message, sequence)
    reply = bench.answer(sequence, "the repeated drive_train")
    bench.expect(isinstance(reply, Ack), "the repeat was not answered as the first time")
    bench.no_event(DriveEnded, 60 + bench.tolerance.line_ms)


@BOOK.case(
    "A refusal is remembered like any answer: its repeat is refused again, even when it could be "
    "carried out by now.",
    rule=SEQUENCES,
    needs=(Need.CHANNEL,),
    mend="Refusals count as answers; store them as well.",
)
def refusal_repeated(bench: Bench) -> None:
    bench.configure(hazard=Hazard.MOTION)
    message = bench.train()
    bench.refused(message, Refusal.NOT_ARMED, Hazard.MOTION)
    bench.line.send(message, bench.sequence)
    reply = bench.answer(bench.sequence, "the repeat")
    bench.expect(isinstance(reply, Refused), "the repeat of a refused request was carried out")


@BOOK.case(
    "An old copy of a request is counted as stale and dropped.",
    rule=SEQUENCES,
    mend="Take the difference to the last number modulo 65536; 32768 and above is stale.",
)
def stale_dropped(bench: Bench) -> None:
    before = bench.status()
    for back in (1, 100, 32767):
        sequence = (bench.sequence - back) & 0xFFFF
        bench.line.send(Arm(Hazard.MOTION, 5000), sequence)
        bench.expect(bench.line.reply_to(sequence, QUIET_S) is None, f"a number {back} back was answered")
    after = bench.status()
    bench.expect(after.armed_mask == 0, "a stale request was carried out")
    counted = after.stale_frames - before.stale_frames
    bench.expect(counted == 3, f"stale_frames went up by {counted}, not by 3")


@BOOK.case(
    "A number up to 32767 ahead is a new request, also across 65535.",
    rule=SEQUENCES,
    mend="Compare modulo 65536, in unsigned 16 bit arithmetic.",
)
def numbers_wrap(bench: Bench) -> None:
    for _ in range(3):
        bench.sequence = (bench.sequence + 32766) & 0xFFFF
        bench.status()


@BOOK.case(
    "stop is obeyed with any sequence number and leaves the remembered number as it was.",
    rule=SEQUENCES,
    mend="Take stop out before the sequence rule.",
)
def stop_with_any_number(bench: Bench) -> None:
    old = (bench.sequence - 500) & 0xFFFF
    bench.line.send(Stop(), old)
    bench.expect(isinstance(bench.answer(old, "stop"), Ack), "stop with an old number was not acknowledged")
    bench.event(Stopped, 0)
    bench.status()
