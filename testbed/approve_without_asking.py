"""Approved drives for tests of what lies below the approval: nobody asks statements or budgets here.

Only tests use this. A box client takes nothing but approved drives, and its own tests have no session, no
statements and no budgets; the box still refuses what it must.
"""

from __future__ import annotations

from loomproof.facts.approved_drive import ApprovedDrive, RequestT, _make_approved_drive
from loomproof.facts.drive import HoldRequest, PulseTrain, TraceCapture, TrainRequest


def approve_without_asking(request: RequestT) -> ApprovedDrive[RequestT]:
    """Approve a request as it is, with nothing armed and nothing counted."""
    return _make_approved_drive(request=request, hazards=(), arm_s=0.0, permitted_until_s=0.0, effects=())


def unasked_train(
    channel: int,
    *,
    count: int,
    period_us: int,
    on_time_us: int,
    every: int = 0,
    decimation: int = 1,
    samples: int = 0,
) -> ApprovedDrive[TrainRequest]:
    """A train approved without asking.

    Args:
        channel: the channel.
        count: number of pulses.
        period_us: from one pulse to the next.
        on_time_us: length of a pulse.
        every: which pulses are traced, as `TraceCapture` has it.
        decimation: which sample sets are kept.
        samples: how many.
    """
    train = PulseTrain(count=count, period_us=period_us, on_time_us=on_time_us)
    capture = TraceCapture(every=every, decimation=decimation, samples=samples)
    return approve_without_asking(TrainRequest(channel=channel, train=train, capture=capture))


def unasked_hold(
    channel: int, *, duration_ms: int, decimation: int = 1, samples: int = 0
) -> ApprovedDrive[HoldRequest]:
    """A hold approved without asking.

    Args:
        channel: the channel.
        duration_ms: how long it is switched on.
        decimation: which sample sets are kept.
        samples: how many.
    """
    capture = TraceCapture(decimation=decimation, samples=samples)
    return approve_without_asking(HoldRequest(channel=channel, duration_ms=duration_ms, capture=capture))
