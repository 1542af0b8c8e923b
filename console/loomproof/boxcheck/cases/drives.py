"""Delivery of trains, holds, stepper sequences and bridge drives."""

from itertools import pairwise

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.cases.limits import refused_too_fast
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.subjects import Subject
from loomproof_wire.messages import (
    CEILINGS,
    TIMING,
    BoxState,
    Cancel,
    DriveBridge,
    DriveEnded,
    DrivePeakHold,
    DriveStepper,
    EndReason,
    LoadClass,
    Refusal,
    Stop,
    StopReason,
    Telemetry,
    TraceReady,
)

BOOK = CaseBook()
GUARANTEES = "What the box guarantees"


@BOOK.case(
    "A train has exactly the pulses asked for and ends by itself, at its time.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Count pulses in the timer interrupt; drive_ended comes after the last pulse (and its rest at "
    "the duty).",
)
def train_delivered(fixture: Fixture) -> None:
    fixture.accepted(
        fixture.train(count=20, period_us=10_000, on_time_us=2000)
    )  # after what is owed of an earlier rest
    began = fixture.status()
    fixture.expect(began.state is BoxState.DRIVING, "the status does not say `driving`")
    fixture.ended(EndReason.COMPLETE, 250, pulses=20)
    took_ms = fixture.status().uptime_ms - began.uptime_ms
    late_ms = fixture.tolerance.box_ms + fixture.tolerance.line_ms + fixture.tolerance.patience_ms
    fixture.between("20 pulses every 10 ms", took_ms, 191 - late_ms, 201 + late_ms, "ms")
    fixture.idle()


@BOOK.case(
    "The reply to a drive comes before its events, and its trace_ready before its drive_ended.",
    rule="Sequence numbers",
    needs=(Need.CHANNEL,),
    mend="Answer first, then begin; announce a trace before the end of the drive.",
)
def order_of_events(fixture: Fixture) -> None:
    fixture.line.clear()
    fixture.accepted(fixture.train(count=2, trace_every=1, trace_samples=fixture.sets(20)))
    replied = fixture.line.replied
    fixture.line.until(lambda: any(isinstance(h.message, DriveEnded) for h in fixture.line.events), 1.2)
    early = [received.message.NAME for received in fixture.line.events if received.order < replied]
    fixture.expect(set(early) <= {"telemetry"}, f"events came before the drive was acknowledged: {early}")
    names = [
        received.message.NAME for received in fixture.line.events if received.message.NAME != "telemetry"
    ]
    want = ["trace_ready", "trace_ready", "drive_ended"]
    fixture.expect(names == want, f"events came as {names}, not as {want}")
    counters = [received.sequence for received in fixture.line.events]
    steps = {(after - before) % 65536 for before, after in pairwise(counters)}
    fixture.expect(steps <= {1}, f"event counters {counters} do not go up one by one")


@BOOK.case(
    "The on-time of every pulse is as asked, by the box's own account, from the shortest pulse on.",
    rule="Traces",
    needs=(Need.CHANNEL,),
    mend="Make both edges in the timer's compare interrupt. (Measure the pin with an oscilloscope as "
    "well: this is what the box says of itself.)",
)
def on_time_kept(fixture: Fixture) -> None:
    for on_time_us in (50, 333, 2000, 4000):
        fixture.accepted(fixture.train(on_time_us=on_time_us, trace_every=1, trace_samples=4))
        pulse = fixture.event(TraceReady, 60)
        fixture.between("on_time_us", pulse.on_time_us, on_time_us - 1, on_time_us + 1, "us")
        fixture.ended(EndReason.COMPLETE, 60, pulses=1)


@BOOK.case(
    "A hold lasts as long as asked and then goes off by itself.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="The box itself keeps the end of a hold, in the timer interrupt.",
)
def hold_ends(fixture: Fixture) -> None:
    fixture.accepted(fixture.hold(120, trace_samples=4))
    pulse = fixture.event(TraceReady, 120)
    fixture.between(
        "the hold", pulse.on_time_us, 119_999, 120_001 + 1000 * min(1, fixture.tolerance.box_ms), "us"
    )
    fixture.ended(EndReason.COMPLETE)
    fixture.idle()


