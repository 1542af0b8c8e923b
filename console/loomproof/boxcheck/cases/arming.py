"""Hazard classes: nothing of a class is driven unless it is armed; what ends the arming ends the drive."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Bench
from loomproof.boxcheck.need import Need
from loomproof_wire.messages import (
    CEILINGS,
    Arm,
    Disarm,
    Disarmed,
    DisarmReason,
    DriveEnded,
    EndReason,
    Hazard,
    Refusal,
    TraceReady,
    Watch,
)

BOOK = CaseBook()
GUARANTEES = "What the box guarantees"
CLASSES = tuple(hazard for hazard in Hazard if hazard is not Hazard.NONE)


@BOOK.case(
    "A channel of a hazard class is driven only while that class, and not another, is armed.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Look up the channel's class at every drive, hold and held watch; the detail is the class.",
    refusals=(Refusal.NOT_ARMED,),
)
def needs_its_class(bench: Bench) -> None:
    for hazard in CLASSES:
        bench.configure(hazard=hazard)
        other = Hazard.HEAT if hazard is not Hazard.HEAT else Hazard.MOTION
        bench.arm(other)
        held_watch = Watch(bench.channel, 1, 100, 1000, 500)
        for message in (bench.train(), bench.hold(100), held_watch):
            bench.refused(message, Refusal.NOT_ARMED, hazard)
        bench.arm(hazard)
        bench.accepted(bench.train())
        bench.ended(EndReason.COMPLETE, 60, pulses=1)


@BOOK.case(
    "Arming ends by itself on time, and the drive with it, at once.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Count arm time in the timer interrupt and switch off there; do not wait for the next pulse.",
)
def arming_expires(bench: Bench) -> None:
    bench.configure(hazard=Hazard.MOTION)
    bench.arm(Hazard.MOTION, 200)
    bench.accepted(bench.hold(1000, trace_samples=4))
    pulse = bench.event(TraceReady, 200)
    bench.ended(EndReason.DISARMED)
    bench.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.EXPIRED)
    lowest = 199 - bench.tolerance.line_ms
    bench.between("the pulse", pulse.on_time_us / 1000, lowest, 200 + bench.tolerance.box_ms, "ms")
    status = bench.idle()
    bench.expect(status.armed_mask == 0, "still armed")
    bench.refused(bench.train(), Refusal.NOT_ARMED)


@BOOK.case(
    "Arming a class that is armed sets its time anew; the status shows what is left.",
    rule=GUARANTEES,
    mend="Overwrite the expiry, also with an earlier one.",
)
def arming_again(bench: Bench) -> None:
    bench.arm(Hazard.HEAT, 60_000)
    left = bench.status().armed_left_ms
    bench.between("what is left of `heat`", left[4], 59_000, 60_000, "ms")
    bench.expect(not any(left[:4]), f"classes never armed have time left: {left}")
    bench.arm(Hazard.HEAT, 150)
    bench.event(Disarmed, 150, hazard=Hazard.HEAT, reason=DisarmReason.EXPIRED)


@BOOK.case(
    "disarm drops one class, or with `none` all; a drive that needed it ends.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Dropping an arming goes through one function that also ends the drive.",
)
def disarm_drops(bench: Bench) -> None:
    bench.configure(hazard=Hazard.MOTION)
    bench.arm(Hazard.MOTION)
    bench.arm(Hazard.HEAT)
    bench.accepted(bench.hold())
    bench.wait_ms(10)
    bench.accepted(Disarm(Hazard.HEAT))
    bench.event(Disarmed, 0, hazard=Hazard.HEAT, reason=DisarmReason.ASKED)
    bench.no_event(DriveEnded, 20)
    bench.accepted(Disarm(Hazard.NONE))
    bench.ended(EndReason.DISARMED)
    bench.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.ASKED)
    bench.idle()


@BOOK.case(
    "Class `none` cannot be armed, nor anything for longer than the ceiling or shorter than 100 ms.",
    rule="Requests",
    mend="Check both fields against the generated ranges.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def arming_bounded(bench: Bench) -> None:
    for hazard, duration_ms, index in (
        (Hazard.NONE, 1000, 0),
        (9, 1000, 0),
        (Hazard.HEAT, 99, 1),
        (Hazard.HEAT, CEILINGS.max_arm_ms + 1, 1),
    ):
        sequence = bench.next_sequence()
        bench.line.send_raw(Arm.KIND, sequence, bytes([hazard]) + duration_ms.to_bytes(2, "little"))
        name = f"arm {int(hazard)} for {duration_ms} ms"
        bench.must_refuse(bench.answer(sequence, name), name, Arm.KIND, Refusal.OUT_OF_RANGE, index)
    bench.expect(bench.status().armed_mask == 0, "something is armed all the same")


@BOOK.case(
    "Driving a channel marked as the fuel pump drops the arming of fuel, and fuel cannot be armed meanwhile.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Test the mark when a drive or held watch begins, and the running drive's mark when fuel is "
    "to be armed.",
    refusals=(Refusal.PUMP_CHANNEL,),
)
def pump_drops_fuel(bench: Bench) -> None:
    bench.configure(fuel_pump=1)
    bench.arm(Hazard.FUEL)
    bench.accepted(bench.hold(300))
    bench.event(Disarmed, 0, hazard=Hazard.FUEL, reason=DisarmReason.PUMP_DRIVEN)
    bench.refused(Arm(Hazard.FUEL, 1000), Refusal.PUMP_CHANNEL)
    bench.accepted(Arm(Hazard.HEAT, 1000))
    bench.ended(EndReason.COMPLETE, 300)
    bench.accepted(Arm(Hazard.FUEL, 1000))
