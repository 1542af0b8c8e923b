"""Stop, heartbeat, stop input, supply."""

from loomproof.boxcheck.attendant import Act
from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import Received
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.requests import described
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import (
    TIMING,
    Ack,
    Arm,
    BoxState,
    Cancel,
    ClearStop,
    Disarmed,
    DisarmReason,
    DriveEnded,
    EndReason,
    GetConfig,
    Hazard,
    Heartbeat,
    Refusal,
    Scan,
    ScanResult,
    Sense,
    Stop,
    Stopped,
    StopReason,
    SupplyEvent,
    TraceReady,
    Watch,
)

BOOK = CaseBook()
STOP = "Stop"
HEARTBEAT = "Heartbeat"


def _expect_stop_events(fixture: Fixture, reason: StopReason, within_ms: float = 0) -> Received:
    stopped = fixture.received(Stopped, within_ms)
    got = getattr(stopped.message, "reason", None)
    fixture.expect(got is reason, f"the box says it stopped for {got!r}, not for `{reason.name.lower()}`")
    status = fixture.idle()
    fixture.expect(status.state is BoxState.STOPPED, "the state is not `stopped`")
    fixture.expect(status.stop_reason is reason, "the status names another reason")
    fixture.expect(status.armed_mask == 0, f"still armed after the stop: mask {status.armed_mask:#04x}")
    return stopped


@BOOK.case(
    "A stop frame ends the drive, disarms every class and latches; drive_ended says `stopped`.",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Switch every output off first, then send the events, then answer. Only clear_stop leaves the state `stopped`.",
    refusals=(Refusal.STOPPED,),
)
def stop_stops(fixture: Fixture) -> None:
    fixture.arm(Hazard.MOTION)
    fixture.accepted(fixture.hold(trace_samples=4))
    fixture.wait_ms(30)
    fixture.accepted(Stop())
    pulse = fixture.event(TraceReady, 0)
    fixture.between("the pulse", pulse.on_time_us / 1000, 1, 60 + fixture.tolerance.line_ms, "ms")
    fixture.ended(EndReason.STOPPED)
    fixture.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.STOPPED)
    _expect_stop_events(fixture, StopReason.COMMAND)
    for message in (fixture.train(), fixture.hold(), Arm(Hazard.MOTION, 1000), Sense(fixture.channel, 20, 4)):
        fixture.refused(message, Refusal.STOPPED)
    fixture.wait_ms(50)
    fixture.idle()
    fixture.accepted(ClearStop())
    status = fixture.idle()
    fixture.expect(status.state is BoxState.IDLE, "clear_stop was acknowledged, but the box is still stopped")
    fixture.expect(status.armed_mask == 0, "clear_stop armed a class")
    fixture.accepted(fixture.train())


@BOOK.case(
    "The events of a stop are on the line before its reply: the outputs are off by then.",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Send the ack of stop last.",
)
def stop_before_reply(fixture: Fixture) -> None:
    fixture.accepted(fixture.hold())
    fixture.wait_ms(20)
    sequence = fixture.next_sequence()
    fixture.line.send(Stop(), sequence)
    fixture.answer(sequence, "stop")
    before = [received for received in fixture.line.events if received.order < fixture.line.replied]
    kinds = [type(received.message) for received in before]
    fixture.expect(DriveEnded in kinds, "the reply to stop came before the `drive_ended` event")
    fixture.expect(Stopped in kinds, "the reply to stop came before the `stopped` event")


@BOOK.case(
    "A stop while stopped is acknowledged; the first reason stays.",
    rule=STOP,
    mend="Do not overwrite the latched reason.",
)
def first_reason_stays(fixture: Fixture) -> None:
    fixture.line.beating = False
    fixture.event(Stopped, TIMING.heartbeat_timeout_ms + 100, reason=StopReason.HEARTBEAT)
    fixture.accepted(Stop())
    fixture.no_event(Stopped, 20)
    fixture.expect(fixture.status().stop_reason is StopReason.HEARTBEAT, "the second stop changed the reason")


@BOOK.case(
    "While stopped the box answers, takes configuration and reads resting voltages (a scan with "
    "on_time_us 0).",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Refuse in `stopped` only what energises something.",
    refusals=(Refusal.STOPPED,),
)
def stopped_still_answers(fixture: Fixture) -> None:
    fixture.accepted(Stop())
    fixture.configure()
    fixture.ask(GetConfig(fixture.channel))
    mask = 1 << (fixture.channel - 1)
    fixture.get(Scan(mask, 0), ScanResult)
    fixture.refused(Scan(mask, 50), Refusal.STOPPED)
    fixture.refused(Watch(fixture.channel, 0, 10, 1000, 500), Refusal.STOPPED)
    fixture.accepted(Cancel())


