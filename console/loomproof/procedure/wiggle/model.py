"""The words of the wiggle test at will: plain data, and whoever bends the loom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from loomproof.facts.step import StepEnd


@dataclass(frozen=True, slots=True)
class Seen:
    """One dropout: when it began on the box's clock, for how long, how deep, and where the hand was."""

    channel: int
    at_s: float
    length_us: int
    depth_permille: int
    hand: str = ""

    def as_dict(self) -> dict[str, object]:
        """For the record."""
        return {
            "channel": self.channel,
            "at_s": round(self.at_s, 6),
            "length_us": self.length_us,
            "depth_permille": self.depth_permille,
            "hand": self.hand,
        }


@dataclass(frozen=True, slots=True)
class WiggleState:
    """How it stands. `watching` None: resting between slices. `spans`: (channel, from, to) already watched."""

    channels: tuple[int, ...]
    held: bool
    began_s: float
    now_s: float
    watching: int | None
    watching_since_s: float
    seen: tuple[Seen, ...]
    spans: tuple[tuple[int, float, float], ...]
    hand: str


@dataclass(frozen=True, slots=True)
class Said:
    """What the operator says: where the hand is now, where it was at dropout `number`, or that it is enough."""

    hand: str = ""
    number: int | None = None
    enough: bool = False


class Wiggler(Protocol):
    """Whoever bends the loom, as the test sees it. Called from the session's thread; must not wait."""

    def told(self, state: WiggleState, fresh: tuple[Seen, ...]) -> None:
        """Hear how it stands, with the dropouts that are new."""
        ...

    def poll(self) -> Said | None:
        """What the operator says, if anything."""
        ...


@dataclass(frozen=True, slots=True)
class WiggleResult:
    """How it ended."""

    seen: tuple[Seen, ...]
    watched_s: dict[int, float]
    end: StepEnd
    reason: str = ""
