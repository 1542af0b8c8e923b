"""Traces: captured during a pulse, kept until newer ones displace them, read in chunks."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.controller.limits import RefuseError
from loomproof_sim.controller.ports import Floats
from loomproof_sim.controller.sampler import CURRENT, DRAIN, SUPPLY
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import CEILINGS, Refusal, TraceChunk, TraceReady


@dataclass
class PulseCapture:
    """The trace of one pulse while it is taken; a sink of the sampler.

    Attributes:
        channel: the channel whose current is traced.
        pulse_index: 0 is the first pulse of the train.
        decimation: every n-th sample set is kept.
        sets_wanted: number of sample sets to keep.
        on_ns: time of the switch-on edge.
        off_ns: time of the switch-off edge; None before it.
        tripped: whether over-current cut the pulse short.
    """

    channel: int
    pulse_index: int
    decimation: int
    sets_wanted: int
    on_ns: int
    off_ns: int | None = None
    tripped: bool = False
    _parts: tuple[list[Floats], list[Floats], list[Floats]] = field(default_factory=lambda: ([], [], []))

    def put(self, times_ns: NDArray[np.int64], phases: NDArray[np.int64], values: Floats) -> None:
        """Take samples in order of time."""
        del times_ns  # known from the sampler's clock
        for phase in (CURRENT, SUPPLY, DRAIN):
            self._parts[phase].append(values[phases == phase])

    def columns(self) -> tuple[Floats, Floats, Floats]:
        """Return current, supply and drain of the complete sample sets."""
        joined = [np.concatenate(parts) if parts else np.empty(0) for parts in self._parts]
        complete = min(len(part) for part in joined)
        return joined[CURRENT][:complete], joined[SUPPLY][:complete], joined[DRAIN][:complete]


@dataclass
class _Held:
    counts: NDArray[np.uint16]
    read: bool = False


class TraceStore:
    """The box's trace memory.

    Args:
        profile: gives the number of traces and the timing.
        readback: turns samples into counts.
        announce: called with the header of each new trace.
    """

    def __init__(
        self, profile: BoardProfile, readback: Readback, announce: Callable[[TraceReady], None]
    ) -> None:
        self._profile = profile
        self._readback = readback
        self._announce = announce
        self._held: dict[int, _Held] = {}
        self._last_id = 0
        self.overruns = 0

    def finish(self, capture: PulseCapture, now_ns: int) -> None:
        """Keep a capture and announce it; the oldest trace makes room and counts as an overrun if it was never read."""
        profile = self._profile
        current, supply, drain = capture.columns()
        counts = self._readback.counts(capture.channel, current, supply, drain)
        if len(self._held) >= profile.trace_slots:
            oldest = self._held.pop(next(iter(self._held)))
            self.overruns += not oldest.read
        self._last_id = self._last_id % 0xFFFF + 1
        self._held[self._last_id] = _Held(counts)
        off_ns = now_ns if capture.off_ns is None else capture.off_ns
        period_ns = profile.sample_period_ns * capture.decimation
        last_ns = capture.on_ns + profile.first_sample_ns + (len(counts) - 1) * period_ns
        self._announce(
            TraceReady(
                trace_id=self._last_id,
                channel=capture.channel,
                pulse_index=capture.pulse_index,
                sample_count=len(counts),
                sample_period_ns=period_ns,
                on_time_us=round((off_ns - capture.on_ns) / 1000),
                first_sample_ns=profile.first_sample_ns,
                supply_skew_ns=profile.supply_skew_ns,
                drain_skew_ns=profile.drain_skew_ns,
                truncated=int(off_ns > last_ns),
                tripped=int(capture.tripped),
            )
        )

    def chunk(self, trace_id: int, first_sample: int) -> TraceChunk:
        """Return a chunk of a kept trace, or refuse."""
        held = self._held.get(trace_id)
        if held is None:
            raise RefuseError(Refusal.NO_TRACE, trace_id)
        if first_sample >= max(1, len(held.counts)):
            raise RefuseError(Refusal.OUT_OF_RANGE, 1)
        part = held.counts[first_sample : first_sample + CEILINGS.samples_per_chunk]
        held.read |= first_sample + len(part) >= len(held.counts)
        return TraceChunk(trace_id, first_sample, part.astype("<u2").tobytes())

    @property
    def free(self) -> int:
        """The number of traces that fit before an unread one is displaced."""
        return self._profile.trace_slots - sum(not held.read for held in self._held.values())
