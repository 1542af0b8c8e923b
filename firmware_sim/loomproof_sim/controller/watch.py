"""The watch: one channel is followed for a given time, and every dropout is reported."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.controller.activity import BoxParts
from loomproof_sim.controller.ports import Floats
from loomproof_sim.controller.sampler import BLOCK_NS, CURRENT, DRAIN, SUPPLY, Sampler
from loomproof_sim.plant.spec import Drive
from loomproof_wire.messages import BoxState, DriveEnded, Dropout, EndReason, Hazard

SETTLE_NS = 100_000_000
"""The first stretch of a watch, in which the undisturbed value is learned."""
NOISE_SIGMAS = 6.0
"""A dropout shallower than this many standard deviations of the settled value counts as noise."""


@dataclass(frozen=True)
class CheckedWatch:
    """A watch that passed every check.

    Attributes:
        channel: the channel that is watched.
        held: the load is switched on and its current is watched; otherwise the resting drain voltage is.
        duration_ns: length of the watch.
        sample_period_ns: time between two samples.
        depth: the fall that counts as a dropout, as a share of the settled value.
        limit_a: current limit of a held watch.
        hazards: hazard classes that must stay armed.
        pump: whether a fuel pump is driven.
    """

    channel: int
    held: bool
    duration_ns: int
    sample_period_ns: int
    depth: float
    limit_a: float
    hazards: frozenset[Hazard]
    pump: bool


class DropoutFinder:
    """Finds dropouts in the watched value, which is relative to the supply so that ripple does not count.

    Args:
        depth: the fall that counts as a dropout, as a share of the settled value.
    """

    def __init__(self, depth: float) -> None:
        self._depth = depth
        self._learned: list[Floats] = []
        self._settled = 0.0
        self._floor = -1.0
        self._since_ns: int | None = None
        self._lowest = 0.0

    def learn(self, values: Floats) -> None:
        """Take values of the settling time."""
        self._learned.append(values)

    def settle(self) -> None:
        """Set the threshold from the last half of the learned values."""
        values = np.concatenate(self._learned) if self._learned else np.zeros(1)
        tail = values[len(values) // 2 :]
        self._settled = float(np.median(tail))
        fall = max(self._depth * self._settled, NOISE_SIGMAS * float(np.std(tail)))
        self._floor = self._settled - fall

    def feed(self, times_ns: NDArray[np.int64], values: Floats) -> list[tuple[int, int, float]]:
        """Return start, end and depth of every dropout that ended within these values."""
        found = []
        below = values < self._floor
        for start, stop in _runs(below):
            if below[start]:
                if self._since_ns is None:
                    self._since_ns, self._lowest = int(times_ns[start]), np.inf
                self._lowest = min(self._lowest, float(values[start:stop].min()))
            elif self._since_ns is not None:
                found.append(self._close(int(times_ns[start])))
        return found

    def close(self, now_ns: int) -> list[tuple[int, int, float]]:
        """Return the dropout that still lasts when the watch ends."""
        return [] if self._since_ns is None else [self._close(now_ns)]

    def _close(self, end_ns: int) -> tuple[int, int, float]:
        assert self._since_ns is not None
        start_ns, self._since_ns = self._since_ns, None
        return start_ns, end_ns, 1.0 - self._lowest / self._settled


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return start and stop of every stretch of equal flags."""
    if not len(flags):
        return []
    cuts = [0, *(np.flatnonzero(np.diff(flags)) + 1).tolist(), len(flags)]
    return list(pairwise(cuts))


