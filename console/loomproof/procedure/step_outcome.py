"""What came of one attempt at a step, as records keep it."""

from __future__ import annotations

import json
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainSerializer, TypeAdapter

from loomproof.facts.evidence import ChannelEvidence, Noticed, PullResult
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Verdict

_EVIDENCE = TypeAdapter(tuple[ChannelEvidence, ...], config=ConfigDict(ser_json_inf_nan="strings"))


def _plain_evidence(evidence: tuple[ChannelEvidence, ...]) -> object:
    """As JSON types; infinite degrees of freedom become a string, because JSON has no infinity."""
    return json.loads(_EVIDENCE.dump_json(evidence))


Evidence = Annotated[tuple[ChannelEvidence, ...], PlainSerializer(_plain_evidence, when_used="json")]


class StepOutcome(BaseModel):
    """What came of one attempt at a step. Plain data: records keep it as JSON and give it back to resume.

    Attributes:
        verdict: of a drive the worst verdict over the step's channels as known when it ended; of a pull check
            that of their places, of a wiggle test that of their contacts, of the look whether anything was amiss;
            `pass` for a step that only had to be done.
        measured: for a reader: per channel the signature as plain values with uncertainty, and whatever
        else the
            step saw. JSON types only.
        evidence: for resuming: what the step added to each channel's evidence.
        supply_rest_v, supply_loaded_v: supply with everything off, and the lowest while a channel was driven.
        problems: refusals, trips and interlocks in words.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="strings")

    step_id: str
    attempt: int
    kind: StepKind
    began_s: float
    ended_s: float
    end: StepEnd
    verdict: Verdict
    channel: int | None = None
    channels: tuple[int, ...] = ()
    noticed: Noticed = Noticed.NOT_ASKED
    pull: PullResult | None = None
    skipped_reason: str = ""
    note: str = ""
    problems: tuple[str, ...] = ()
    drove: tuple[str, ...] = ()
    measured: dict[str, Any] = {}
    evidence: Evidence = ()
    supply_rest_v: float | None = None
    supply_loaded_v: dict[int, float] = {}
    trace_count: int = 0

    @property
    def finished(self) -> bool:
        """Whether the step needs no further attempt to go on."""
        return self.end in (StepEnd.DONE, StepEnd.SKIPPED, StepEnd.TRIPPED, StepEnd.REFUSED)
