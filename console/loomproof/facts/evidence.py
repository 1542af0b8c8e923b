"""What was seen of one loom: the input of every verdict and finding."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Literal

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import Signature

PullOutcome = Literal["matched", "other", "several", "none", "skipped"]


class Noticed(StrEnum):
    """What the operator noticed while a load was driven."""

    HEARD = "heard"
    SEEN = "seen"
    NOTHING = "nothing"
    NOT_ASKED = "not asked"


@dataclass(frozen=True)
class PullResult:
    """One pull check: the connector of `expected_channel` was pulled and these channels lost their load."""

    expected_channel: int
    moved_channels: tuple[int, ...]
    outcome: PullOutcome


@dataclass(frozen=True)
class Baseline:
    """What an earlier record of the same loom measured on the channels that passed then.

    `record_id` and `when` name it for the reader of the verdicts; `box_serial` is that of its instrument.
    """

    record_id: str
    when: str
    box_serial: str
    signatures: Mapping[int, Signature] = field(default_factory=dict)


@dataclass(frozen=True)
class ChannelEvidence:
    """Everything seen on one channel.

    `resting_drain_v` is the drain with every output off; `sense` the signature of a sense pulse;
    `signature` that of the load's own pulse; `baseline` that of an earlier record of the same loom, known
    good. `watched`: its contact was watched while the loom was flexed; `unwatchable`: it was to be, but its
    pin shows no load at rest.
    """

    channel: int
    resting_drain_v: float | None = None
    sense: Signature | None = None
    signature: Signature | None = None
    noticed: Noticed = Noticed.NOT_ASKED
    pull: PullResult | None = None
    tripped: bool = False
    dropouts: int = 0
    watched: bool = False
    unwatchable: bool = False
    sense_current_a: float | None = None
    sense_current_u_a: float | None = None
    sense_on_time_s: float | None = None
    baseline: Signature | None = None


@dataclass(frozen=True)
class LoomEvidence:
    """Everything seen of one loom.

    `supply_loaded_v` maps a driven channel to the lowest supply voltage during its pulse. `temperature_c`
    is the operator's reading of the loom's temperature with its uncertainty, where there is one. `baseline_same_box`:
    the channels' baselines were measured with this very box, so that the errors of its scales cancel.
    """

    channels: Mapping[int, ChannelEvidence] = field(default_factory=dict)
    supply_rest_v: float | None = None
    supply_loaded_v: Mapping[int, float] = field(default_factory=dict)
    temperature_c: Estimate | None = None
    bias_v: float = 2.5
    drain_u_v: float = 0.05
    baseline_same_box: bool = False

    def compared_with(self, earlier: Baseline, box_serial: str) -> LoomEvidence:
        """This evidence with an earlier record to compare it with, measured now with that box."""
        known = {
            c: replace(own, baseline=earlier.signatures[c])
            for c, own in self.channels.items()
            if c in earlier.signatures
        }
        same = bool(box_serial) and box_serial == earlier.box_serial
        return replace(self, channels={**self.channels, **known}, baseline_same_box=same)

    def of(self, channel: int) -> ChannelEvidence:
        """A channel's evidence; empty when nothing was seen."""
        return self.channels.get(channel, ChannelEvidence(channel))
