"""The size of a fault against what is due."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.definition import Hypothesis
from loomproof.diagnose.observed.features import Features


def plain(value: float) -> str:
    """Two digits, without a power of ten: `310`, `0.042`."""
    return f"{float(f'{value:.2g}'):g}"


def more_ohm(ohm: float, where: str) -> str:
    """How much was added; nothing where the measured excess is no resistance at all."""
    return f"+{plain(ohm)} ohm {where}" if ohm > 0.0 else ""


def reference(channel: int, expected: Expectations) -> LimitBand | None:
    """What a channel's resistance is compared with: an earlier record, else its sisters, else the catalogue."""
    for bands in (expected.baseline, expected.sisters, expected.resistance):
        if channel in bands:
            return bands[channel]
    return None


def measured_and_due(fault: Hypothesis, features: Mapping[int, Features], expected: Expectations) -> str:
    """`2.4 ohm where 14 ohm is due`."""
    channel = fault.channels[0]
    ohm, due = features[channel].resistance, reference(channel, expected)
    return (
        f"{ohm.value:.3g} ohm where {due.middle:.3g} ohm is due"
        if ohm is not None and due is not None
        else ""
    )
