"""The run sheet of a job worked on a bare box, by the product's own steps: what it says of a loom, without the wire."""

from __future__ import annotations

from collections.abc import Collection

from loomproof.facts.drive import BridgeRequest
from loomproof.facts.evidence import LoomEvidence
from loomproof.facts.step import StepKind
from loomproof.job.model import Job
from loomproof.procedure.configure import configure_all
from loomproof.procedure.context import Core
from loomproof.procedure.evidence_merge import reached_elsewhere
from loomproof.procedure.judge_loom import Judging
from loomproof.procedure.null_recorder import NullRecorder
from loomproof.procedure.prompts import Operator
from loomproof.procedure.sheet import build_sheet
from loomproof.procedure.step import Step
from loomproof.procedure.step_end import outcome_of
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_runner import work
from loomproof.safety.interlocks import DEFAULT_EXPIRY_S
from testbed.barebox import BareBox

EVERY_KIND = frozenset(StepKind)


class BareSheet:
    """Works the steps one after another; `outcomes` are their ends.

    Half-bridge pairs are left out: a bare box has none.

    Args:
        job: what is wired.
        box: the bare box.
        operator: who states, pulls, seats, flexes and watches.
    """

    def __init__(self, job: Job, box: BareBox, operator: Operator) -> None:
        self._sheet = build_sheet(job)
        self._core = Core(job, box, operator, NullRecorder(), DEFAULT_EXPIRY_S)
        self._box = box
        self.outcomes: list[StepOutcome] = []
        self._judging = Judging(self._core, self._sheet, self.outcomes, None)
        configure_all(self._core)

    def evidence(self, kinds: Collection[StepKind] = EVERY_KIND) -> LoomEvidence:
        """Work every step of these kinds; what was seen of the loom."""
        for step in self._sheet.steps:
            if step.kind in kinds and not isinstance(step.drive, BridgeRequest):
                self._work(step)
        return self._judging.evidence

    def _work(self, step: Step) -> None:
        core, began_s = self._core, self._box.now_s()
        core.reaches = dict(reached_elsewhere(self.outcomes))
        result = work(core, step)
        self.outcomes.append(outcome_of(step, 1, (began_s, self._box.now_s()), result))
