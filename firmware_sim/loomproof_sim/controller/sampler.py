"""Sample sets on a fixed clock from a switch-on edge, taken in blocks; finds the first sample over its limit."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.controller.ports import NEVER_NS, Floats, PlantPort
from loomproof_sim.profiles import BoardProfile

CURRENT, SUPPLY, DRAIN = range(3)
"""Phases of a sample set, in order of time."""
BLOCK_NS = 20_000_000
"""Longest stretch sampled at once, and so the latest that a trip is reported after it happened."""


class Sink(Protocol):
    """Receives samples for a trace or a watch.

    Attributes:
        decimation: every n-th sample set is kept.
        sets_wanted: number of kept sets.
    """

    decimation: int
    sets_wanted: int

    def put(self, times_ns: NDArray[np.int64], phases: NDArray[np.int64], values: Floats) -> None:
        """Take samples in order of time; `phases` names the quantity of each value."""


@dataclass(frozen=True)
class Over:
    """The first sample over the limit."""

    channel: int
    time_ns: int
    current_a: float


class Sampler:
    """The converter, which follows one channel at a time.

    Args:
        plant: the loom that is sampled.
        profile: gives the period and the skews.
    """

    def __init__(self, plant: PlantPort, profile: BoardProfile) -> None:
        self._plant = plant
        self._period_ns = profile.sample_period_ns
        self._first_ns = profile.first_sample_ns
        self._offsets_ns = np.array([0, profile.supply_skew_ns, profile.drain_skew_ns], dtype=np.int64)
        self.channel = 0
        self.limits_a: dict[int, float] = {}
        self.sink: Sink | None = None
        self._anchor_ns = 0
        self._next = (0, CURRENT)

    def start(self, anchor_ns: int, channel: int, limits_a: dict[int, float], sink: Sink | None) -> None:
        """Restart the sample clock at an edge.

        Args:
            anchor_ns: time of the edge.
            channel: the channel whose samples the sink gets.
            limits_a: current limit of each supervised channel; empty = no supervision.
            sink: takes the samples; None = supervise only.
        """
        self._anchor_ns = anchor_ns
        self.channel = channel
        self.limits_a = limits_a
        self.sink = sink
        self._next = (0, CURRENT)

    def set_time_ns(self, index: int) -> int:
        """Return the time of the current sample of a set."""
        return self._anchor_ns + self._first_ns + index * self._period_ns

    def last_ns(self) -> int:
        """Return the time just after the last sample that the sink wants; NEVER_NS without a sink."""
        if self.sink is None:
            return NEVER_NS
        last = (self.sink.sets_wanted - 1) * self.sink.decimation
        return self.set_time_ns(last) + int(self._offsets_ns[DRAIN]) + 1

    def advance(self, until_ns: int) -> Over | None:
        """Take every sample before `until_ns`; stop at the first sample over a limit and return it."""
        while self.set_time_ns(self._next[0]) < until_ns:
            stop_ns = min(until_ns, self.set_time_ns(self._next[0]) + BLOCK_NS)
            over = self._block(stop_ns)
            if over is not None:
                return over
            if stop_ns == until_ns:
                break
        return None

    def _instants(self, until_ns: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return times and phases of the samples from the cursor up to `until_ns`, and move the cursor."""
        index, phase = self._next
        end = max(index + 1, -((self.set_time_ns(0) - until_ns) // self._period_ns))
        indices = np.arange(index, end, dtype=np.int64)
        times = self.set_time_ns(0) + indices[:, None] * self._period_ns + self._offsets_ns[None, :]
        due = times < until_ns
        due[0, :phase] = False
        self._next = self._cursor(indices, times, until_ns)
        due &= self._wanted(indices)
        phases = np.broadcast_to(np.arange(3), times.shape)
        return times[due], phases[due]

    @staticmethod
    def _cursor(indices: NDArray[np.int64], times: NDArray[np.int64], until_ns: int) -> tuple[int, int]:
        left = int(np.count_nonzero(times[-1] < until_ns))
        return (int(indices[-1]) + 1, CURRENT) if left == 3 else (int(indices[-1]), left)

    def _wanted(self, indices: NDArray[np.int64]) -> NDArray[np.bool_]:
        wanted = np.zeros((len(indices), 3), dtype=np.bool_)
        if self.sink is not None:
            kept = (indices % self.sink.decimation == 0) & (
                indices < self.sink.sets_wanted * self.sink.decimation
            )
            wanted[kept] = True
        if self.limits_a:
            wanted[:, CURRENT] = True
        return wanted

    def _block(self, until_ns: int) -> Over | None:
        times_ns, phases = self._instants(until_ns)
        if not len(times_ns):
            return None
        values = self._plant.sample_many(self.channel, times_ns / 1e9)
        over_index, over = len(times_ns), None
        for channel, limit_a in self.limits_a.items():
            currents = values[0]
            if channel != self.channel:
                currents = self._plant.sample_many(channel, times_ns / 1e9)[0]
            over_index, over = self._first_over(
                channel, limit_a, times_ns, phases, currents, over_index, over
            )
        if over is not None:
            self._next = self._after(over)
        seen = slice(over_index + 1)
        self._deliver(times_ns[seen], phases[seen], (values[0][seen], values[1][seen], values[2][seen]))
        return over

    @staticmethod
    def _first_over(  # noqa: PLR0917
        channel: int,
        limit_a: float,
        times_ns: NDArray[np.int64],
        phases: NDArray[np.int64],
        currents: Floats,
        index: int,
        over: Over | None,
    ) -> tuple[int, Over | None]:
        """Return the earlier of what was found so far and this channel's first sample over its limit."""
        hits = np.flatnonzero((phases == CURRENT) & (np.abs(currents) > limit_a))
        if len(hits) and hits[0] < index:
            first = int(hits[0])
            return first, Over(channel, int(times_ns[first]), float(abs(currents[first])))
        return index, over

    def _after(self, over: Over) -> tuple[int, int]:
        index = (over.time_ns - self.set_time_ns(0)) // self._period_ns
        return (index, SUPPLY)

    def _deliver(
        self, times_ns: NDArray[np.int64], phases: NDArray[np.int64], values: tuple[Floats, Floats, Floats]
    ) -> None:
        if self.sink is None:
            return
        kept = self._wanted_flat(times_ns, phases)
        current, drain, supply = values
        picked = np.select([phases == CURRENT, phases == SUPPLY], [current, supply], drain)
        self.sink.put(times_ns[kept], phases[kept], picked[kept])

    def _wanted_flat(self, times_ns: NDArray[np.int64], phases: NDArray[np.int64]) -> NDArray[np.bool_]:
        assert self.sink is not None
        indices = (times_ns - self._offsets_ns[phases] - self.set_time_ns(0)) // self._period_ns
        kept: NDArray[np.bool_] = (indices % self.sink.decimation == 0) & (
            indices < self.sink.sets_wanted * self.sink.decimation
        )
        return kept
