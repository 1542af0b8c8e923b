"""Stop, heartbeat, stop input, supply."""

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Bench
from loomproof.boxcheck.hands import Act
from loomproof.boxcheck.line import Heard
from loomproof.boxcheck.need import Need
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


def _expect_stop_events(bench: Bench, reason: StopReason, within_ms: float = 0) -> Heard:
    stopped = bench.heard(Stopped, within_ms)
    got = getattr(stopped.message, "reason", None)
    bench.expect(got is reason, f"the box says it stopped for {got!r}, not for `{reason.name.lower()}`")
    status = bench.idle()
    bench.expect(status.state is BoxState.STOPPED, "the state is not `stopped`")
    bench.expect(status.stop_reason is reason, "the status tells another reason")
    bench.expect(status.armed_mask == 0, f"still armed after the stop: mask {status.armed_mask:#04x}")
    return stopped


@BOOK.case(
    "A stop frame ends the drive, disarms every class and latches; drive_ended says `stopped`.",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Switch every output off first, then tell, then answer. The state `stopped` is left by "
    "clear_stop alone.",
    refusals=(Refusal.STOPPED,),
)
def stop_stops(bench: Bench) -> None:
    bench.arm(Hazard.MOTION)
    bench.accepted(bench.hold(trace_samples=4))
    bench.wait_ms(30)
    bench.accepted(Stop())
    pulse = bench.event(TraceReady, 0)
    bench.between("the pulse", pulse.on_time_us / 1000, 1, 60 + bench.tolerance.line_ms, "ms")
    bench.ended(EndReason.STOPPED)
    bench.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.STOPPED)
    _expect_stop_events(bench, StopReason.COMMAND)
    for message in (bench.train(), bench.hold(), Arm(Hazard.MOTION, 1000), Sense(bench.channel, 20, 4)):
        bench.refused(message, Refusal.STOPPED)
    bench.wait_ms(50)
    bench.idle()
    bench.accepted(ClearStop())
    status = bench.idle()
    bench.expect(status.state is BoxState.IDLE, "clear_stop was acknowledged, but the box is still stopped")
    bench.expect(status.armed_mask == 0, "clear_stop armed a class")
    bench.accepted(bench.train())


@BOOK.case(
    "The events of a stop are on the line before its reply: the outputs are off by then.",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Send the ack of stop last.",
)
def stop_before_reply(bench: Bench) -> None:
    bench.accepted(bench.hold())
    bench.wait_ms(20)
    sequence = bench.next_sequence()
    bench.line.send(Stop(), sequence)
    bench.answer(sequence, "stop")
    before = [heard for heard in bench.line.events if heard.order < bench.line.replied]
    kinds = [type(heard.message) for heard in before]
    bench.expect(DriveEnded in kinds, "the reply to stop came before the end of the drive was told")
    bench.expect(Stopped in kinds, "the reply to stop came before the `stopped` event")


@BOOK.case(
    "A stop while stopped is acknowledged; the first reason stays.",
    rule=STOP,
    mend="Do not overwrite the latched reason.",
)
def first_reason_stays(bench: Bench) -> None:
    bench.line.beating = False
    bench.event(Stopped, TIMING.heartbeat_timeout_ms + 100, reason=StopReason.HEARTBEAT)
    bench.accepted(Stop())
    bench.no_event(Stopped, 20)
    bench.expect(bench.status().stop_reason is StopReason.HEARTBEAT, "the second stop changed the reason")


@BOOK.case(
    "While stopped the box answers, takes configuration and reads resting voltages (a scan with "
    "on_time_us 0).",
    rule=STOP,
    needs=(Need.CHANNEL,),
    mend="Refuse in `stopped` only what energises something.",
    refusals=(Refusal.STOPPED,),
)
def stopped_still_answers(bench: Bench) -> None:
    bench.accepted(Stop())
    bench.configure()
    bench.ask(GetConfig(bench.channel))
    mask = 1 << (bench.channel - 1)
    bench.get(Scan(mask, 0), ScanResult)
    bench.refused(Scan(mask, 50), Refusal.STOPPED)
    bench.refused(Watch(bench.channel, 0, 10, 1000, 500), Refusal.STOPPED)
    bench.accepted(Cancel())


def _hold_until_silence(bench: Bench) -> tuple[float, int]:
    """Beat once, drive, and let the heartbeat go; return its uptime bounds."""
    bench.line.beating = False
    bench.line.beat()
    uptime_ms = bench.status().uptime_ms
    bench.accepted(bench.hold(1000, trace_samples=4))
    return bench.line.now_s(), uptime_ms


@BOOK.case(
    "400 ms without a heartbeat switch everything off and latch a stop.",
    rule=HEARTBEAT,
    needs=(Need.CHANNEL,),
    mend="Count heartbeat time in a timer interrupt that does not depend on the main loop; 400 ms "
    "from the last one "
    "received, for its session.",
)
def heartbeat_loss_stops(bench: Bench) -> None:
    _, uptime_ms = _hold_until_silence(bench)
    late_ms = bench.tolerance.box_ms + bench.tolerance.line_ms
    pulse = bench.event(TraceReady, 400 + late_ms)
    bench.ended(EndReason.STOPPED)
    _expect_stop_events(bench, StopReason.HEARTBEAT)
    bench.between(
        "from the last heartbeat to off",
        pulse.on_time_us / 1000,
        400 - 1 - bench.tolerance.line_ms,
        400 + bench.tolerance.box_ms,
        "ms",
    )
    after_ms = bench.status().uptime_ms - uptime_ms
    most_ms = 401 + late_ms + bench.tolerance.patience_ms
    bench.between("the box's own time for it", after_ms, 399 - bench.tolerance.line_ms, most_ms, "ms")
    bench.refused(bench.train(), Refusal.STOPPED)


