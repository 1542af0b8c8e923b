"""What a step does, and how it ended."""

from __future__ import annotations

from enum import StrEnum


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
