"""Driving one channel outside the run sheet, under the same interlocks and budgets."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.box import LinkLost
from loomproof.measure import Signature, Trace, measure
from loomproof.procedure.acting import sentence_of
from loomproof.procedure.core import Core, NotPermittedError
from loomproof.procedure.driving import Capture, DriveRequest, OverBudgetError, drive
from loomproof.procedure.model import DriveShape
from loomproof.procedure.readings import trace_of
from loomproof.procedure.recording import EventKind
from loomproof.safety import Pulses

AFTER_US = 5000
"""Traced after the pulse."""


@dataclass(frozen=True, eq=False)
class FreeDrive:
    """What came of driving one channel outside the run sheet."""

    channel: int
    pulses: int
    reason: str
    traces: tuple[Trace, ...]
    signature: Signature | None


def drive_freely(core: Core, channel: int, pulses: Pulses) -> FreeDrive:
    """Drive a fitted channel, its first pulse traced.

    Raises:
        NotPermittedError: a statement is missing.
        OverBudgetError: the train is over its budget.
        BoxError: the box refused or is gone.
        StepInterruptedError: everything is stopped.
        ValueError: the channel is not fitted.
    """
    if not core.job.channel(channel).fitted:
        raise ValueError(f"channel {channel} has no load fitted")
    load = core.job.load_type(channel)
    shape = DriveShape.TRAIN if load.peak_hold is None else DriveShape.PEAK_HOLD
    request = DriveRequest(shape, (channel,), pulses, _capture(core, pulses))
    try:
        done = drive(core, request)
    except LinkLost as error:
        core.link_lost(str(error))
        raise
    except (NotPermittedError, OverBudgetError) as error:
        core.note(EventKind.BLOCKED, str(error), channel=channel)
        raise
    finally:
        core.write_events()
    traces = tuple(trace_of(raw, core.calibrations[channel]) for raw in done.traces)
    reason = done.reason.name.lower()
    text = f"Driven freely: {sentence_of(request)}; {done.pulses} pulses, {reason}."
    core.note(EventKind.FREE_DRIVE, text, channel=channel, pulses=done.pulses, reason=reason)
    core.write_events()
    return FreeDrive(channel, done.pulses, reason, traces, measure(traces, load) if traces else None)


def _capture(core: Core, pulses: Pulses) -> Capture:
    """The first pulse and a while after it, as finely as one trace holds."""
    longest = core.box.identity.max_trace_samples
    wanted = int((pulses.on_time_us + AFTER_US) * 1000 / core.box.identity.sample_period_ns) + 1
    every = max(1, -(-wanted // longest))
    return Capture(pulses.count, min(every, 255), min(longest, wanted // every + 1))
