"""What the command line of `loomproof prove` said, and its exit codes."""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from pathlib import Path


class Code(IntEnum):
    """Exit codes."""

    PASSED = 0
    FAULTS = 1
    USAGE = 2
    LINK = 3
    STOPPED = 4


class Who(StrEnum):
    """Who answers the prompts."""

    SIMULATED = "simulated"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line said."""

    who: Who
    out: Path | None = None
    hands: str | None = None
    name: str = ""
    resume: str | None = None
    walk: bool = False
    baseline: str | None = None
