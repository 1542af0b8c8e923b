"""Verdicts, findings and the channel-to-location map (pure)."""

from loomproof.diagnose.evidence import Baseline, ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.diagnose.find import find
from loomproof.diagnose.findings import Finding
from loomproof.diagnose.judge import judge
from loomproof.diagnose.verdicts import Property, PropertyVerdict, Verdict, channel_verdict
from loomproof.diagnose.words import NAMES as FAULT_NAMES
from loomproof.diagnose.words import likelihood_text

__all__ = [
    "FAULT_NAMES",
    "Baseline",
    "ChannelEvidence",
    "Finding",
    "LoomEvidence",
    "Noticed",
    "Property",
    "PropertyVerdict",
    "PullResult",
    "Verdict",
    "channel_verdict",
    "find",
    "judge",
    "likelihood_text",
]
