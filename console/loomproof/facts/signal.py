"""Signal words of ANSI Z535.4 and their colours."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class Signal(StrEnum):
    """Signal words of ANSI Z535.4, the gravest first."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


SIGNAL_COLOURS: Mapping[Signal, str] = {
    Signal.DANGER: "#C00000",
    Signal.WARNING: "#F28B24",
    Signal.CAUTION: "#F0E442",
    Signal.NOTICE: "#0B4F80",
}
"""Safety red, orange, yellow and blue of ANSI Z535.1 (the shades: judgement of this project, unchecked). One of each,
in the terminal, in dialogs and in the report."""
