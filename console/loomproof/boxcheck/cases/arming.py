"""Hazard classes: a channel of a class is driven only while the class is armed."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
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
def needs_its_class(fixture: Fixture) -> None:
    for hazard in CLASSES:
        fixture.configure(hazard=hazard)
        other = Hazard.HEAT if hazard is not Hazard.HEAT else Hazard.MOTION
        fixture.arm(other)
        held_watch = Watch(fixture.channel, 1, 100, 1000, 500)
        for message in (fixture.train(), fixture.hold(100), held_watch):
            fixture.refused(message, Refusal.NOT_ARMED, hazard)
        fixture.arm(hazard)
        fixture.accepted(fixture.train())
        fixture.ended(EndReason.COMPLETE, 60, pulses=1)


@BOOK.case(
    "Arming ends by itself on time, and the drive with it, at once.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Count arm time in the timer interrupt and switch off there; do not wait for the next pulse.",
)
def arming_expires(fixture: Fixture) -> None:
    fixture.configure(hazard=Hazard.MOTION)
    fixture.arm(Hazard.MOTION, 200)
    fixture.accepted(fixture.hold(1000, trace_samples=4))
    pulse = fixture.event(TraceReady, 200)
    fixture.ended(EndReason.DISARMED)
    fixture.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.EXPIRED)
    lowest = 199 - fixture.tolerance.line_ms
    fixture.between("the pulse", pulse.on_time_us / 1000, lowest, 200 + fixture.tolerance.box_ms, "ms")
    status = fixture.idle()
    fixture.expect(status.armed_mask == 0, "still armed")
    fixture.refused(fixture.train(), Refusal.NOT_ARMED)


@BOOK.case(
    "Arming a class that is armed sets its time anew; the status shows what is left.",
    rule=GUARANTEES,
    mend="Overwrite the expiry, also with an earlier one.",
)
def arming_again(fixture: Fixture) -> None:
    fixture.arm(Hazard.HEAT, 60_000)
    left = fixture.status().armed_left_ms
    fixture.between("what is left of `heat`", left[4], 59_000, 60_000, "ms")
    fixture.expect(not any(left[:4]), f"classes never armed have time left: {left}")
    fixture.arm(Hazard.HEAT, 150)
    fixture.event(Disarmed, 150, hazard=Hazard.HEAT, reason=DisarmReason.EXPIRED)


@BOOK.case(
    "disarm drops one class, or with `none` all; a drive that needed it ends.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Drop every arming through one function that also ends the drive.",
)
def disarm_drops(fixture: Fixture) -> None:
    fixture.configure(hazard=Hazard.MOTION)
    fixture.arm(Hazard.MOTION)
    fixture.arm(Hazard.HEAT)
    fixture.accepted(fixture.hold())
    fixture.wait_ms(10)
    fixture.accepted(Disarm(Hazard.HEAT))
    fixture.event(Disarmed, 0, hazard=Hazard.HEAT, reason=DisarmReason.ASKED)
    fixture.no_event(DriveEnded, 20)
    fixture.accepted(Disarm(Hazard.NONE))
    fixture.ended(EndReason.DISARMED)
    fixture.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.ASKED)
    fixture.idle()


@BOOK.case(
    "Class `none` cannot be armed, nor anything for longer than the ceiling or shorter than 100 ms.",
    rule="Requests",
    mend="Check both fields against the generated ranges.",
    refusals=(Refusal.OUT_OF_RANGE,),
)
def arming_bounded(fixture: Fixture) -> None:
    for hazard, duration_ms, index in (
        (Hazard.NONE, 1000, 0),
        (9, 1000, 0),
        (Hazard.HEAT, 99, 1),
        (Hazard.HEAT, CEILINGS.max_arm_ms + 1, 1),
    ):
        sequence = fixture.next_sequence()
        fixture.line.send_raw(Arm.KIND, sequence, bytes([hazard]) + duration_ms.to_bytes(2, "little"))
        name = f"arm {int(hazard)} for {duration_ms} ms"
        fixture.must_refuse(fixture.answer(sequence, name), name, Arm.KIND, Refusal.OUT_OF_RANGE, index)
    fixture.expect(fixture.status().armed_mask == 0, "something is armed nonetheless")


@BOOK.case(
    "Driving a channel marked as the fuel pump drops the arming of fuel, and fuel cannot be armed meanwhile.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="Test the mark when a drive or held watch begins, and the running drive's mark when fuel is "
    "to be armed.",
    refusals=(Refusal.PUMP_CHANNEL,),
)
def pump_drops_fuel(fixture: Fixture) -> None:
    fixture.configure(fuel_pump=1)
    fixture.arm(Hazard.FUEL)
    fixture.accepted(fixture.hold(300))
    fixture.event(Disarmed, 0, hazard=Hazard.FUEL, reason=DisarmReason.PUMP_DRIVEN)
    fixture.refused(Arm(Hazard.FUEL, 1000), Refusal.PUMP_CHANNEL)
    fixture.accepted(Arm(Hazard.HEAT, 1000))
    fixture.ended(EndReason.COMPLETE, 300)
    fixture.accepted(Arm(Hazard.FUEL, 1000))


@BOOK.case(
    "A held watch of the fuel pump drops the arming of fuel as a drive does, and fuel cannot be armed meanwhile.",
    rule=GUARANTEES,
    needs=(Need.CHANNEL,),
    mend="A held watch energises its load: test its mark as that of a drive.",
    refusals=(Refusal.PUMP_CHANNEL,),
)
def pump_watch_drops_fuel(fixture: Fixture) -> None:
    fixture.configure(fuel_pump=1)
    fixture.arm(Hazard.FUEL)
    fixture.accepted(Watch(fixture.channel, 0, 50, 1000, 500))
    fixture.expect(
        fixture.status().armed_mask == 1 << Hazard.FUEL, "a watch at rest dropped the arming of fuel"
    )
    fixture.ended(EndReason.COMPLETE, 50)
    fixture.accepted(Watch(fixture.channel, 1, 300, 1000, 500))
    fixture.event(Disarmed, 0, hazard=Hazard.FUEL, reason=DisarmReason.PUMP_DRIVEN)
    fixture.refused(Arm(Hazard.FUEL, 1000), Refusal.PUMP_CHANNEL)
    fixture.expect(fixture.status().armed_mask == 0, "fuel is armed while the pump is held")
    fixture.ended(EndReason.COMPLETE, 300)
    fixture.accepted(Arm(Hazard.FUEL, 1000))
