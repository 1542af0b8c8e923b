"""Configurations as their load class allows them: for tests that are about something else than the ceilings."""

from dataclasses import replace

from loomproof.facts.kinds import LoadKind
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof_wire.messages import Configure, LoadClass


def within_class(configure: Configure) -> Configure:
    """Return a configuration with its limits lowered to the ceilings of its load class."""
    if configure.load_class is LoadClass.NONE:
        return configure
    row = LOAD_TRAITS[LoadKind[configure.load_class.name]].ceilings
    current_ma = min(configure.max_current_ma, row.current_ma)
    return replace(
        configure,
        max_on_time_us=min(configure.max_on_time_us, row.longest_us(current_ma)),
        max_hold_ms=min(configure.max_hold_ms, row.hold_ms),
        max_duty_permille=min(configure.max_duty_permille, row.duty_percent * 10),
        max_current_ma=current_ma,
    )
