"""What a step has gathered so far, and what ends it early."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from loomproof.box.drive_outcome import RawTrace
from loomproof.facts.evidence import ChannelEvidence, Noticed, PullResult
from loomproof.facts.step import StepEnd
from loomproof.procedure.prompts import Answer, Choice


class StepInterruptedError(Exception):
    """A step cannot go on; `end` is its outcome and the text says why."""

    def __init__(self, end: StepEnd, reason: str) -> None:
        super().__init__(reason)
        self.end = end
        self.reason = reason


@dataclass
class StepResult:
    """What a step has gathered so far; what is in it counts even when the step is interrupted."""

    end: StepEnd = StepEnd.DONE
    noticed: Noticed = Noticed.NOT_ASKED
    pull: PullResult | None = None
    notes: list[str] = field(default_factory=list)
    skipped_reason: str = ""
    problems: list[str] = field(default_factory=list)
    drove: list[str] = field(default_factory=list)
    measured: dict[str, Any] = field(default_factory=dict)
    evidence: dict[int, ChannelEvidence] = field(default_factory=dict)
    traces: list[tuple[RawTrace, str]] = field(default_factory=list)
    supply_rest_v: float | None = None
    supply_loaded_v: dict[int, float] = field(default_factory=dict)

    def learn(self, channel: int, **seen: Any) -> None:  # noqa: ANN401 - the evidence's own fields
        """Add to what is known of a channel; what it says already of other things stays."""
        known = self.evidence.get(channel, ChannelEvidence(channel))
        self.evidence[channel] = replace(known, **seen)

    def skip_if_asked(self, answer: Answer | None) -> None:
        """End the step here when the operator leaves it out.

        Raises:
            StepInterruptedError: the operator skipped the step.
        """
        if answer is not None and answer.choice is Choice.SKIP:
            self.skipped_reason = answer.note or "skipped by the operator"
            raise StepInterruptedError(StepEnd.SKIPPED, self.skipped_reason)
