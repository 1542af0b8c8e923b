"""Driving one channel outside the run sheet, under the same interlocks and budgets."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from loomproof.box.errors import BoxError, LinkLost
from loomproof.facts.drive import DriveShape, Pulses
from loomproof.facts.record import EventKind
from loomproof.facts.signature import Signature
from loomproof.facts.trace import Trace
from loomproof.measure.signature import measure
from loomproof.procedure.bench.planning import FreePlan, plan_free
from loomproof.procedure.bench.ways import Values, Way, channels_of, defaults, ways_of
from loomproof.procedure.configure import configure_again
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import CountsOfTrace, trace_of
from loomproof.procedure.drive.actuate import drive
from loomproof.procedure.drive.bridge import chopped
from loomproof.procedure.drive.request import Capture, DriveRequest, OverBudgetError
from loomproof.procedure.events import FreeDriveAdvanced
from loomproof.procedure.step_result import NotPermittedError, StepInterruptedError
from loomproof.safety.budget import Budget
from loomproof.safety.interlocks import Blocked, Permit

AFTER_US = 5000
"""Traced after the pulse."""
TRACE_REST_US = 400_000
"""Between traced pulses of a train: time to read one before the next is held."""
MEASURED_SHAPES = (DriveShape.TRAIN, DriveShape.BRIDGE)
MOST_MEASURED = 8


@dataclass(frozen=True, eq=False)
class FreeDrive:
    """What came of driving one channel outside the run sheet.

    `reason` is how the last drive ended; `trains` of `planned` were driven to their end.
    """

    channel: int
    pulses: int
    reason: str
    traces: tuple[Trace, ...]
    signature: Signature | None
    trains: int = 1
    planned: int = 1
    why: str = ""
    """Why it ended early, in words; empty: it did not."""


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
        return defaults(self._core.job, channel, way, self._core.budget(channel))

    def plan(self, channel: int, way: Way, values: Values) -> FreePlan:
        """Plan a drive; its problems say what keeps it from being run."""
        return plan_free(self._core.job, channel, way, values, self._budgets)

    def permit(self, channel: int, way: Way) -> Permit | Blocked:
        """Whether the channels of that way may be driven now, or which statements would free them."""
        self._look_again()
        return self._core.permit(channels_of(self._core.job, channel, way))

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

    def drive(self, channel: int, pulses: Pulses) -> FreeDrive:
        """Drive a train as the load type has it driven; raises as `run`."""
        channels = channels_of(self._core.job, channel, Way.TRAIN)
        own = self._core.job.load_type(channel).peak_hold
        shape, way = (DriveShape.TRAIN, Way.TRAIN) if own is None else (DriveShape.PEAK_HOLD, Way.PEAK_HOLD)
        return self.run(FreePlan(channel, way, (DriveRequest(shape, channels, pulses),)))

    def _budgets(self, channels: Sequence[int]) -> Sequence[Budget]:
        return [self._core.budget(channel) for channel in self._core.loads_reached(channels)]

    def _drive_all(self, plan: FreePlan, run: _Run) -> None:
        core, of = self._core, len(plan.requests)
        for number, request in enumerate(plan.requests, 1):
            if number > 1 and (why := self._why_not_on()):
                run.why = why
                return
            text = _train_text(request)
            core.publish(FreeDriveAdvanced(plan.channel, number, of, text))
            try:
                done = drive(core, replace(request, capture=capture_for(core, request, sweep=of > 1)))
            except (NotPermittedError, OverBudgetError, StepInterruptedError, BoxError) as error:
                if number == 1 or isinstance(error, LinkLost):
                    raise
                run.why = f"train {number} of {of} ({text}) was not driven: {error}"
                return
            run.take(core, request, done.traces, done.pulses, done.reason.name.lower())
            if run.reason != "complete":
                run.why = f"train {number} of {of} ({text}) ended: {run.reason}" if of > 1 else ""
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
        measured = plan.requests[0].shape in MEASURED_SHAPES
        signature = measure(run.traces[:MOST_MEASURED], load) if run.traces and measured else None
        reason = run.reason if not run.why or run.reason != "complete" else "ended early"
        text = f"Driven freely: channel {plan.channel}: {plan.sentence}; {run.pulses} pulses, {reason}."
        if run.why:
            text += f" {run.why}."
        core.note(
            EventKind.FREE_DRIVE,
            text,
            channel=plan.channel,
            pulses=run.pulses,
            reason=reason,
            trains=run.trains,
            planned=len(plan.requests),
        )
        core.write_events()
        return FreeDrive(
            plan.channel,
            run.pulses,
            reason,
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
        self.reason = "complete"
        self.why = ""
        self.traces: list[Trace] = []

    def take(
        self, core: Core, request: DriveRequest, traces: Sequence[CountsOfTrace], pulses: int, reason: str
    ) -> None:
        """Take in one train's outcome."""
        self.pulses += pulses
        self.reason = reason
        for raw in traces:
            trace = trace_of(raw, core.calibrations[raw.header.channel])
            if request.shape is DriveShape.BRIDGE:
                trace = chopped(trace, (request.level_permille or 1000) / 1000)
            self.traces.append(trace)


def _train_text(request: DriveRequest) -> str:
    pulses = request.pulses
    return f"{1e6 / pulses.period_us:.4g} Hz, {pulses.on_time_us / 1000:g} ms"


def capture_for(core: Core, request: DriveRequest, *, sweep: bool = False) -> Capture:
    """Trace a pulse and a while after it, as finely as one trace holds, again and again during the drive.

    Of a sweep, the first pulse of each train; a stepper's windings are not traced by the box.
    """
    if request.shape is DriveShape.STEPPER:
        return Capture()
    pulses, identity = request.pulses, core.box.identity
    wanted = int((pulses.on_time_us + AFTER_US) * 1000 / identity.sample_period_ns) + 1
    decimation = max(1, -(-wanted // identity.max_trace_samples))
    every = pulses.count if sweep else min(max(1, -(-TRACE_REST_US // pulses.period_us)), pulses.count)
    samples = min(identity.max_trace_samples, wanted // decimation + 1)
    return Capture(every, min(decimation, 255), samples)
