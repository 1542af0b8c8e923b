"""Shapes and words for states: no state is ever shown by colour alone."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.facts.verdict import Verdict


@dataclass(frozen=True)
class Sign:
    """One state as a person sees it: a one-cell shape, a word and the name of a style role."""

    shape: str
    word: str
    role: str

    def __str__(self) -> str:
        return f"{self.shape} {self.word}"


class Live(StrEnum):
    """What a channel is doing at this moment."""

    OFF = "off"
    DRIVEN = "driven"
    SENSED = "sensed"
    TRIPPED = "tripped"
    UNKNOWN = "unknown"


class StepState(StrEnum):
    """How a step stands, where no verdict says it."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    SKIPPED = "skipped"
    BLOCKED = "blocked"
    REFUSED = "refused"
    TRIPPED = "tripped"
    STOPPED = "stopped"


VERDICT_SIGNS: dict[str, Sign] = {
    Verdict.PASS: Sign("✓", "pass", "good"),
    Verdict.FAIL: Sign("✗", "FAIL", "bad"),
    Verdict.UNSURE: Sign("?", "unsure", "doubt"),
    Verdict.NOT_TESTED: Sign("·", "not tested", "quiet"),
    Verdict.NOT_FITTED: Sign("-", "not fitted", "quiet"),
}

LIVE_SIGNS: dict[Live, Sign] = {
    Live.OFF: Sign("○", "off", "quiet"),
    Live.DRIVEN: Sign("►", "DRIVEN", "live"),
    Live.SENSED: Sign("~", "sensed", "live"),
    Live.TRIPPED: Sign("!", "TRIPPED", "bad"),
    Live.UNKNOWN: Sign("?", "unknown", "quiet"),
}

STEP_SIGNS: dict[str, Sign] = {
    StepState.WAITING: Sign("·", "to do", "quiet"),
    StepState.RUNNING: Sign("►", "running", "live"),
    StepState.SKIPPED: Sign("»", "skipped", "doubt"),
    StepState.DONE: Sign("✓", "done", "good"),
    StepState.BLOCKED: Sign("✗", "blocked", "doubt"),
    StepState.REFUSED: Sign("✗", "refused", "bad"),
    StepState.TRIPPED: Sign("!", "TRIPPED", "bad"),
    StepState.STOPPED: Sign("■", "stopped", "bad"),
}

ROLES = ("good", "bad", "doubt", "quiet", "live", "plain", "mark")
"""Every role has a component class `row--ROLE` in the application's style sheet."""


def verdict_sign(verdict: Verdict) -> Sign:
    """Return the sign of a verdict."""
    return VERDICT_SIGNS[verdict]


def step_sign(state: StepState | Verdict) -> Sign:
    """Return the sign of a step of the run sheet."""
    return (STEP_SIGNS | VERDICT_SIGNS)[state]


@dataclass(frozen=True)
class SignalWord:
    """A hazard signal word of ANSI Z535.6 (product safety information), with what it means.

    The safety alert symbol belongs to the first three and never to NOTICE (ANSI Z535.6, from memory).
    """

    word: str
    symbol: str
    meaning: str


SIGNAL_WORDS: dict[str, SignalWord] = {
    "DANGER": SignalWord("DANGER", "▲!", "will kill or seriously injure if not avoided"),
    "WARNING": SignalWord("WARNING", "▲!", "could kill or seriously injure if not avoided"),
    "CAUTION": SignalWord("CAUTION", "▲!", "could cause minor or moderate injury if not avoided"),
    "NOTICE": SignalWord("NOTICE", "", "could damage something"),
}

STOP_KEYS = "Ctrl+X or F12"
STOP_FACE = f"■ STOP: {STOP_KEYS}"
STOP_FACE_BROWSER = "■ STOP: touch or Ctrl+X"
"""In a browser F12 may open the browser's own tools, and a tablet has no keys."""
STOP_IS = f"{STOP_KEYS} switches every output off"
STOP_IS_NOT = "It is not an emergency stop. In an emergency open the box's stop switch or cut its supply."
STOP_IS_NOT_SHORT = "All off. Not an emergency stop: use the box's switch."
STOP_IS_NOT_LONG = f"Every output off. {STOP_IS_NOT}"


def about(seconds: float) -> str:
    """Return a span of time as a reader says it: `4 s`, `50 s`, `7 min`, `1 h 10 min`."""
    if seconds < 10:
        return f"{max(1, round(seconds))} s"
    if seconds < 90:
        return f"{5 * round(seconds / 5)} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {5 * round(minutes % 60 / 5)} min"
