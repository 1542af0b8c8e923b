"""Driving one channel outside the run sheet, under the same interlocks and budgets."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace

from loomproof.box.drive_outcome import DriveOutcome
from loomproof.box.errors import BoxError, LinkLost
from loomproof.facts.drive import (
    BridgeRequest,
    DriveRequest,
    PulseTrain,
    StepperRequest,
    TraceCapture,
    TrainRequest,
)
from loomproof.facts.record import EventKind
from loomproof.facts.signature import Signature
from loomproof.facts.trace import Trace
from loomproof.measure.signature import measure
from loomproof.procedure.bench.planning import FreePlan, plan_free
from loomproof.procedure.bench.ways import Values, Way, channels_of, defaults, ways_of
from loomproof.procedure.configure import configure_again
from loomproof.procedure.context import Core
from loomproof.procedure.drive.actuate import drive, trace_of_drive
from loomproof.procedure.drive.own_drive import own_train
from loomproof.procedure.events import FreeDriveAdvanced
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError, OverBudgetError
from loomproof.safety.interlocks import Blocked, Permit
from loomproof_wire.messages import EndReason

AFTER_US = 5000
"""Traced after the pulse."""
TRACE_REST_US = 400_000
"""Between traced pulses of a train: time to read one before the next is held."""
MEASURED = (TrainRequest, BridgeRequest)
"""Drives whose traces make a signature: a load that is held or chopped by itself is not measured so."""
MOST_MEASURED = 8


@dataclass(frozen=True, eq=False)
class FreeDrive:
    """What came of driving one channel outside the run sheet.

    `reason` is how the last drive ended; `trains` of `planned` were driven to their end.
    """

    channel: int
    pulses: int
    reason: EndReason
    traces: tuple[Trace, ...]
    signature: Signature | None
    trains: int = 1
    planned: int = 1
    why: str = ""
    """Why it ended early, in words; empty: it did not."""

    @property
    def completed(self) -> bool:
        """Whether everything planned was driven to its end."""
        return self.reason is EndReason.COMPLETE and not self.why

    @property
    def ending(self) -> str:
        """How it ended, in a word or two."""
        return _ending(self.reason, self.why)


class FreeDriving:
    """Plans and runs free drives on one session's core.

    `plan`, `budget`, `permit` and `end` may be called from any thread, the others from the session's.

    Args:
        core: the session's.
        look_again: brings up to date which loads each channel is known to reach.
    """

    def __init__(self, core: Core, look_again: Callable[[], None]) -> None:
        self._core = core
        self._look_again = look_again
        self._ending = threading.Event()

    def ways(self, channel: int) -> dict[Way, str]:
        """The ways a channel can be driven, each with why it cannot (empty: it can)."""
        return ways_of(self._core.job, channel, self._core.box.channels[channel].channel_kind)

    def defaults(self, channel: int, way: Way) -> dict[str, float]:
        """Settings to begin with."""
        return defaults(self._core.job, channel, way, self._core.conditions.budget(channel))

    def plan(self, channel: int, way: Way, values: Values) -> FreePlan:
        """Plan a drive; its problems say what keeps it from being run."""
        return plan_free(self._core.job, channel, way, values, self._core.conditions.budgets)

    def permit(self, channel: int, way: Way) -> Permit | Blocked:
        """Whether the channels of that way may be driven now, or which statements would free them."""
        self._look_again()
        return self._core.conditions.permit(channels_of(self._core.job, channel, way))

    def end(self) -> None:
        """End a run between two of its trains. What is being driven is for the box's `cancel` to end."""
        self._ending.set()

    def forget_trip(self, channel: int) -> bool:
        """Clear the trips of a channel and of those it is driven with; whether there was one.

        Raises:
            BoxError: the box refused or is gone.
        """
        core = self._core
        tripped = [n for n in core.box.channels if core.box.status().tripped_mask >> (n - 1) & 1]
        if channel not in tripped:
            return False
        for other in tripped:
            configure_again(core, other)
        text = f"Trip of channel {', '.join(map(str, tripped))} cleared by the operator."
        core.note(EventKind.NOTE, text, channel=channel)
        core.write_events()
        return True

    def run(self, plan: FreePlan) -> FreeDrive:
        """Run a plan, train by train; each is checked again by the budgets and by the box.

        Raises:
            NotPermittedError: a statement is missing.
            OverBudgetError: the first train is over its budget.
            BoxError: the box refused the first train, or is gone.
            StepInterruptedError: everything is stopped.
            ValueError: the plan has problems.
        """
        if plan.problems or not plan.requests:
            raise ValueError(
                " ".join(problem.text for problem in plan.problems) or "there is nothing to drive"
            )
        self._look_again()
        self._ending.clear()
        core, run = self._core, _Run(plan.channel)
        try:
            self._drive_all(plan, run)
        except LinkLost as error:
            core.link_lost(str(error))
            raise
        except (NotPermittedError, OverBudgetError) as error:
            core.note(EventKind.BLOCKED, str(error), channel=plan.channel)
            raise
        finally:
            core.write_events()
        return self._told(plan, run)

    def drive(self, channel: int, train: PulseTrain) -> FreeDrive:
        """Drive a train as the load type has it driven; raises as `run`."""
        channels_of(self._core.job, channel, Way.TRAIN)  # refuses a channel without a load
        request = own_train(self._core.job, channel, train)
        way = Way.TRAIN if isinstance(request, TrainRequest) else Way.PEAK_HOLD
        return self.run(FreePlan(channel, way, (request,)))

    def _drive_all(self, plan: FreePlan, run: _Run) -> None:
        core, of = self._core, len(plan.requests)
        for number, request in enumerate(plan.requests, 1):
            if number > 1 and (why := self._why_not_on()):
                run.why = why
                return
            text = _train_text(request)
            core.publish(FreeDriveAdvanced(plan.channel, number, of, text))
            try:
                done = drive(core, _traced(core, request, sweep=of > 1))
            except (NotPermittedError, OverBudgetError, StepInterruptedError, BoxError) as error:
                if number == 1 or isinstance(error, LinkLost):
                    raise
                run.why = f"train {number} of {of} ({text}) was not driven: {error}"
                return
            run.take(core, request, done)
            if run.reason is not EndReason.COMPLETE:
                run.why = f"train {number} of {of} ({text}) ended: {_word(run.reason)}" if of > 1 else ""
                return
            run.trains += 1

    def _why_not_on(self) -> str:
        if self._ending.is_set():
            return "ended by the operator between two trains"
        try:
            self._core.check()
        except StepInterruptedError as stopped:
            return stopped.reason
        return ""

    def _told(self, plan: FreePlan, run: _Run) -> FreeDrive:
        core = self._core
        load = core.job.load_type(plan.channel)
        measured = isinstance(plan.requests[0], MEASURED)
        signature = measure(run.traces[:MOST_MEASURED], load) if run.traces and measured else None
        ending = _ending(run.reason, run.why)
        text = f"Driven freely: channel {plan.channel}: {plan.sentence}; {run.pulses} pulses, {ending}."
        if run.why:
            text += f" {run.why}."
        core.note(
            EventKind.FREE_DRIVE,
            text,
            channel=plan.channel,
            pulses=run.pulses,
            reason=ending,
            trains=run.trains,
            planned=len(plan.requests),
        )
        core.write_events()
        return FreeDrive(
            plan.channel,
            run.pulses,
            run.reason,
            tuple(run.traces),
            signature,
            run.trains,
            len(plan.requests),
            run.why,
        )