def _hold_until_silence(fixture: Fixture) -> tuple[float, int]:
    """Send one heartbeat, begin a hold and send no more; return the line's time and the box's uptime."""
    fixture.line.beating = False
    fixture.line.beat()
    uptime_ms = fixture.status().uptime_ms
    fixture.accepted(fixture.hold(1000, trace_samples=4))
    return fixture.line.now_s(), uptime_ms


@BOOK.case(
    "400 ms without a heartbeat switch everything off and latch a stop.",
    rule=HEARTBEAT,
    needs=(Need.CHANNEL,),
    mend="Count heartbeat time in a timer interrupt that does not depend on the main loop; 400 ms from "
    "the last one received, for its session.",
)
def heartbeat_loss_stops(fixture: Fixture) -> None:
    _, uptime_ms = _hold_until_silence(fixture)
    late_ms = fixture.tolerance.box_ms + fixture.tolerance.line_ms
    pulse = fixture.event(TraceReady, 400 + late_ms)
    fixture.ended(EndReason.STOPPED)
    _expect_stop_events(fixture, StopReason.HEARTBEAT)
    fixture.between(
        "from the last heartbeat to off",
        pulse.on_time_us / 1000,
        400 - 1 - fixture.tolerance.line_ms,
        400 + fixture.tolerance.box_ms,
        "ms",
    )
    after_ms = fixture.status().uptime_ms - uptime_ms
    most_ms = 401 + late_ms + fixture.tolerance.patience_ms
    fixture.between("the box's own time for it", after_ms, 399 - fixture.tolerance.line_ms, most_ms, "ms")
    fixture.refused(fixture.train(), Refusal.STOPPED)


@BOOK.case(
    "A heartbeat every 390 ms is enough; one for another session counts for nothing.",
    rule=HEARTBEAT,
    mend="Compare the session number in the heartbeat's body; the time-out is 400 ms, not less.",
)
def heartbeat_of_this_session(fixture: Fixture) -> None:
    fixture.line.beating = False
    gap_ms = 390 - fixture.tolerance.line_ms
    for _ in range(3):
        fixture.line.beat()
        fixture.wait_ms(gap_ms)
    fixture.expect(
        fixture.status().state is BoxState.IDLE, f"the box stopped with a heartbeat every {gap_ms:g} ms"
    )
    fixture.line.beat()
    for _ in range(4):
        fixture.wait_ms(100)
        fixture.line.send(Heartbeat((fixture.line.session + 1) & 0xFFFFFFFF), 0)
    fixture.event(Stopped, 50, reason=StopReason.HEARTBEAT)


@BOOK.case(
    "After a stop by heartbeat, clearing it is not enough: driving stays refused until the next heartbeat.",
    rule=HEARTBEAT,
    needs=(Need.CHANNEL,),
    mend="Forget the last heartbeat when it is lost; wait for a new one.",
    refusals=(Refusal.NO_HEARTBEAT,),
)
def heartbeat_needed_again(fixture: Fixture) -> None:
    fixture.line.beating = False
    fixture.event(Stopped, TIMING.heartbeat_timeout_ms + 100, reason=StopReason.HEARTBEAT)
    fixture.accepted(ClearStop())
    fixture.refused(fixture.train(), Refusal.NO_HEARTBEAT)
    fixture.refused(Arm(Hazard.MOTION, 1000), Refusal.NO_HEARTBEAT)
    fixture.refused(Sense(fixture.channel, 20, 4), Refusal.NO_HEARTBEAT)
    fixture.line.beat()
    fixture.accepted(fixture.train())


