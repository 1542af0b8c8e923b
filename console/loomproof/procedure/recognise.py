"""Which channels lost their load, and which got it back: recognition of a pulled connector (pure).

A load of a switched-off channel holds the pin at one of the rails; without its load the pin rests where
the box's bias puts it. Where the pin tells nothing, the current at the end of a sense pulse does: it falls
to nothing. The template is learned from scans with everything seated, so no value of a load is assumed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

MIN_DRAIN_SPAN_V = 0.5
"""A pin that rests nearer to the bias than this shows no load by its voltage."""
SPAN_SIGMAS = 6.0
"""Both measures must stand this far above their noise to be used."""
LOST_SHARE = 0.35
BACK_SHARE = 0.65
"""Part of the template at which a load counts as lost, and as back; in between nothing changes."""
CONFIRMING_SCANS = 2


@dataclass(frozen=True, slots=True)
class ChannelScan:
    """One channel in one scan. `drain_u_v` and `current_u_a` are the noise of one reading."""

    drain_v: float
    bias_v: float
    drain_u_v: float
    current_a: float | None = None
    current_u_a: float = 0.0


Scan = Mapping[int, ChannelScan]


@dataclass(frozen=True, slots=True)
class Template:
    """What a channel with its load looks like: its signed span from the bias, and its sense current."""

    span_v: float | None
    current_a: float | None

    @property
    def usable(self) -> bool:
        """Whether losing the load can be seen at all."""
        return self.span_v is not None or self.current_a is not None

    def share(self, scan: ChannelScan) -> float:
        """How much of the template is there: about 1 with the load, about 0 without."""
        if self.span_v is not None:
            return (scan.drain_v - scan.bias_v) / self.span_v
        if self.current_a is not None and scan.current_a is not None:
            return scan.current_a / self.current_a
        return 1.0


def learn(scans: Iterable[Scan]) -> dict[int, Template]:
    """Templates from scans with every connector seated; means of their readings."""
    found: dict[int, Template] = {}
    every = list(scans)
    for channel in every[0] if every else ():
        rows = [scan[channel] for scan in every]
        span = float(np.mean([row.drain_v - row.bias_v for row in rows]))
        enough = max(MIN_DRAIN_SPAN_V, SPAN_SIGMAS * rows[0].drain_u_v)
        currents = [row.current_a for row in rows if row.current_a is not None]
        current = float(np.mean(currents)) if currents else 0.0
        floor = SPAN_SIGMAS * rows[0].current_u_a
        found[channel] = Template(
            span_v=span if abs(span) > enough else None,
            current_a=current if currents and current > floor > 0.0 else None,
        )
    return found


@dataclass
class PullWatch:
    """Follows one pull check, scan by scan.

    `lost` are the channels without their load now; `ever_lost` those that lost it since the watch began;
    `back` those that lost it and have it again.
    """

    templates: Mapping[int, Template]
    lost: frozenset[int] = frozenset()
    ever_lost: frozenset[int] = frozenset()
    _runs: dict[int, int] = field(default_factory=dict)

    @property
    def back(self) -> frozenset[int]:
        """Channels that lost their load and have it again."""
        return self.ever_lost - self.lost

    @property
    def settled(self) -> bool:
        """Whether no channel is between two states."""
        return not any(self._runs.values())

    def feed(self, scan: Scan) -> frozenset[int]:
        """Take in one scan and return the channels whose state changed with it."""
        changed = {
            c for c, t in self.templates.items() if t.usable and c in scan and self._step(c, t, scan[c])
        }
        self.lost = self.lost ^ frozenset(changed)
        self.ever_lost = self.ever_lost | self.lost
        return frozenset(changed)

    def _step(self, channel: int, template: Template, scan: ChannelScan) -> bool:
        share = template.share(scan)
        turning = share > BACK_SHARE if channel in self.lost else share < LOST_SHARE
        run = self._runs.get(channel, 0) + 1 if turning else 0
        self._runs[channel] = 0 if run >= CONFIRMING_SCANS else run
        return run >= CONFIRMING_SCANS