class _Run:
    """What has come of a run so far."""

    def __init__(self, channel: int) -> None:
        self.channel = channel
        self.pulses = 0
        self.trains = 0
        self.reason = EndReason.COMPLETE
        self.why = ""
        self.traces: list[Trace] = []

    def take(self, core: Core, request: DriveRequest, done: DriveOutcome) -> None:
        """Take in one train's outcome."""
        self.pulses += done.pulses
        self.reason = done.reason
        self.traces.extend(trace_of_drive(core, request, raw) for raw in done.traces)


def _word(reason: EndReason) -> str:
    return reason.name.lower()


def _ending(reason: EndReason, why: str) -> str:
    return "ended early" if why and reason is EndReason.COMPLETE else _word(reason)


def _train_text(request: DriveRequest) -> str:
    train = request.train
    return f"{1e6 / train.period_us:.4g} Hz, {train.on_time_us / 1000:g} ms"


def _traced(core: Core, request: DriveRequest, *, sweep: bool) -> DriveRequest:
    if isinstance(request, StepperRequest):
        return request
    return replace(request, capture=capture_for(core, request, sweep=sweep))


def capture_for(core: Core, request: DriveRequest, *, sweep: bool = False) -> TraceCapture:
    """Trace a pulse and a while after it, as finely as one trace holds, again and again during the drive.

    Of a sweep, the first pulse of each train.
    """
    train, identity = request.train, core.box.identity
    wanted = int((train.on_time_us + AFTER_US) * 1000 / identity.sample_period_ns) + 1
    decimation = max(1, -(-wanted // identity.max_trace_samples))
    every = train.count if sweep else min(max(1, -(-TRACE_REST_US // train.period_us)), train.count)
    samples = min(identity.max_trace_samples, wanted // decimation + 1)
    return TraceCapture(every=every, decimation=min(decimation, 255), samples=samples)
