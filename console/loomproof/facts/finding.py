"""What a finding carries."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.fault_kind import FaultKind


@dataclass(frozen=True)
class Finding:
    """One fault that explains verdicts.

    `likelihood` is the posterior probability of this fault among the explanations considered, 0..1.
    `sentence` is what the operator reads first. `cannot_tell_from` names the faults that look the same to
    this box, `together` is the probability of this fault or one of them.
    """

    fault: FaultKind
    channels: tuple[int, ...]
    cavities: tuple[str, ...]
    location: str | None
    feed: str | None
    likelihood: float
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    remedy: str
    next_measurement: str
    sentence: str
    cannot_tell_from: tuple[FaultKind, ...] = ()
    together: float = 0.0
