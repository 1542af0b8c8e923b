"""Scan and watch."""

from loomproof.boxcheck.attendant import Act
from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
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
    "A scan reads the channels of its mask, senses those whose configuration allows it, and leaves the "
    "rest zero.",
    rule=LOOKING,
    needs=(Need.TWO,),
    mend="Resting voltage first, then the pulse, one channel after another; cap each pulse by max_sense_us.",
)
def scan_reads(fixture: Fixture) -> None:
    first, second = fixture.subjects.switched[:2]
    fixture.accepted(fixture.configuration(second, max_sense_us=0))
    mask = 1 << (first.channel - 1) | 1 << (second.channel - 1)
    result = fixture.get(Scan(mask, 60), ScanResult)
    fixture.expect(result.mask == mask, f"mask {result.mask:#06x}, not {mask:#06x}")
    fixture.expect(
        result.sensed_mask == 1 << (first.channel - 1),
        f"sensed_mask {result.sensed_mask:#06x}: channel {second.channel} may not be sensed",
    )
    for index, counts in enumerate(
        zip(result.drain_counts, result.fine_counts, result.wide_counts, strict=True)
    ):
        if not mask >> index & 1:
            fixture.expect(not any(counts), f"channel {index + 1} is outside the mask and reads {counts}")
    info = fixture.infos[first.channel]
    drain_v = result.drain_counts[first.channel - 1] * info.drain_uv_per_count / 1e6
    supply_v = fixture.status().supply_mv / 1000
    fixture.between(
        f"the resting drain of channel {first.channel}", drain_v, 0.85 * supply_v, 1.1 * supply_v, "V"
    )
    fixture.idle()


@BOOK.case(
    "A scan with on_time_us 0 energises nothing.",
    rule=LOOKING,
    mend="Read the drain dividers only.",
)
def scan_at_rest(fixture: Fixture) -> None:
    result = fixture.get(Scan(0xFFFF, 0), ScanResult)
    fixture.expect(result.sensed_mask == 0, f"sensed_mask is {result.sensed_mask:#06x}")
    fixture.expect(not any(result.fine_counts), "there are current readings in a scan without pulses")


@BOOK.case(
    "A watch lasts as long as asked, is seen as `sensing`, and ends with drive_ended; cancel ends it early.",
    rule=LOOKING,
    needs=(Need.CHANNEL,),
    mend="Treat a watch as a drive for busy, cancel and drive_ended.",
)
def watch_ends(fixture: Fixture) -> None:
    for held in (0, 1):
        fixture.accepted(Watch(fixture.channel, held, 250, 2000, 500))
        fixture.expect(fixture.status().state is BoxState.SENSING, "the status does not say `sensing`")
        fixture.no_event(DriveEnded, 150)
        fixture.ended(EndReason.COMPLETE, 120)
        fixture.accepted(Watch(fixture.channel, held, 1000, 2000, 500))
        fixture.accepted(Cancel())
        fixture.ended(EndReason.CANCELLED)
    fixture.idle()


@BOOK.case(
    "A contact that opens during a watch is reported when it closes again, with the length of the dropout.",
    rule=LOOKING,
    needs=(Need.CHANNEL, Need.CONNECTOR),
    mend="Learn the settled value first, then report every fall by more than depth_permille of it.",
)
def watch_reports_dropouts(fixture: Fixture) -> None:
    fixture.accepted(Watch(fixture.channel, 0, 60_000, 2000, 300))
    fixture.wait_ms(300)
    fixture.ask_attendant(Act.PULL, fixture.channel)
    fixture.wait_ms(200 + 500 * fixture.attendant.patience_s)
    fixture.ask_attendant(Act.SEAT, fixture.channel)
    dropout = fixture.event(Dropout, 300 + fixture.attendant.patience_s * 1000, channel=fixture.channel)
    fixture.expect(dropout.depth_permille >= 300, f"a depth of {dropout.depth_permille} permille is reported")
    fixture.expect(dropout.length_us > 0, "a dropout of no length is reported")
    fixture.accepted(Cancel())
    fixture.ended(EndReason.CANCELLED)
