"""The verdicts and findings of a session: drawn anew after each step, kept until the next."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import Baseline, LoomEvidence
from loomproof.facts.finding import Finding
from loomproof.facts.verdict import PropertyVerdict
from loomproof.procedure.context import Core
from loomproof.procedure.evidence_merge import gather
from loomproof.procedure.step import RunSheet
from loomproof.procedure.step_outcome import StepOutcome


class Judging:
    """Draws verdicts and findings from the outcomes.

    Args:
        core: the session's.
        sheet: its run sheet.
        outcomes: the session's own list, which grows.
        baseline: an earlier record of the same loom.
    """

    def __init__(
        self, core: Core, sheet: RunSheet, outcomes: Sequence[StepOutcome], baseline: Baseline | None
    ) -> None:
        self._core = core
        self._sheet = sheet
        self._outcomes = outcomes
        self._baseline = baseline
        self._verdicts: tuple[PropertyVerdict, ...] | None = None
        self._findings_stale = True
        self.known: tuple[Finding, ...] = ()
        """The findings as last searched for; `findings` brings them up to date."""

    @property
    def evidence(self) -> LoomEvidence:
        """Everything seen of the loom so far."""
        scales = self._core.calibrations.values()
        bias_v = max((s.bias_v for s in scales), default=2.5)
        drain_u_v = max((s.sample_u_counts * s.drain_v_per_count for s in scales), default=0.05)
        seen = gather(self._sheet, self._outcomes, bias_v=bias_v, drain_u_v=drain_u_v)
        if self._baseline is None:
            return seen
        return seen.compared_with(self._baseline, self._core.box.identity.serial_number)

    def anew(self) -> tuple[PropertyVerdict, ...]:
        """Draw the verdicts from the outcomes as they are now."""
        self._core.box.call_in()
        self._verdicts = judge(self._core.job, self.evidence)
        self._findings_stale = True
        return self._verdicts

    def verdicts(self) -> tuple[PropertyVerdict, ...]:
        """The verdicts as last drawn."""
        return self.anew() if self._verdicts is None else self._verdicts

    def findings(self) -> tuple[Finding, ...]:
        """The faults that explain the verdicts, likeliest first. The search for them can take a second."""
        verdicts = self.verdicts()
        if self._findings_stale:
            self.known = find(self._core.job, self.evidence, verdicts)
            self._findings_stale = False
            self._core.box.call_in()
        return self.known