class WatchActivity:
    """A watch under way; also the sink of its sampler."""

    state = BoxState.SENSING

    def __init__(self, plan: CheckedWatch, parts: BoxParts, now_ns: int) -> None:
        self.channel = plan.channel
        self.hazards = plan.hazards
        self.pump = plan.pump
        self._plan = plan
        self._parts = parts
        self._start_ns = now_ns
        self._end_ns = now_ns + plan.duration_ns
        self._sampled_to_ns = now_ns
        period_ns = parts.profile.sample_period_ns
        self.decimation = max(1, round(plan.sample_period_ns / period_ns))
        self.sets_wanted = plan.duration_ns // (period_ns * self.decimation) + 1
        self._finder = DropoutFinder(plan.depth)
        self._settled = False
        self._columns: tuple[list[Floats], list[Floats], list[Floats]] = ([], [], [])
        self._times: list[NDArray[np.int64]] = []
        self._tripped = False
        self._sampler = Sampler(parts.plant, parts.profile)
        limits = {plan.channel: plan.limit_a} if plan.held else {}
        if plan.held:
            parts.outputs.set(plan.channel, Drive.ON, now_ns)
        self._sampler.start(now_ns, plan.channel, limits, self)

    def next_ns(self) -> int:
        """Return the end of the next block of samples."""
        return self._sampled_to_ns if self._tripped else min(self._end_ns, self._sampled_to_ns + BLOCK_NS)

    def put(self, times_ns: NDArray[np.int64], phases: NDArray[np.int64], values: Floats) -> None:
        """Take samples from the sampler."""
        for phase in (CURRENT, SUPPLY, DRAIN):
            self._columns[phase].append(values[phases == phase])
        self._times.append(times_ns[phases == CURRENT])

    def run(self, now_ns: int) -> bool:
        """Take the samples that are due; return True when the watch is over."""
        self.catch_up(now_ns)
        if self._tripped or now_ns >= self._end_ns:
            self.end(EndReason.TRIPPED if self._tripped else EndReason.COMPLETE, now_ns)
            return True
        return False

    def catch_up(self, now_ns: int) -> None:
        """Sample up to `now_ns` and report the dropouts."""
        over = None if self._tripped else self._sampler.advance(now_ns)
        if over is not None:
            self._parts.trip(over.channel, over.current_a, over.time_ns)
            self._tripped = True
        self._sampled_to_ns = now_ns
        self._find_dropouts()

    def end(self, reason: EndReason, now_ns: int) -> None:
        """Switch the output off at `now_ns`; a dropout that still lasts is reported."""
        self.catch_up(now_ns)
        self._parts.outputs.all_off(now_ns)
        if self._plan.held:
            self._parts.rest.owe(self.channel, now_ns - self._start_ns, self._start_ns, now_ns)
        if self._settled and not self._tripped:
            self._report(self._finder.close(now_ns))
        reason = EndReason.TRIPPED if self._tripped else reason
        self._parts.outbox.event(DriveEnded(self.channel, 0, reason))

    def _find_dropouts(self) -> None:
        times, ratio = self._take()
        if not self._settled:
            learning = times < self._start_ns + SETTLE_NS
            self._finder.learn(ratio[learning])
            times, ratio = times[~learning], ratio[~learning]
            if len(times):
                self._finder.settle()
                self._settled = True
        if len(times):
            self._report(self._finder.feed(times, ratio))

    def _take(self) -> tuple[NDArray[np.int64], Floats]:
        """Return the complete sample sets so far as times and watched value over supply; keep the rest."""
        columns = [np.concatenate(parts) if parts else np.empty(0) for parts in self._columns]
        times = np.concatenate(self._times) if self._times else np.empty(0, dtype=np.int64)
        complete = min(len(column) for column in columns)
        for parts, column in zip(self._columns, columns, strict=True):
            parts[:] = [column[complete:]]
        self._times[:] = [times[complete:]]
        current, supply, drain = (column[:complete] for column in columns)
        readback = self._parts.readback
        counts = readback.counts(self.channel, current, supply, drain)
        supply_v = counts[:, 2] * (readback.supply_uv_per_count * 1e-6)
        if self._plan.held:
            value = readback.current_a(self.channel, counts)
        else:
            # A load holds its pin away from the bias, at the supply or at ground; a break lets it go there.
            drain_v = counts[:, 3].astype(np.float64) * (readback.drain_uv_per_count * 1e-6)
            value = np.abs(drain_v - self._parts.profile.bias_v)
        return times[:complete], np.asarray(value / np.maximum(supply_v, 1.0), dtype=np.float64)

    def _report(self, dropouts: list[tuple[int, int, float]]) -> None:
        for start_ns, end_ns, depth in dropouts:
            self._parts.outbox.event(
                Dropout(
                    self.channel,
                    (start_ns - self._start_ns) // 1000,
                    min(0xFFFFFFFF, (end_ns - start_ns) // 1000),
                    min(1000, max(0, round(depth * 1000))),
                )
            )
