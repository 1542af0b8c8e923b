"""From a finding of the diagnosis to what the page shows. Pure."""

from __future__ import annotations

from loomproof.diagnose.faults.registry import FAULTS
from loomproof.diagnose.faults.words import likelihood_text, together_text
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
    alike = [f"looks the same to this box: {FAULTS[fault].name}" for fault in finding.cannot_tell_from]
    alike += [text] if (text := together_text(finding)) else []
    return FindingEntry(
        title=FAULTS[finding.fault].name,
        sentence=finding.sentence,
        likelihood=likelihood_text(finding.likelihood),
        where=where or "the whole loom",
        evidence=finding.evidence_for,
        against=(*finding.evidence_against, *alike),
        remedy=finding.remedy,
        next_measurement=finding.next_measurement,
    )
