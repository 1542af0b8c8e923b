"""Puts a fault that was written as text into a loom."""

from dataclasses import replace

from loomproof.facts.fault_kind import FaultKind
from loomproof.job.model import Job
from loomproof_sim.fault_text import FaultText, FaultTextError
from loomproof_sim.loom import Draw, load_spec
from loomproof_sim.plant.faults import Fault, apply_fault
from loomproof_sim.plant.spec import IntermittentSpec, LoomSpec


def put_fault(loom: LoomSpec, fault: FaultText, job: Job, draw: Draw) -> LoomSpec:
    """Return the loom with the fault in it.

    Args:
        loom: the loom so far.
        fault: the fault as written.
        job: names the channels and load types.
        draw: draws the part that is fitted instead, for `wrong_load`.

    Raises:
        FaultTextError: nothing is fitted on a channel of the fault.
        ValueError: the plant cannot make this fault on this loom; the text says why.
    """
    fitted = {channel.channel for channel in job.channels if channel.fitted}
    for channel in (fault.channel, fault.other):
        if channel is not None and channel not in fitted:
            raise FaultTextError(
                f"fault {fault.kind} on channel {channel}: the job says nothing is fitted there"
            )
    load = None if fault.load is None else load_spec(job.base_load(fault.load), draw)
    made = Fault(fault.kind, fault.channel, fault.other, fault.feed, load=load)
    if fault.amount is not None:
        made = _with_amount(made, fault.amount)
    return apply_fault(loom, made)


def _with_amount(fault: Fault, amount: float) -> Fault:
    """Return the fault with its amount: a share of turns, breaks per second, or ohm, by its kind."""
    if fault.kind is FaultKind.SHORTED_TURNS:
        return replace(fault, fraction=amount)
    if fault.kind is FaultKind.INTERMITTENT:
        return replace(fault, contact=IntermittentSpec(breaks_per_s=amount))
    return replace(fault, ohm=amount)
