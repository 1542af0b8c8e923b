"""Scan and watch."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Bench
from loomproof.boxcheck.hands import Act
from loomproof.boxcheck.need import Need
from loomproof_wire.messages import (
    BoxState,
    Cancel,
    DriveEnded,
    Dropout,
    EndReason,
    Scan,
    ScanResult,
    Watch,
)

BOOK = CaseBook()
LOOKING = "Scan and watch"


@BOOK.case(
    "A scan reads the channels of its mask, senses those whose configuration allows it, and leaves "
    "the rest zero.",
    rule=LOOKING,
    needs=(Need.TWO,),
    mend="Resting voltage first, then the pulse, one channel after another; cap each pulse by max_sense_us.",
)
def scan_reads(bench: Bench) -> None:
    first, second = bench.subjects.switched[:2]
    bench.accepted(bench.configuration(second, max_sense_us=0))
    mask = 1 << (first.channel - 1) | 1 << (second.channel - 1)
    result = bench.get(Scan(mask, 60), ScanResult)
    bench.expect(result.mask == mask, f"mask {result.mask:#06x}, not {mask:#06x}")
    bench.expect(
        result.sensed_mask == 1 << (first.channel - 1),
        f"sensed_mask {result.sensed_mask:#06x}: channel {second.channel} may not be sensed",
    )
    for index, counts in enumerate(
        zip(result.drain_counts, result.fine_counts, result.wide_counts, strict=True)
    ):
        if not mask >> index & 1:
            bench.expect(not any(counts), f"channel {index + 1} is outside the mask and reads {counts}")
    info = bench.infos[first.channel]
    drain_v = result.drain_counts[first.channel - 1] * info.drain_uv_per_count / 1e6
    supply_v = bench.status().supply_mv / 1000
    bench.between(
        f"the resting drain of channel {first.channel}", drain_v, 0.85 * supply_v, 1.1 * supply_v, "V"
    )
    bench.idle()


@BOOK.case(
    "A scan with on_time_us 0 energises nothing.",
    rule=LOOKING,
    mend="Read the drain dividers only.",
)
def scan_at_rest(bench: Bench) -> None:
    result = bench.get(Scan(0xFFFF, 0), ScanResult)
    bench.expect(result.sensed_mask == 0, f"sensed_mask is {result.sensed_mask:#06x}")
    bench.expect(not any(result.fine_counts), "there are current readings in a scan without pulses")


@BOOK.case(
    "A watch lasts as long as asked, is seen as `sensing`, and ends with drive_ended; cancel ends it early.",
    rule=LOOKING,
    needs=(Need.CHANNEL,),
    mend="A watch is a drive as far as busy, cancel and drive_ended go.",
)
def watch_ends(bench: Bench) -> None:
    for held in (0, 1):
        bench.accepted(Watch(bench.channel, held, 250, 2000, 500))
        bench.expect(bench.status().state is BoxState.SENSING, "the status does not say `sensing`")
        bench.no_event(DriveEnded, 150)
        bench.ended(EndReason.COMPLETE, 120)
        bench.accepted(Watch(bench.channel, held, 1000, 2000, 500))
        bench.accepted(Cancel())
        bench.ended(EndReason.CANCELLED)
    bench.idle()


@BOOK.case(
    "A load that lets go during a watch is reported when it is back, with its length.",
    rule=LOOKING,
    needs=(Need.CHANNEL, Need.CONNECTOR),
    mend="Learn the settled value first, then report every fall by more than depth_permille of it.",
)
def watch_reports_dropouts(bench: Bench) -> None:
    bench.accepted(Watch(bench.channel, 0, 60_000, 2000, 300))
    bench.wait_ms(300)
    bench.ask_hands(Act.PULL, bench.channel)
    bench.wait_ms(200 + 500 * bench.hands.patience_s)
    bench.ask_hands(Act.SEAT, bench.channel)
    dropout = bench.event(Dropout, 300 + bench.hands.patience_s * 1000, channel=bench.channel)
    bench.expect(dropout.depth_permille >= 300, f"a depth of {dropout.depth_permille} permille is reported")
    bench.expect(dropout.length_us > 0, "a dropout of no length is reported")
    bench.accepted(Cancel())
    bench.ended(EndReason.CANCELLED)
