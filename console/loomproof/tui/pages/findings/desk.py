"""From a finding of the diagnosis to what the page shows. Pure."""

from __future__ import annotations

from loomproof.diagnose.faults.words import NAMES as FAULT_NAMES
from loomproof.diagnose.faults.words import likelihood_text
from loomproof.facts.finding import Finding
from loomproof.tui.pages.findings.view import FindingEntry


def finding_view(finding: Finding) -> FindingEntry:
    """Return one finding."""
    parts = [" and ".join(finding.cavities) if len(finding.cavities) < 3 else ", ".join(finding.cavities)]
    if finding.location and len(finding.channels) == 1:
        parts.append(finding.location)
    if finding.feed:
        parts.append(f"feed {finding.feed}")
    where = ", ".join(part for part in parts if part)
    alike = tuple(f"looks the same to this box: {FAULT_NAMES[fault]}" for fault in finding.cannot_tell_from)
    return FindingEntry(
        title=FAULT_NAMES[finding.fault],
        sentence=finding.sentence,
        likelihood=likelihood_text(finding.likelihood),
        where=where or "the whole loom",
        evidence=finding.evidence_for,
        against=finding.evidence_against + alike,
        remedy=finding.remedy,
        next_measurement=finding.next_measurement,
    )