@BOOK.case(
    "A heartbeat every 390 ms is enough; one for another session counts for nothing.",
    rule=HEARTBEAT,
    mend="Compare the session number in the heartbeat's body; the time-out is 400 ms, not less.",
)
def heartbeat_of_this_session(bench: Bench) -> None:
    bench.line.beating = False
    gap_ms = 390 - bench.tolerance.line_ms
    for _ in range(3):
        bench.line.beat()
        bench.wait_ms(gap_ms)
    bench.expect(
        bench.status().state is BoxState.IDLE, f"the box stopped with a heartbeat every {gap_ms:g} ms"
    )
    bench.line.beat()
    for _ in range(4):
        bench.wait_ms(100)
        bench.line.send(Heartbeat((bench.line.session + 1) & 0xFFFFFFFF), 0)
    bench.event(Stopped, 50, reason=StopReason.HEARTBEAT)


@BOOK.case(
    "After a stop by heartbeat, clearing it is not enough: driving stays refused until the next heartbeat.",
    rule=HEARTBEAT,
    needs=(Need.CHANNEL,),
    mend="Forget the last heartbeat when it is lost; wait for a new one.",
    refusals=(Refusal.NO_HEARTBEAT,),
)
def heartbeat_needed_again(bench: Bench) -> None:
    bench.line.beating = False
    bench.event(Stopped, TIMING.heartbeat_timeout_ms + 100, reason=StopReason.HEARTBEAT)
    bench.accepted(ClearStop())
    bench.refused(bench.train(), Refusal.NO_HEARTBEAT)
    bench.refused(Arm(Hazard.MOTION, 1000), Refusal.NO_HEARTBEAT)
    bench.refused(Sense(bench.channel, 20, 4), Refusal.NO_HEARTBEAT)
    bench.line.beat()
    bench.accepted(bench.train())


@BOOK.case(
    "The stop input does what a stop frame does, and while it is open the stop cannot be cleared.",
    rule=STOP,
    needs=(Need.CHANNEL, Need.STOP_BUTTON),
    mend="The input must be normally closed, cut the gate supply in hardware, and be read by the "
    "firmware as well.",
    refusals=(Refusal.STOP_INPUT_OPEN,),
)
def stop_input_stops(bench: Bench) -> None:
    patience_ms = bench.hands.patience_s * 1000
    bench.arm(Hazard.MOTION, 60_000)
    bench.accepted(bench.train(count=100, period_us=200_000))
    bench.ask_hands(Act.PRESS_STOP)
    bench.ended(EndReason.STOPPED, patience_ms)
    bench.event(Disarmed, 0, hazard=Hazard.MOTION, reason=DisarmReason.STOPPED)
    _expect_stop_events(bench, StopReason.STOP_INPUT)
    try:
        bench.expect(bench.status().stop_input_open == 1, "the status does not show the open input")
        bench.refused(ClearStop(), Refusal.STOP_INPUT_OPEN)
        bench.refused(bench.train(), Refusal.STOPPED)
    finally:
        bench.ask_hands(Act.RELEASE_STOP)
        released = bench.line.until(lambda: bench.status().stop_input_open == 0, bench.hands.patience_s + 1)
    bench.expect(released, "the stop input never closed again")
    bench.expect(bench.status().state is BoxState.STOPPED, "releasing the button cleared the stop")
    bench.accepted(ClearStop())


@BOOK.case(
    "Losing the supply is a stop, and the box says so; the stop cannot be cleared until it is back.",
    rule=STOP,
    needs=(Need.CHANNEL, Need.SUPPLY),
    mend="Compare the measured supply with your limits at least every telemetry period; better by a "
    "comparator.",
    refusals=(Refusal.SUPPLY_OUT_OF_RANGE,),
)
def supply_loss_stops(bench: Bench) -> None:
    patience_ms = bench.hands.patience_s * 1000
    bench.arm(Hazard.MOTION, 60_000)
    bench.ask_hands(Act.SUPPLY_OFF)
    try:
        bench.event(SupplyEvent, patience_ms + 200, present=0)
        lost = bench.event(Disarmed, 0, hazard=Hazard.MOTION)
        right = lost.reason in (DisarmReason.SUPPLY_LOST, DisarmReason.STOPPED)
        bench.expect(right, f"disarmed for {lost.reason!r}")
        _expect_stop_events(bench, StopReason.SUPPLY)
        bench.refused(ClearStop(), Refusal.SUPPLY_OUT_OF_RANGE)
    finally:
        bench.ask_hands(Act.SUPPLY_ON)
        bench.line.event(SupplyEvent, bench.hands.patience_s + 0.5, lambda event: event.present == 1)
    bench.expect(bench.status().state is BoxState.STOPPED, "the supply's return cleared the stop")
    bench.accepted(ClearStop())


@BOOK.case(
    "cancel ends a drive without latching anything, and with nothing under way it is acknowledged.",
    rule="What the box guarantees",
    needs=(Need.CHANNEL,),
    mend="cancel ends the drive only; arming and state stay.",
)
def cancel_ends_a_drive(bench: Bench) -> None:
    bench.accepted(Cancel())
    bench.arm(Hazard.MOTION)
    bench.accepted(bench.hold())
    bench.wait_ms(20)
    bench.accepted(Cancel())
    bench.ended(EndReason.CANCELLED)
    status = bench.idle()
    bench.expect(status.state is BoxState.IDLE, "cancel latched a stop")
    bench.expect(status.armed_mask == 1 << Hazard.MOTION, "cancel dropped an arming")
    bench.expect(isinstance(bench.ask(Cancel()), Ack), "cancel with nothing under way was refused")
