"""A channel's own limits, one channel at a time, trips, and the order in which refusals are judged."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.errors import NotShown
from loomproof.boxcheck.fixture import LOWEST_TRIP_MA, Bench
from loomproof.boxcheck.need import Need
from loomproof_wire.messages import (
    CEILINGS,
    Arm,
    Cancel,
    ChannelKind,
    Disarm,
    DriveBridge,
    DrivePeakHold,
    DriveTrain,
    EndReason,
    Hazard,
    Refusal,
    Scan,
    Sense,
    Stop,
    Trip,
    Watch,
)

BOOK = CaseBook()
GUARANTEES = "What the box guarantees"


@BOOK.case(
    "A train over the channel's on-time, duty or count is refused by that name, and at the limit it "
    "is driven.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Hold each drive against the configuration, in the order on-time, duty, count. Compute the "
    "duty in 64 bits: "
    "on_time_us * 1000 <= max_duty_permille * period_us.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_DUTY, Refusal.OVER_COUNT),
)
def train_limits(bench: Bench) -> None:
    bench.configure(max_on_time_us=3000, max_duty_permille=500, max_count=3)
    bench.refused(bench.train(on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    bench.refused(bench.train(period_us=5999, on_time_us=3000), Refusal.OVER_DUTY, 500)
    bench.refused(bench.train(count=4), Refusal.OVER_COUNT, 3)
    bench.refused(bench.train(count=4, period_us=3000, on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    bench.refused(bench.train(count=4, period_us=3000, on_time_us=3000), Refusal.OVER_DUTY, 500)
    bench.accepted(bench.train(count=3, period_us=6000, on_time_us=3000))
    bench.ended(EndReason.COMPLETE, 60, pulses=3)


def refused_too_fast(bench: Bench, drive: DrivePeakHold | DriveBridge, field: int) -> None:
    """Check that the same drive is refused when its chopping, this field of it, is a microsecond too fast."""
    values = [*drive.LAYOUT.unpack(drive.encode_body())]
    values[field] = CEILINGS.min_chop_period_us - 1
    sequence = bench.next_sequence()
    bench.line.send_raw(drive.KIND, sequence, drive.LAYOUT.pack(*values))
    name = f"{drive.NAME} chopped every {values[field]} us"
    bench.must_refuse(bench.answer(sequence, name), name, drive.KIND, Refusal.OUT_OF_RANGE, field)


@BOOK.case(
    "Peak-and-hold is held against the same limits, and its peak cannot be longer than its pulse.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="The whole on-time counts; chopping does not lengthen what is allowed.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_COUNT, Refusal.OUT_OF_RANGE),
)
def peak_hold_limits(bench: Bench) -> None:
    bench.configure(max_on_time_us=3000, max_duty_permille=500, max_count=2)

    def drive(
        count: int = 1,
        on_time_us: int = 3000,
        peak_us: int = 500,
        chop_us: int = CEILINGS.min_chop_period_us,
    ) -> DrivePeakHold:
        return DrivePeakHold(bench.channel, count, 20_000, on_time_us, peak_us, chop_us, 300, 0, 1, 0)

    bench.refused(drive(on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    bench.refused(drive(count=3), Refusal.OVER_COUNT, 2)
    bench.refused(drive(peak_us=3001), Refusal.OUT_OF_RANGE, 4)
    refused_too_fast(bench, drive(), 5)
    bench.accepted(drive(count=2))
    bench.ended(EndReason.COMPLETE, 60, pulses=2)


@BOOK.case(
    "A hold and a held watch are bounded by max_hold_ms; with 0 the channel may not be held at all.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="The detail is the ceiling in microseconds.",
    refusals=(Refusal.OVER_ON_TIME,),
)
def hold_limits(bench: Bench) -> None:
    bench.configure(max_hold_ms=50)
    bench.refused(bench.hold(51), Refusal.OVER_ON_TIME, 50_000)
    bench.refused(Watch(bench.channel, 1, 51, 1000, 500), Refusal.OVER_ON_TIME, 50_000)
    bench.accepted(bench.hold(50))
    bench.ended(EndReason.COMPLETE, 60)
    bench.configure(max_hold_ms=0)
    bench.refused(bench.hold(1), Refusal.OVER_ON_TIME, 0)


@BOOK.case(
    "A sense pulse is bounded by max_sense_us; with 0 there is none.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Sense pulses need no arming, so their bound is all that keeps them harmless.",
    refusals=(Refusal.OVER_ON_TIME,),
)
def sense_limits(bench: Bench) -> None:
    bench.configure(max_sense_us=40)
    bench.refused(Sense(bench.channel, 41, 10), Refusal.OVER_ON_TIME, 40)
    bench.configure(max_sense_us=0)
    bench.refused(Sense(bench.channel, 10, 10), Refusal.OVER_ON_TIME, 0)


@BOOK.case(
    "A drive that the channel's driver cannot make is refused with `wrong_kind`.",
    rule="Enums",
    needs=(Need.TWO,),
    mend="Only half-bridge channels take drive_bridge.",
    refusals=(Refusal.WRONG_KIND,),
)
def wrong_kind(bench: Bench) -> None:
    first, second = (subject.channel for subject in bench.subjects.switched[:2])
    if ChannelKind.HALF_BRIDGE in (bench.infos[first].channel_kind, bench.infos[second].channel_kind):
        raise NotShown("the harmless channels are half-bridges")
    bench.refused(DriveBridge(first, second, 10, 150, 100, 1, 0), Refusal.WRONG_KIND)


@BOOK.case(
    "One channel is driven at a time: a drive, sense, scan or watch meanwhile is refused with `busy`.",
    rule=GUARANTEES,
    needs=(Need.TWO,),
    mend="The detail is the channel that is being driven.",
    refusals=(Refusal.BUSY,),
)
def one_channel_at_a_time(bench: Bench) -> None:
    first, second = (subject.channel for subject in bench.subjects.switched[:2])
    bench.accepted(bench.hold(500))
    for channel in (first, second):
        for message in (
            bench.train(channel=channel),
            bench.hold(10, channel=channel),
            Sense(channel, 20, 4),
            Scan(1 << (channel - 1), 0),
            Watch(channel, 0, 10, 1000, 500),
        ):
            bench.refused(message, Refusal.BUSY, first)
    status = bench.status()
    bench.expect(
        status.driving_channel == first, f"the status names channel {status.driving_channel} as driven"
    )
    bench.ended(EndReason.COMPLETE, 500)


@BOOK.case(
    "Over-current switches the channel off and latches it; only configure clears the latch.",
    rule=GUARANTEES,
    needs=(Need.TWO,),
    mend="Compare every current sample with max_current_ma; latch per channel. If nothing trips at "
    "all, check that "
    "the load is connected and draws more than 10 mA.",
    refusals=(Refusal.TRIPPED,),
)
def trip_latches(bench: Bench) -> None:
    bench.configure(max_current_ma=LOWEST_TRIP_MA)
    bench.accepted(bench.hold(500))
    trip = bench.event(Trip, 100, channel=bench.channel)
    bench.expect(trip.current_ma >= LOWEST_TRIP_MA, f"it tripped at {trip.current_ma} mA, under its limit")
    bench.ended(EndReason.TRIPPED)
    status = bench.idle()
    bench.expect(
        status.tripped_mask == 1 << (bench.channel - 1), f"tripped_mask is {status.tripped_mask:#06x}"
    )
    for message in (bench.train(), bench.hold(10), Sense(bench.channel, 20, 4)):
        bench.refused(message, Refusal.TRIPPED)
    second = bench.subjects.switched[1].channel
    bench.accepted(bench.train(channel=second))
    bench.ended(EndReason.COMPLETE, 60)
    bench.configure()
    bench.expect(bench.status().tripped_mask == 0, "configure did not clear the latch")
    bench.accepted(bench.train())
    bench.ended(EndReason.COMPLETE, 60)


@BOOK.case(
    "A field outside its range is refused with its index, never clipped.",
    rule="Frames",
    needs=(Need.CHANNEL,),
    mend="Use the generated checks for every request.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def ranges_checked(bench: Bench) -> None:
    good = list(DriveTrain.LAYOUT.unpack(bench.train().encode_body()))
    for index, value in (
        (0, 0),
        (1, 0),
        (1, 2001),
        (2, 199),
        (2, 10_000_001),
        (3, 49),
        (3, 100_001),
        (5, 0),
        (6, 601),
    ):
        values = [*good[:index], value, *good[index + 1 :]]
        sequence = bench.next_sequence()
        bench.line.send_raw(DriveTrain.KIND, sequence, DriveTrain.LAYOUT.pack(*values))
        name = f"drive_train with field {index} = {value}"
        bench.must_refuse(bench.answer(sequence, name), name, DriveTrain.KIND, Refusal.OUT_OF_RANGE, index)
    bench.idle()


@BOOK.case(
    "Where several refusals apply, the first in the protocol's order is the one told.",
    rule="Sessions and versions",
    needs=(Need.TWO,),
    mend="Judge: version, session, known, range, channel, kind, configuration, stop, stop input, "
    "heartbeat, supply, "
    "trip, arming, busy, limits.",
    refusals=(Refusal.NOT_ARMED, Refusal.BUSY, Refusal.STOPPED, Refusal.TRIPPED),
)
def order_of_refusals(bench: Bench) -> None:
    second = bench.subjects.switched[1]
    too_long = bench.train(channel=second.channel, count=100, period_us=2001, on_time_us=2000)
    bench.accepted(bench.configuration(second, hazard=Hazard.MOTION, max_on_time_us=1000))
    bench.refused(too_long, Refusal.NOT_ARMED)
    bench.accepted(bench.hold(400))
    bench.refused(too_long, Refusal.NOT_ARMED)
    bench.arm(Hazard.MOTION)
    bench.refused(too_long, Refusal.BUSY)
    bench.accepted(Cancel())
    bench.accepted(
        bench.configuration(second, hazard=Hazard.MOTION, max_on_time_us=1000, max_current_ma=LOWEST_TRIP_MA)
    )
    bench.arm(Hazard.MOTION)
    bench.accepted(bench.hold(500, channel=second.channel))
    bench.event(Trip, 100, channel=second.channel)
    bench.accepted(Disarm(Hazard.MOTION))
    bench.refused(too_long, Refusal.TRIPPED)
    bench.accepted(Stop())
    bench.refused(too_long, Refusal.STOPPED)
    bench.refused(Arm(Hazard.FUEL, 1000), Refusal.STOPPED)
    bench.refused(Scan(0xFFFF, 100), Refusal.STOPPED)