@BOOK.case(
    "A stepper sequence energises four different channels, one at a time, and counts its steps.",
    rule=GUARANTEES,
    needs=(Need.FOUR,),
    mend="Switch one winding off before the next comes on. Steps are held against max_count and "
    "step_us against max_on_time_us of each channel.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_COUNT, Refusal.OUT_OF_RANGE),
)
def stepper_steps(fixture: Fixture) -> None:
    channels = tuple(subject.channel for subject in fixture.subjects.switched[:4])
    for subject in fixture.subjects.switched[:4]:
        fixture.accepted(fixture.configuration(subject, max_on_time_us=5000, max_count=20, max_hold_ms=1000))
    fixture.refused(DriveStepper((*channels[:3], channels[0]), 4, 5000), Refusal.OUT_OF_RANGE)
    fixture.refused(DriveStepper(channels, 0, 5000), Refusal.OUT_OF_RANGE)
    fixture.refused(DriveStepper(channels, 4, 5001), Refusal.OVER_ON_TIME, 5000)
    fixture.refused(DriveStepper(channels, -21, 5000), Refusal.OVER_COUNT, 20)
    for steps in (9, -9):
        fixture.accepted(DriveStepper(channels, steps, 5000))
        fixture.ended(EndReason.COMPLETE, 100, pulses=9)
    fixture.idle()


@BOOK.case(
    "A bridge drives a pair of half-bridge channels for as long as asked, no harder than its duty ceiling.",
    rule=GUARANTEES,
    needs=(Need.BRIDGE,),
    mend="Both channels' limits count; never have both switches of one side on.",
    refusals=(Refusal.OVER_ON_TIME, Refusal.OVER_DUTY, Refusal.OUT_OF_RANGE),
)
def bridge_drives(fixture: Fixture) -> None:
    assert fixture.subjects.bridge is not None
    plus, minus = fixture.subjects.bridge
    for channel in (plus, minus):
        subject = Subject(channel, LoadClass.VALVE, max_current_ma=20_000)
        fixture.accepted(fixture.configuration(subject, max_hold_ms=100, max_duty_permille=300))
    shortest_us = CEILINGS.min_chop_period_us
    fixture.refused(DriveBridge(plus, plus, 50, shortest_us, 200, 1, 0), Refusal.OUT_OF_RANGE, 1)
    refused_too_fast(fixture, DriveBridge(plus, minus, 50, shortest_us, 200, 1, 0), 3)
    fixture.refused(DriveBridge(plus, minus, 101, shortest_us, 200, 1, 0), Refusal.OVER_ON_TIME, 100_000)
    fixture.refused(DriveBridge(plus, minus, 50, shortest_us, 301, 1, 0), Refusal.OVER_DUTY, 300)
    fixture.accepted(DriveBridge(plus, minus, 50, shortest_us, 200, 1, 0))
    fixture.ended(EndReason.COMPLETE, 50)
    fixture.idle()


@BOOK.case(
    "While it chops as fast as is allowed, the box goes on reporting and obeys a stop.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Chopping must not hold up the rest of the program: refuse what is too fast.",
)
def chopping_leaves_time(fixture: Fixture) -> None:
    given = fixture.configure()
    on_us = given.max_on_time_us
    period_us = on_us * 1000 // given.max_duty_permille + 1
    peak_us, chop_us = min(1000, on_us), CEILINGS.min_chop_period_us
    pulses = given.max_count
    fixture.accepted(
        DrivePeakHold(
            fixture.channel, pulses, period_us, on_us, peak_us, chop_us, 500, 1, 4, fixture.sets(300)
        )
    )
    for _ in range(3):
        fixture.event(Telemetry, 1.5 * TIMING.telemetry_period_ms, state=BoxState.DRIVING)
    fixture.accepted(Stop())
    fixture.ended(EndReason.STOPPED)


@BOOK.case(
    "A train ends when the console falls silent; its later pulses do not come.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Heartbeat supervision must run while driving.",
)
def silence_ends_a_train(fixture: Fixture) -> None:
    fixture.line.beating = False
    fixture.line.beat()
    fixture.accepted(fixture.train(count=50, period_us=50_000, on_time_us=2000))
    end = fixture.ended(EndReason.STOPPED, 400 + fixture.tolerance.line_ms)
    most = 9 + fixture.tolerance.line_ms // 50
    fixture.expect(end.pulses <= most, f"{end.pulses} pulses came, at most {most} fit into the time-out")
    status = fixture.idle()
    fixture.expect(status.stop_reason is StopReason.HEARTBEAT, "the reason is not `heartbeat`")
    fixture.accepted(Stop())


@BOOK.case(
    "After a drive is cancelled the next one may begin at once.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="cancel must leave no part of the old drive behind: no pending edge, no capture.",
)
def next_drive_after_cancel(fixture: Fixture) -> None:
    assert fixture.identity is not None
    most = min(CEILINGS.max_trace_samples, fixture.identity.max_trace_samples)
    for _ in range(3):
        fixture.accepted(fixture.train(count=50, period_us=20_000, trace_every=1, trace_samples=most))
        fixture.wait_ms(5)
        fixture.accepted(Cancel())
        fixture.ended(EndReason.CANCELLED)
    fixture.accepted(fixture.train(count=2))
    fixture.ended(EndReason.COMPLETE, 60, pulses=2)
