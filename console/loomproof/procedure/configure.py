"""Telling the box what hangs on each channel, with limits it then holds by itself."""

from __future__ import annotations

from loomproof.procedure.context import Core
from loomproof_wire import messages


class WrongBoxError(Exception):
    """The job needs channels that this box does not have."""


def configuration_of(core: Core, channel: int) -> messages.Configure:
    """A channel's configuration: its load class, its hazard, and the budget at the present supply."""
    entry, load = core.job.channel(channel), core.job.load_type(channel)
    budget = core.conditions.budget(channel, rail_dry=True)  # what fuel allows changes with what is stated
    return messages.Configure(
        channel=channel,
        load_class=messages.LoadClass[load.kind.name] if entry.fitted else messages.LoadClass.NONE,
        hazard=messages.Hazard[load.hazard.name],
        fuel_pump=int(entry.fuel_pump),
        max_on_time_us=max(budget.max_on_time_us, budget.ceilings.min_on_time_us),
        max_hold_ms=budget.max_hold_ms,
        max_duty_permille=budget.max_duty_permille,
        max_count=min(budget.load_count, budget.ceilings.max_count),
        max_current_ma=max(10, budget.max_current_ma),
        max_sense_us=budget.max_sense_us,
    )


def configure_all(core: Core) -> None:
    """Configure every channel of the job and compare the digests.

    Raises:
        WrongBoxError: the box lacks a channel.
        BoxError: the box refused, or holds something else than was sent.
    """
    lacking = [c.channel for c in core.job.channels if c.channel not in core.box.channels]
    if lacking:
        have = len(core.box.channels)
        text = ", ".join(str(channel) for channel in lacking)
        raise WrongBoxError(f"the job uses channel {text}; this box has {have} channels")
    core.supply_v = core.box.status().supply_mv / 1000
    for entry in core.job.channels:
        core.box.configure(configuration_of(core, entry.channel))
    core.box.verify_configuration()


def configure_again(core: Core, channel: int) -> None:
    """Clear a trip: the box forgets it when the channel is configured again. Drops every arming."""
    core.box.configure(configuration_of(core, channel))
    core.box.verify_configuration()
