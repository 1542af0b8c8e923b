"""The record as the page shows it."""

from __future__ import annotations

from dataclasses import dataclass, field

from loomproof.facts.verdict import Verdict


@dataclass(frozen=True)
class RecordLine:
    """One line of the record so far."""

    when: str
    what: str
    text: str
    verdict: Verdict | None = None


@dataclass(frozen=True)
class RecordView:
    """The record being written."""

    where: str = ""
    id: str = ""
    lines: tuple[RecordLine, ...] = field(default_factory=tuple)
