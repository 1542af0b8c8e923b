"""One step of the run sheet as the page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepKind
from loomproof.facts.verdict import Verdict
from loomproof.tui.views.prompt import CautionView
from loomproof.tui.words import StepState


@dataclass(frozen=True)
class StepView:
    """One step of the run sheet."""

    id: str
    number: int
    kind: StepKind
    title: str
    what: str
    state: StepState | Verdict = StepState.WAITING
    channel: int | None = None
    hazard: HazardClass = HazardClass.NONE
    drive: str = ""
    cautions: tuple[CautionView, ...] = ()
    outcome: str = ""
    """What came of it, in a sentence or two; empty: it has not ended yet."""
    nothing_more: bool = False
    """`outcome` says no more than the sign of its state."""
    skipped_because: str = ""
    attempts: int = 0
    short: str = ""
    """The title for the list; empty: the title itself."""
    busy_s: float | None = None
    """How long the box is busy in it, about; None: it waits for hands, or nobody knows."""
