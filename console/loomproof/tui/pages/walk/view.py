"""Frozen snapshots of the walk page. The page knows these and nothing of sessions or boxes."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.tui.sounds import Sound
from loomproof.tui.views.engine import EngineView


class WalkStage(StrEnum):
    """What the walk waits for; `procedure.walk.model.Stage` and what comes before and after a walk."""

    IDLE = "idle"
    LEARNING = "learning"
    PULL = "pull"
    SETTLING = "settling"
    SEAT = "seat"
    PAUSED = "paused"
    DONE = "done"


@dataclass(frozen=True)
class WalkRow:
    """One place: its state's sign (shape, word, role) and what was found there."""

    id: str
    name: str
    where: str
    shape: str
    word: str
    role: str
    found: str
    asked: bool = False


@dataclass(frozen=True)
class Cue:
    """One sound, with the words that a voice says instead."""

    sound: Sound
    number: int = 0
    role: str = ""
    words: str = ""


@dataclass(frozen=True)
class WalkView:
    """The walk as the page shows it.

    Attributes:
        stage: what it waits for.
        headline: in very large letters, with its tone.
        caption: the line over it, `detail` the lines under it.
        left_s: how long a silent place is still waited for.
        moves: what mends the loom, when the walk has ended.
        pulsed: drive steps that would prove what the walk could not see.
        channels: channels that are off now.
        cues: sounds to play, once.
    """

    stage: WalkStage = WalkStage.IDLE
    order: str = "guided"
    headline: str = "Location walk"
    tone: str = "quiet"
    caption: str = "NO BOX YET"
    detail: str = "The walk begins once the box is connected."
    left_s: float | None = None
    rows: tuple[WalkRow, ...] = ()
    known: int = 0
    total: int = 0
    moves: tuple[str, ...] = ()
    blind: str = ""
    pulsed: tuple[str, ...] = ()
    asked: str | None = None
    holding: bool = False
    channels: tuple[int, ...] = ()
    engine: EngineView = field(default_factory=EngineView)
    cues: tuple[Cue, ...] = ()

    @property
    def running(self) -> bool:
        """Whether somebody walks."""
        return self.stage not in (WalkStage.IDLE, WalkStage.DONE)
