"""One verdict per channel and property, each against limits that name their source."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from loomproof.diagnose.case import Case, against
from loomproof.diagnose.expect import expect
from loomproof.diagnose.features import features_of
from loomproof.diagnose.rules_action import judge_action, judge_contact, judge_location
from loomproof.diagnose.rules_electrical import (
    judge_continuity,
    judge_feed,
    judge_inductance,
    judge_inrush,
    judge_resistance,
    judge_suppression,
)
from loomproof.diagnose.verdicts import Property, PropertyVerdict, Verdict

if TYPE_CHECKING:
    from loomproof.diagnose.evidence import LoomEvidence
    from loomproof.job.model import Job

_RULES: tuple[Callable[[Case], PropertyVerdict | None], ...] = (
    judge_continuity,
    judge_resistance,
    judge_inductance,
    judge_action,
    judge_suppression,
    judge_inrush,
    judge_feed,
    judge_location,
    judge_contact,
)


def judge(job: Job, evidence: LoomEvidence) -> tuple[PropertyVerdict, ...]:
    """All verdicts of a loom, in channel order; a channel that is not fitted gets `not fitted` only."""
    expected = expect(job, evidence)
    verdicts: list[PropertyVerdict] = []
    for item in sorted(job.channels, key=lambda c: c.channel):
        number = item.channel
        if not item.fitted:
            reason = "the job says that this load is not fitted"
            verdicts.append(PropertyVerdict(number, Property.CONTINUITY, Verdict.NOT_FITTED, reason=reason))
            continue
        case = Case(
            number,
            job.load_type(number),
            evidence.of(number),
            features_of(job, evidence, expected, number),
            expected,
        )
        for rule in _RULES:
            verdict = rule(case)
            if verdict is not None:
                verdicts.append(verdict)
    return tuple(verdicts)


__all__ = ["against", "judge"]
