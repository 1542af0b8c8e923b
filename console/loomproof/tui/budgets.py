"""A channel's budget and blocks as the bench page shows them."""

from __future__ import annotations

from loomproof.job.model import Job
from loomproof.procedure.session import Session
from loomproof.safety import Blocked, Pulses, fit_train, pulse_budget
from loomproof.tui.views import BudgetView

NOMINAL_V = 13.5
"""Supply assumed for the limits shown before a box is connected; nothing can be driven then."""
_SHOWN = ("on_time_us", "count", "period_us")


def budget_view(
    job: Job, channel: int, session: Session | None, blocks: tuple[tuple[str, str], ...]
) -> BudgetView:
    """Return limits, what sets them, and what blocks the channel.

    `blocks` are those that come from the box's state; the interlocks' are added.
    """
    budget = session.budget(channel) if session is not None else pulse_budget(job, channel, NOMINAL_V)
    train = job.load_type(channel).train
    fitted, notes = fit_train(budget, train)
    on_time_us, period_us, count = (
        (fitted.on_time_us, fitted.period_us, fitted.count)
        if fitted is not None
        else (train.on_time_us, train.period_us, train.count)
    )
    reasons = []
    for of in _SHOWN:
        limit = next((limit for limit in budget.limits if limit.of == of), None)
        if limit is not None:
            reasons.append(str(limit))
    return BudgetView(
        channel=channel,
        max_on_time_ms=budget.max_on_time_us / 1e3,
        max_frequency_hz=1e6 / budget.min_period_us,
        max_count=budget.max_count,
        max_duty=budget.max_duty_permille / 1e3,
        min_on_time_ms=budget.ceilings.min_on_time_us / 1e3,
        reasons=tuple(reasons),
        blocks=blocks + _interlocked(session, channel) + _no_pulse_left(fitted, notes),
        on_time_ms=on_time_us / 1e3,
        frequency_hz=1e6 / period_us,
        count=count,
    )


def _no_pulse_left(fitted: Pulses | None, notes: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    if fitted is not None:
        return ()
    why = notes[0] if notes else "not even the box's shortest pulse fits the limits."
    return (
        (
            f"No pulse is left within the limits: {why}",
            "Check the isolation again and state it anew. Press u.",
        ),
    )


def _interlocked(session: Session | None, channel: int) -> tuple[tuple[str, str], ...]:
    if session is None:
        return ()
    permit = session.permit(channel)
    if not isinstance(permit, Blocked):
        return ()
    return tuple((block.reason, f"{block.remedy} Press u.") for block in permit.reasons)
