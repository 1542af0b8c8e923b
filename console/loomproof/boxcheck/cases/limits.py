"""Limits of a channel, one channel at a time, trips, and the order in which refusals are judged."""

from collections.abc import Callable

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import LOWEST_TRIP_MA, Fixture
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import NotShown
from loomproof.facts.kinds import LoadKind
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof_wire.messages import (
    CEILINGS,
    Arm,
    Cancel,
    ChannelKind,
    ClearStop,
    Disarm,
    DriveBridge,
    DrivePeakHold,
    DriveTrain,
    EndReason,
    Hazard,
    LoadClass,
    Refusal,
    Refused,
    Scan,
    Sense,
    Stop,
    Trip,
    Watch,
)

BOOK = CaseBook()
GUARANTEES = "What the box guarantees"


@BOOK.case(
    "A train over the channel's on-time, duty or count is refused with that reason; at the limit it is "
    "driven.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Hold each drive against the configuration, in the order on-time, duty, count. Compute the "
    "duty in 64 bits: on_time_us * 1000 <= max_duty_permille * period_us.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_DUTY, Refusal.OVER_COUNT),
)
def train_limits(fixture: Fixture) -> None:
    fixture.configure(max_on_time_us=3000, max_duty_permille=500, max_count=3)
    fixture.refused(fixture.train(on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    fixture.refused(fixture.train(period_us=5999, on_time_us=3000), Refusal.OVER_DUTY, 500)
    fixture.refused(fixture.train(count=4), Refusal.OVER_COUNT, 3)
    fixture.refused(fixture.train(count=4, period_us=3000, on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    fixture.refused(fixture.train(count=4, period_us=3000, on_time_us=3000), Refusal.OVER_DUTY, 500)
    fixture.accepted(fixture.train(count=3, period_us=6000, on_time_us=3000))
    fixture.ended(EndReason.COMPLETE, 60, pulses=3)


def refused_too_fast(fixture: Fixture, drive: DrivePeakHold | DriveBridge, field: int) -> None:
    """Check that a drive is refused when its chop period, the given field, is a microsecond too short."""
    values = [*drive.LAYOUT.unpack(drive.encode_body())]
    values[field] = CEILINGS.min_chop_period_us - 1
    sequence = fixture.next_sequence()
    fixture.line.send_raw(drive.KIND, sequence, drive.LAYOUT.pack(*values))
    name = f"{drive.NAME} chopped every {values[field]} us"
    fixture.must_refuse(fixture.answer(sequence, name), name, drive.KIND, Refusal.OUT_OF_RANGE, field)


@BOOK.case(
    "Peak-and-hold is held against the same limits, and its peak cannot be longer than its pulse.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="The whole on-time counts; chopping does not lengthen what is allowed.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_COUNT, Refusal.OUT_OF_RANGE),
)
def peak_hold_limits(fixture: Fixture) -> None:
    fixture.configure(max_on_time_us=3000, max_duty_permille=500, max_count=2)

    def drive(
        count: int = 1,
        on_time_us: int = 3000,
        peak_us: int = 500,
        chop_us: int = CEILINGS.min_chop_period_us,
    ) -> DrivePeakHold:
        return DrivePeakHold(fixture.channel, count, 20_000, on_time_us, peak_us, chop_us, 300, 0, 1, 0)

    fixture.refused(drive(on_time_us=3001), Refusal.OVER_ON_TIME, 3000)
    fixture.refused(drive(count=3), Refusal.OVER_COUNT, 2)
    fixture.refused(drive(peak_us=3001), Refusal.OUT_OF_RANGE, 4)
    refused_too_fast(fixture, drive(), 5)
    fixture.accepted(drive(count=2))
    fixture.ended(EndReason.COMPLETE, 60, pulses=2)


@BOOK.case(
    "A hold and a held watch are bounded by max_hold_ms; with 0 the channel may not be held at all.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="The detail is the ceiling in microseconds.",
    refusals=(Refusal.OVER_ON_TIME,),
)
def hold_limits(fixture: Fixture) -> None:
    fixture.configure(max_hold_ms=50)
    fixture.refused(fixture.hold(51), Refusal.OVER_ON_TIME, 50_000)
    fixture.refused(Watch(fixture.channel, 1, 51, 1000, 500), Refusal.OVER_ON_TIME, 50_000)
    fixture.accepted(fixture.hold(50))
    fixture.ended(EndReason.COMPLETE, 60)
    fixture.configure(max_hold_ms=0)
    fixture.refused(fixture.hold(1), Refusal.OVER_ON_TIME, 0)


@BOOK.case(
    "Each load class has ceilings of its own: a coil or an injector is never held, and one pulse takes no more energy "
    "than its class bears.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Hold `configure` against the row of its load class. A longer pulse is allowed at a lower current limit.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_DUTY),
)
def class_ceilings(fixture: Fixture) -> None:
    for load in LoadKind:
        own = LOAD_TRAITS[load].ceilings
        within = {
            "load_class": LoadClass[load.name],
            "max_current_ma": 200,
            "max_on_time_us": min(20_000, own.longest_us(200)),
            "max_hold_ms": min(1000, own.hold_ms),
            "max_duty_permille": min(800, own.duty_percent * 10),
        }

        def over(reason: Refusal, detail: int, within: dict[str, int] = within, **limits: int) -> None:
            fixture.refused(fixture.configuration(fixture.subject, **(within | limits)), reason, detail)

        if own.hold_ms < CEILINGS.max_hold_ms:
            over(Refusal.OVER_ON_TIME, own.hold_ms * 1000, max_hold_ms=own.hold_ms + 1)
        if own.on_time_ms * 1000 < CEILINGS.max_on_time_us:
            over(Refusal.OVER_ON_TIME, own.longest_us(200), max_on_time_us=own.longest_us(200) + 1)
        if own.duty_percent * 10 < CEILINGS.max_duty_permille:
            over(Refusal.OVER_DUTY, own.duty_percent * 10, max_duty_permille=own.duty_percent * 10 + 1)
        if own.pulse_energy_mj:
            most_ma = fixture.infos[fixture.channel].max_current_ma
            longest_us = own.longest_us(most_ma)
            over(Refusal.OVER_ON_TIME, longest_us, max_current_ma=most_ma, max_on_time_us=longest_us + 1)
        fixture.accepted(fixture.configuration(fixture.subject, **within))


@BOOK.case(
    "A channel rests after a drive that was cut short: cancel, stop, configure or hello and drive again does not exceed "
    "its duty.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Keep the end of the rest with the channel, not with the drive or its configuration.",
    refusals=(Refusal.RESTING,),
)
def rest_kept(fixture: Fixture) -> None:
    def by_stop() -> None:
        fixture.accepted(Stop())
        fixture.accepted(ClearStop())

    betweens: tuple[Callable[[], None], ...] = (lambda: fixture.accepted(Cancel()), by_stop, fixture.fresh)
    for between in betweens:
        fixture.configure(max_duty_permille=100)
        fixture.accepted(fixture.hold(1000))
        fixture.wait_ms(60)
        between()
        fixture.configure()
        reply = fixture.ask_at_once(fixture.train())
        fixture.must_refuse(reply, "drive_train", DriveTrain.KIND, Refusal.RESTING)
        left_ms = reply.detail if isinstance(reply, Refused) else 0
        fixture.between("the rest", left_ms, 300, 10 * (200 + 2 * fixture.tolerance.line_ms), "ms")
        fixture.wait_ms(left_ms / 2)
        fixture.must_refuse(
            fixture.ask_at_once(fixture.train()), "drive_train", DriveTrain.KIND, Refusal.RESTING
        )
        fixture.wait_ms(left_ms / 2 + 2)
        fixture.line.clear()
        fixture.accepted(fixture.train())
        fixture.ended(EndReason.COMPLETE, 60)


@BOOK.case(
    "A sense pulse is bounded by max_sense_us; with 0 there is none.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Sense pulses need no arming, so their bound is all that keeps them harmless.",
    refusals=(Refusal.OVER_ON_TIME,),
)
def sense_limits(fixture: Fixture) -> None:
    fixture.configure(max_sense_us=40)
    fixture.refused(Sense(fixture.channel, 41, 10), Refusal.OVER_ON_TIME, 40)
    fixture.configure(max_sense_us=0)
    fixture.refused(Sense(fixture.channel, 10, 10), Refusal.OVER_ON_TIME, 0)


@BOOK.case(
    "A drive that the channel's driver cannot make is refused with `wrong_kind`.",
    rule="Enums",
    needs=(Need.TWO,),
    mend="Only half-bridge channels take drive_bridge.",
    refusals=(Refusal.WRONG_KIND,),
)
def wrong_kind(fixture: Fixture) -> None:
    first, second = (subject.channel for subject in fixture.subjects.switched[:2])
    if ChannelKind.HALF_BRIDGE in (fixture.infos[first].channel_kind, fixture.infos[second].channel_kind):
        raise NotShown("the harmless channels are half-bridges")
    fixture.refused(DriveBridge(first, second, 10, 150, 100, 1, 0), Refusal.WRONG_KIND)


@BOOK.case(
    "One channel is driven at a time: a drive, sense, scan or watch meanwhile is refused with `busy`.",
    rule=GUARANTEES,
    needs=(Need.TWO,),
    mend="The detail is the channel that is being driven.",
    refusals=(Refusal.BUSY,),
)
def one_channel_at_a_time(fixture: Fixture) -> None:
    first, second = (subject.channel for subject in fixture.subjects.switched[:2])
    fixture.accepted(fixture.hold(500))
    for channel in (first, second):
        for message in (
            fixture.train(channel=channel),
            fixture.hold(10, channel=channel),
            Sense(channel, 20, 4),
            Scan(1 << (channel - 1), 0),
            Watch(channel, 0, 10, 1000, 500),
        ):
            fixture.refused(message, Refusal.BUSY, first)
    status = fixture.status()
    fixture.expect(
        status.driving_channel == first, f"the status names channel {status.driving_channel} as driven"
    )
    fixture.ended(EndReason.COMPLETE, 500)


@BOOK.case(
    "Over-current switches the channel off and latches it; only configure clears the latch.",
    rule=GUARANTEES,
    needs=(Need.TWO,),
    mend="Compare every current sample with max_current_ma; latch per channel. If nothing trips at "
    "all, check that the load is connected and draws more than 10 mA.",
    refusals=(Refusal.TRIPPED,),
)
def trip_latches(fixture: Fixture) -> None:
    fixture.configure(max_current_ma=LOWEST_TRIP_MA)
    fixture.accepted(fixture.hold(500))
    trip = fixture.event(Trip, 100, channel=fixture.channel)
    fixture.expect(trip.current_ma >= LOWEST_TRIP_MA, f"it tripped at {trip.current_ma} mA, under its limit")
    fixture.ended(EndReason.TRIPPED)
    status = fixture.idle()
    fixture.expect(
        status.tripped_mask == 1 << (fixture.channel - 1), f"tripped_mask is {status.tripped_mask:#06x}"
    )
    for message in (fixture.train(), fixture.hold(10), Sense(fixture.channel, 20, 4)):
        fixture.refused(message, Refusal.TRIPPED)
    second = fixture.subjects.switched[1].channel
    fixture.accepted(fixture.train(channel=second))
    fixture.ended(EndReason.COMPLETE, 60)
    fixture.configure()
    fixture.expect(fixture.status().tripped_mask == 0, "configure did not clear the latch")
    fixture.accepted(fixture.train())
    fixture.ended(EndReason.COMPLETE, 60)


@BOOK.case(
    "A field outside its range is refused with its index, never clipped.",
    rule="Frames",
    needs=(Need.CHANNEL,),
    mend="Use the generated checks for every request.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def ranges_checked(fixture: Fixture) -> None:
    good = list(DriveTrain.LAYOUT.unpack(fixture.train().encode_body()))
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
        sequence = fixture.next_sequence()
        fixture.line.send_raw(DriveTrain.KIND, sequence, DriveTrain.LAYOUT.pack(*values))
        name = f"drive_train with field {index} = {value}"
        fixture.must_refuse(
            fixture.answer(sequence, name), name, DriveTrain.KIND, Refusal.OUT_OF_RANGE, index
        )
    fixture.idle()


@BOOK.case(
    "Where several refusals apply, the first in the protocol's order is reported.",
    rule="Sessions and versions",
    needs=(Need.TWO,),
    mend="Judge: version, session, known, range, channel, kind, configuration, stop, stop input, "
    "heartbeat, supply, trip, arming, busy, limits.",
    refusals=(Refusal.NOT_ARMED, Refusal.BUSY, Refusal.STOPPED, Refusal.TRIPPED),
)
def order_of_refusals(fixture: Fixture) -> None:
    second = fixture.subjects.switched[1]
    too_long = fixture.train(channel=second.channel, count=100, period_us=2001, on_time_us=2000)
    fixture.accepted(fixture.configuration(second, hazard=Hazard.MOTION, max_on_time_us=1000))
    fixture.refused(too_long, Refusal.NOT_ARMED)
    fixture.accepted(fixture.hold(400))
    fixture.refused(too_long, Refusal.NOT_ARMED)
    fixture.arm(Hazard.MOTION)
    fixture.refused(too_long, Refusal.BUSY)
    fixture.accepted(Cancel())
    fixture.accepted(
        fixture.configuration(
            second, hazard=Hazard.MOTION, max_on_time_us=1000, max_current_ma=LOWEST_TRIP_MA
        )
    )
    fixture.arm(Hazard.MOTION)
    fixture.accepted(fixture.hold(500, channel=second.channel))
    fixture.event(Trip, 100, channel=second.channel)
    fixture.accepted(Disarm(Hazard.MOTION))
    fixture.refused(too_long, Refusal.TRIPPED)
    fixture.accepted(Stop())
    fixture.refused(too_long, Refusal.STOPPED)
    fixture.refused(Arm(Hazard.FUEL, 1000), Refusal.STOPPED)
    fixture.refused(Scan(0xFFFF, 100), Refusal.STOPPED)
