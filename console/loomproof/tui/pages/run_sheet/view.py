"""One step of the run sheet as the page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.tui.views.prompt import CautionView


@dataclass(frozen=True)
class StepView:
    """One step of the run sheet."""

    id: str
    number: int
    kind: str
    title: str
    what: str
    state: str = "waiting"
    channel: int | None = None
    hazard: str = "none"
    drive: str = ""
    cautions: tuple[CautionView, ...] = ()
    outcome: str = ""
    attempts: int = 0
    short: str = ""
    """The title for the list; empty: the title itself."""
    busy_s: float | None = None
    """How long the box is busy in it, about; None: it waits for hands, or nobody knows."""
