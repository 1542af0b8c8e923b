"""Steps, run sheets and outcomes: the data of a procedure."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.drive import DriveRequest
from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepKind
from loomproof.safety.cautions import Caution
from loomproof.safety.order import Phase
from loomproof.safety.statements import StatementKind


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a run sheet.

    `channels` holds every channel the step is about; `channel` is the first of them, None for steps about the
    whole loom. `drive` is what a drive step means to drive; budgets may lower it when the supply is known. `notice`
    is what someone beside the load hears or sees.
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
    drive: DriveRequest | None = None
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
