"""Steps, run sheets and outcomes: the data of a procedure."""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainSerializer, TypeAdapter

from loomproof.diagnose import ChannelEvidence, Noticed, PullResult, Verdict
from loomproof.job.kinds import HazardClass
from loomproof.safety import Caution, Phase, StatementKind


class StepKind(StrEnum):
    """What a step does."""

    PASSIVE_LOOK = "passive look"
    STATEMENT = "statement"
    DRIVE = "drive"
    PULL_CHECK = "pull check"
    WIGGLE = "wiggle test"
    SUMMARY = "summary"


class StepEnd(StrEnum):
    """How a step ended. Everything but `done` is an outcome, too, and can be repeated."""

    DONE = "done"
    SKIPPED = "skipped"
    BLOCKED = "blocked"
    REFUSED = "refused"
    TRIPPED = "tripped"
    STOPPED = "stopped"
    LINK_LOST = "link lost"
    SUPPLY_LOST = "supply lost"
    LEFT = "left"


class DriveShape(StrEnum):
    """How a load is driven."""

    TRAIN = "train"
    HOLD = "hold"
    PEAK_HOLD = "peak and hold"
    BRIDGE = "bridge"
    STEPPER = "stepper"


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """How a step means to drive its load; budgets may lower it when the supply is known.

    `channels` are all outputs used: one, or two of a bridge, or four of a stepper in the order of its steps.
    """

    shape: DriveShape
    channels: tuple[int, ...]
    count: int
    period_us: int
    on_time_us: int

    @property
    def sentence(self) -> str:
        """In words, with units."""
        if self.shape is DriveShape.BRIDGE:
            return f"{self.on_time_us / 1000:g} ms through the half-bridge pair"
        if self.shape is DriveShape.STEPPER:
            return f"{self.count} steps forwards and back"
        pulses = "pulse" if self.count == 1 else "pulses"
        rate = "" if self.count == 1 else f" at {1e6 / self.period_us:g} Hz"
        held = ", peak and hold" if self.shape is DriveShape.PEAK_HOLD else ""
        return f"{self.count} {pulses} of {self.on_time_us / 1000:g} ms{rate}{held}"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a run sheet.

    `channels` holds every channel the step is about; `channel` is the first of them, None for steps about the
    whole loom. `notice` is what someone beside the load hears or sees.
    """

    id: str
    kind: StepKind
    phase: Phase
    title: str
    what_will_happen: str
    channel: int | None = None
    channels: tuple[int, ...] = ()
    cautions: tuple[Caution, ...] = ()
    hazard: HazardClass = HazardClass.NONE
    statement: StatementKind | None = None
    drive: DrivePlan | None = None
    location: str | None = None
    notice: str = ""


@dataclass(frozen=True, slots=True)
class RunSheet:
    """The ordered steps of a job."""

    steps: tuple[Step, ...]

    def step(self, step_id: str) -> Step:
        """The step of that id.

        Raises:
            KeyError: the sheet has no such step.
        """
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)


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