@BOOK.case(
    "The stop input does what a stop frame does, and while it is open the stop cannot be cleared.",
    rule=STOP,
    needs=(Need.CHANNEL, Need.STOP_BUTTON),
    mend="The input must be normally closed, cut the gate supply in hardware, and be read by the "
    "firmware as well.",
    refusals=(Refusal.STOP_INPUT_OPEN,),
)
def stop_input_stops(fixture: Fixture) -> None:
    patience_ms = fixture.attendant.patience_s * 1000
    fixture.arm(Hazard.MOTION, 60_000)
    fixture.accepted(fixture.train(count=100, period_us=200_000))
    fixture.ask_attendant(Act.PRESS_STOP)
    fixture.ended(EndReason.STOPPED, patience_ms)
    fixture.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.STOPPED)
    _expect_stop_events(fixture, StopReason.STOP_INPUT)
    try:
        fixture.expect(fixture.status().stop_input_open == 1, "the status does not show the open input")
        fixture.refused(ClearStop(), Refusal.STOP_INPUT_OPEN)
        fixture.refused(fixture.train(), Refusal.STOPPED)
    finally:
        fixture.ask_attendant(Act.RELEASE_STOP)
        released = fixture.line.until(
            lambda: fixture.status().stop_input_open == 0, fixture.attendant.patience_s + 1
        )
    fixture.expect(released, "the stop input never closed again")
    fixture.expect(fixture.status().state is BoxState.STOPPED, "releasing the button cleared the stop")
    fixture.accepted(ClearStop())


@BOOK.case(
    "Losing the supply is a stop, and the box says so; the stop cannot be cleared until it is back.",
    rule=STOP,
    needs=(Need.CHANNEL, Need.SUPPLY),
    mend="Compare the measured supply with your limits at least every telemetry period; better by a "
    "comparator.",
    refusals=(Refusal.SUPPLY_OUT_OF_RANGE,),
)
def supply_loss_stops(fixture: Fixture) -> None:
    patience_ms = fixture.attendant.patience_s * 1000
    fixture.arm(Hazard.MOTION, 60_000)
    fixture.ask_attendant(Act.SUPPLY_OFF)
    try:
        fixture.event(SupplyEvent, patience_ms + 200, present=0)
        lost = fixture.event(Disarmed, 0, hazard=Hazard.MOTION)
        right = lost.reason in (DisarmReason.SUPPLY_LOST, DisarmReason.STOPPED)
        fixture.expect(right, f"disarmed for {lost.reason!r}")
        _expect_stop_events(fixture, StopReason.SUPPLY)
        fixture.refused(ClearStop(), Refusal.SUPPLY_OUT_OF_RANGE)
    finally:
        fixture.ask_attendant(Act.SUPPLY_ON)
        fixture.line.event(SupplyEvent, fixture.attendant.patience_s + 0.5, lambda event: event.present == 1)
    fixture.expect(fixture.status().state is BoxState.STOPPED, "the supply's return cleared the stop")
    fixture.accepted(ClearStop())


@BOOK.case(
    "cancel ends a drive without latching anything, and with nothing under way it is acknowledged.",
    rule="What the box guarantees",
    needs=(Need.CHANNEL,),
    mend="cancel ends the drive only; arming and state stay.",
)
def cancel_ends_a_drive(fixture: Fixture) -> None:
    fixture.accepted(Cancel())
    fixture.arm(Hazard.MOTION)
    fixture.accepted(fixture.hold())
    fixture.wait_ms(20)
    fixture.accepted(Cancel())
    fixture.ended(EndReason.CANCELLED)
    status = fixture.idle()
    fixture.expect(status.state is BoxState.IDLE, "cancel latched a stop")
    fixture.expect(status.armed_mask == 1 << Hazard.MOTION, "cancel dropped an arming")
    fixture.expect(isinstance(fixture.ask(Cancel()), Ack), "cancel with nothing under way was refused")


@BOOK.case(
    "A stop is not undone by a clear that was sent just before it: of both in one go, the stop stays.",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="A clear that waits in a queue when a stop arrives is dropped or refused; so is everything else in it.",
    refusals=(Refusal.STOPPED,),
)
def clear_and_stop_together(fixture: Fixture) -> None:
    fixture.arm(Hazard.HEAT)
    for times in range(3):
        fixture.accepted(Stop())
        clear, train = fixture.next_sequence(), fixture.next_sequence()
        last = fixture.next_sequence()
        together = [encode_frame(clear, ClearStop())]
        together += [encode_frame(train, fixture.train())] if times else []
        fixture.line.write(b"".join([*together, encode_frame(last, Stop())]))
        answer = fixture.answer(last, "stop")
        fixture.expect(isinstance(answer, Ack), f"`stop` was answered by {described(answer)}")
        fixture.wait_ms(20)
        status = fixture.idle()
        fixture.expect(status.state is BoxState.STOPPED, "a clear that was sent before the stop undid it")
        fixture.expect(status.armed_mask == 0, f"still armed after the stop: mask {status.armed_mask:#04x}")
        fixture.refused(fixture.train(), Refusal.STOPPED)
    fixture.accepted(ClearStop())
    fixture.accepted(fixture.train())
