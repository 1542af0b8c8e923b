"""How a case ends: kept, broken or not run."""

from enum import StrEnum


class Outcome(StrEnum):
    """The result of a case; the value is the word that people read."""

    KEPT = "kept"
    BROKEN = "broken"
    NOT_RUN = "not run"


class Failed(Exception):  # noqa: N818 - the name says what happened
    """The box broke the guarantee; the message says what it did."""


class NotShown(Exception):  # noqa: N818 - the name says what happened
    """The case cannot be tried on this box or with this equipment; the message says why."""
