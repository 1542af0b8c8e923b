"""What the operator reads first of a finding: where, what, how much, why, what to do."""

from __future__ import annotations

from loomproof.diagnose.faults.definition import Hypothesis, Scope
from loomproof.diagnose.faults.registry import FAULTS, definition_of
from loomproof.diagnose.faults.swapped import is_one_stepper
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.job.model import Job
from loomproof.job.shift import connector_of


def place(job: Job, channel: int) -> str:
    """`channel 5, cavity H1-14 GNWH, cylinder 3 injector`."""
    item = job.channel(channel)
    location = job.location_of(channel)
    colour = f" {item.wire}" if item.wire else ""
    where = (
        f" at {location.name}"
        if location is not None and location.name.lower() not in item.name.lower()
        else ""
    )
    return f"channel {channel}, cavity {item.cavity}{colour}, {item.name}{where}"


def likelihood_text(likelihood: float) -> str:
    """`82 %`; never `100 %`: the likelihood is among the faults considered, and is not certainty."""
    return f"{likelihood * 100:.0f} %" if likelihood < 0.995 else "over 99 %"


def together_text(finding: Finding) -> str:
    """How likely it is that a finding or one of its twins is right; empty without twins."""
    if not finding.cannot_tell_from:
        return ""
    return f"this, or one that looks the same: {likelihood_text(finding.together)}"


def sentence(job: Job, fault: Hypothesis, amount: str, twins: tuple[FaultKind, ...]) -> str:
    """What the operator reads first.

    Args:
        job: the loom's.
        fault: what was found.
        amount: the fault's size in words, or nothing.
        twins: kinds that look the same to this box here.
    """
    what = definition_of(fault)
    body = f"{amount}, " if amount else ""
    act = f"{body}likely {what.advice.likely}. What to do: {what.advice.remedy}"
    if what.scope is Scope.SUPPLY:
        return f"Supply: {act}."
    if what.scope is Scope.FEED:
        feed = next(f for f in job.feeds if f.id == fault.feed)
        at = f", cavity {feed.cavity}" if feed.cavity else ""
        named = ", ".join(str(c) for c in fault.channels)
        return (
            f"Feed {feed.id} ({feed.name}{at}), channels {named}: {what.name}, {act}.{_alike(fault, twins)}"
        )
    if what.scope in {Scope.SET, Scope.CONNECTOR, Scope.GROUND}:
        named = ", ".join(str(c) for c in fault.channels)
        return f"{_many(job, fault)}, channels {named}: {what.name}, {act}.{_alike(fault, twins)}"
    if fault.kind is FaultKind.SWAPPED and is_one_stepper(job, fault.channels):
        return f"{_windings(job, fault)}, {act}.{_alike(fault, twins)}"
    title = what.title([place(job, c) for c in fault.channels])
    return f"{title[0].upper()}{title[1:]}, {act}.{_alike(fault, twins)}"


def _windings(job: Job, fault: Hypothesis) -> str:
    """Which stepper; a spindle that is held does not turn either."""
    named = ", ".join(str(c) for c in fault.channels)
    group = job.channel(fault.channels[0]).group
    return f"Stepper {group}, channels {named}: two of its windings exchanged, or its spindle is stuck"


def _many(job: Job, fault: Hypothesis) -> str:
    """Which set of loads, or which connector and whether on or back."""
    first = fault.channels[0]
    if definition_of(fault).scope is Scope.GROUND:
        return f"{len(fault.channels)} inputs at once"
    if definition_of(fault).scope is Scope.SET:
        return f"All {len(fault.channels)} of {job.load_type(first).name}"
    connector = next(c for c in job.connectors if c.id == connector_of(job.channel(first).cavity))
    way = {1: ", toward higher numbers", -1: ", toward lower numbers"}.get(fault.cavities_on, "")
    return f"Connector {connector.id} ({connector.name}){way}"


def _alike(fault: Hypothesis, twins: tuple[FaultKind, ...]) -> str:
    """What the box cannot tell it from, and why."""
    if not twins:
        return ""
    others = " or ".join(FAULTS[t].name for t in twins)
    return f" This box cannot tell it from {others}: {definition_of(fault).why_twins}."
