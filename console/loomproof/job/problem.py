"""What can be wrong with a job file, and how to put it right."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from loomproof.job.file.positions import Path


@dataclass(frozen=True)
class Problem:
    """One thing wrong: on which line, at which key, why it is wrong and how to mend it."""

    line: int | None
    key: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        """Return the problem on one line."""
        where = "" if self.line is None else f"line {self.line}: "
        return f"{where}{self.key}: {self.reason}; {self.remedy}"


@dataclass(frozen=True)
class Flaw:
    """A problem before its line is known."""

    path: Path
    reason: str
    remedy: str
    meant: Path | None = None
    """Of a misspelt key: the path it was probably to have."""


class JobError(Exception):
    """A job file is not sound. Carries every problem found, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def closest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that `name` is most likely a misspelling of."""
    folded = {candidate.casefold(): candidate for candidate in sorted(known)}
    close = difflib.get_close_matches(name.casefold(), folded, n=1)
    return folded[close[0]] if close else None


def nearest(name: str, known: Iterable[str]) -> str:
    """Return advice on a name that is not known: the nearest one, or all there are."""
    names = sorted(set(known))
    if not names:
        return "there are none yet: add it first"
    close = closest(name, names)
    if close is not None:
        return f"did you mean `{close}`?"
    return "use one of " + ", ".join(names)
