"""The first pulse of all on a pin: stated before, the shortest there is, and looked at before any other follows."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NoReturn

from loomproof.facts.record import EventKind
from loomproof.facts.step import StepEnd
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.measure.presence.initiator import looks_like_an_initiator, may_look_so_itself
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import scan_of, supply_of
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError
from loomproof_wire.messages import CEILINGS

FIRST_PULSE_US = CEILINGS.min_sense_us
"""The shortest that a box gives; a bridge wire takes less than a millijoule from it, a winding next to nothing."""


def first_pulses(core: Core, channels: Collection[int]) -> frozenset[int]:
    """Give each of these pins that has had no pulse yet its first one, and return those that it tripped.

    Channels that get no sense pulses at all (half-bridges) have none shorter than their drive. A cold lamp looks like a
    bridge wire itself, so a first pulse would tell nothing of it and warm it: its sense pulse is its first.

    Raises:
        NotPermittedError: nobody has stated that nothing on the loom can be set off.
        StepInterruptedError: a pin looks like the initiator of a restraint system.
        BoxError: the box refused or is gone.
    """
    blocked = core.interlocks.blocks_pulses()
    if blocked is not None:
        raise NotPermittedError(blocked)
    known = {c: core.suspects[c] for c in channels if c in core.suspects}
    if known:
        _refuse(core, known)
    new = tuple(
        c
        for c in dict.fromkeys(channels)
        if c not in core.pulsed
        and core.job.channel(c).fitted
        and not may_look_so_itself(core.job.load_type(c))
    )
    if not new:
        return frozenset()
    core.check()
    raw = core.box.scan(new, FIRST_PULSE_US)
    supply_v = supply_of(raw, core.calibrations[new[0]])
    suspects: dict[int, float] = {}
    for channel, seen in scan_of(raw, core.calibrations).items():
        load = core.job.load_type(channel)
        if load.kind in LOGIC_KINDS:
            continue  # a logic output cannot give what fires one
        if seen.current_a is not None and looks_like_an_initiator(supply_v, seen.current_a):
            suspects[channel] = supply_v / seen.current_a
    core.pulsed |= set(new) - suspects.keys()
    core.suspects |= suspects
    if suspects:
        _refuse(core, suspects)
    tripped = core.box.status().tripped_mask
    return frozenset(channel for channel in new if tripped & (1 << (channel - 1)))


def _refuse(core: Core, suspects: Mapping[int, float]) -> NoReturn:
    named = [f"channel {c} ({core.job.channel(c).name}, {core.job.channel(c).cavity})" for c in suspects]
    ohms = ", ".join(f"{ohm:.1f}" for ohm in suspects.values())
    text = (
        f"DANGER: {', '.join(named)} looks like the initiator of a restraint system: {ohms} ohm without inductance, where "
        "the job expects no such load. Nothing more is pulsed there until the box has lost its supply or its line. Unplug "
        "the box, follow that wire to its end, and correct the loom or the job before you go on."
    )
    for channel, ohm in suspects.items():
        core.note(EventKind.NOTE, text, channel=channel, suspected="initiator", loop_ohm=round(ohm, 2))
    raise StepInterruptedError(StepEnd.BLOCKED, text)
