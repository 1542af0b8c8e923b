"""What was seen of the loom, put together from the outcomes of its steps (pure).

Each outcome carries what its step added. Of each step only the newest attempt that got anywhere counts, so a
repeat replaces what it repeats, and a resumed session has the evidence of the one before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace

from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.step import StepEnd
from loomproof.procedure.step import RunSheet
from loomproof.procedure.step_outcome import StepOutcome

_COUNTING = (StepEnd.DONE, StepEnd.TRIPPED)


def merge(old: ChannelEvidence, new: ChannelEvidence) -> ChannelEvidence:
    """`old`, with everything that `new` says."""
    blank = ChannelEvidence(new.channel)
    said = {
        item.name: getattr(new, item.name)
        for item in fields(new)
        if getattr(new, item.name) != getattr(blank, item.name)
    }
    return replace(old, **said)


def newest(outcomes: Iterable[StepOutcome]) -> dict[str, StepOutcome]:
    """The newest attempt of each step."""
    return {outcome.step_id: outcome for outcome in outcomes}


def newest_counting(outcomes: Iterable[StepOutcome]) -> dict[str, StepOutcome]:
    """The newest attempt of each step that saw anything."""
    return {outcome.step_id: outcome for outcome in outcomes if outcome.end in _COUNTING}


def gather(
    sheet: RunSheet, outcomes: Iterable[StepOutcome], *, bias_v: float = 2.5, drain_u_v: float = 0.05
) -> LoomEvidence:
    """The evidence of a loom, in the order of its run sheet.

    Args:
        sheet: the run sheet.
        outcomes: every attempt so far.
        bias_v: voltage that an open pin rests at.
        drain_u_v: standard uncertainty of a drain voltage.
    """
    counting = newest_counting(outcomes)
    channels: dict[int, ChannelEvidence] = {}
    rest_v: float | None = None
    loaded_v: dict[int, float] = {}
    for step in sheet.steps:
        outcome = counting.get(step.id)
        if outcome is None:
            continue
        for item in outcome.evidence:
            channels[item.channel] = merge(channels.get(item.channel, ChannelEvidence(item.channel)), item)
        rest_v = outcome.supply_rest_v if outcome.supply_rest_v is not None else rest_v
        loaded_v.update(outcome.supply_loaded_v)
    return LoomEvidence(
        channels=channels,
        supply_rest_v=rest_v,
        supply_loaded_v=loaded_v,
        bias_v=bias_v,
        drain_u_v=drain_u_v,
    )


def reached_elsewhere(outcomes: Iterable[StepOutcome]) -> Mapping[int, frozenset[int]]:
    """Channels that were seen to reach the load of another, and whose loads those are.

    Pulling channel A's connector made channel B lose its load: B reaches A's load, with all of A's hazards.
    """
    found: dict[int, frozenset[int]] = {}
    for outcome in newest_counting(outcomes).values():
        for item in outcome.evidence:
            if item.pull is None or item.pull.outcome not in ("other", "several"):
                continue
            for channel in item.pull.moved_channels:
                if channel != item.pull.expected_channel:
                    found[channel] = found.get(channel, frozenset()) | {item.pull.expected_channel}
    return found
