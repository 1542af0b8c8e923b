"""The scan: resting drain voltages, then one sense pulse per channel, one channel at a time."""

from collections.abc import Callable, Iterator

import numpy as np

from loomproof_sim.controller.activity import BoxParts
from loomproof_sim.controller.sampler import Sampler
from loomproof_sim.plant.spec import Drive
from loomproof_sim.readback import DRAIN, FINE, SUPPLY, WIDE
from loomproof_wire.messages import BoxState, EndReason, Hazard, ScanResult

SLOT_NS = 1_000_000
"""Time from one sense pulse to the next, in which the first load's current decays."""
NOTE_NS = 1_000
"""The last sample of a sense pulse is taken this long before its end."""


def read_rest(parts: BoxParts, channel: int, now_ns: int) -> tuple[int, int]:
    """Return supply and drain counts of an undriven channel."""
    drain_v = parts.plant.resting_drain_v(channel, now_ns / 1e9)
    supply_v = parts.plant.sample(channel, now_ns / 1e9).supply_v
    counts = parts.readback.counts(channel, np.zeros(1), np.array([supply_v]), np.array([drain_v]))
    return int(counts[0, SUPPLY]), int(counts[0, DRAIN])


class ScanActivity:
    """A scan under way.

    Args:
        mask: channels as bits; bit 0 is channel 1, and channels that the box lacks are left out.
        on_time_us: the on-time in the request.
        widths_us: sense pulse of each channel; 0 or absent = none.
        parts: the parts of the box.
        now_ns: start of the scan.
        answer: called with the result, or with None when the scan was broken off.
    """

    state = BoxState.SENSING
    hazards: frozenset[Hazard] = frozenset()
    pump = False

    def __init__(  # noqa: PLR0917
        self,
        mask: int,
        on_time_us: int,
        widths_us: dict[int, int],
        parts: BoxParts,
        now_ns: int,
        answer: Callable[[ScanResult | None], None],
    ) -> None:
        self._parts = parts
        self._answer = answer
        self._mask = mask
        self._on_time_us = on_time_us
        self._widths_us = widths_us
        self._sensed = 0
        self._supply = 0
        self._counts = np.zeros((3, 16), dtype=np.int64)
        self._sampler = Sampler(parts.plant, parts.profile)
        self._on = False
        self.channel = 0
        self._steps = self._walk(now_ns)
        self._next_ns = now_ns

    def next_ns(self) -> int:
        """Return when the next step is due."""
        return self._next_ns

    def run(self, now_ns: int) -> bool:
        """Take every step that is due; return True when the result was sent."""
        while self._next_ns <= now_ns:
            due = next(self._steps, None)
            if due is None:
                self._answer(self._result())
                return True
            self._next_ns = due
        return False

    def catch_up(self, now_ns: int) -> None:
        """Supervise the pulse under way."""
        if self._on:
            over = self._sampler.advance(now_ns)
            if over is not None:
                self._note(over.channel, over.time_ns)
                self._parts.trip(over.channel, over.current_a, over.time_ns)
                self._on = False

    def end(self, reason: EndReason, now_ns: int) -> None:
        """Break off without a result, since a channel that was not reached would look like an open one."""
        del reason
        self.catch_up(now_ns)
        self._parts.outputs.all_off(now_ns)
        self._answer(None)

    def _walk(self, now_ns: int) -> Iterator[int]:
        for channel in sorted(self._widths_us):
            self._supply, self._counts[0, channel - 1] = read_rest(self._parts, channel, now_ns)
            width_us = self._widths_us[channel]
            if width_us == 0 or channel in self._parts.tripped:
                continue
            self.channel = channel
            self._on = True
            self._sensed |= 1 << (channel - 1)
            self._parts.outputs.set(channel, Drive.ON, now_ns)
            off_ns = now_ns + width_us * 1000
            self._start_sampling(channel, now_ns, off_ns)
            yield off_ns
            self.catch_up(off_ns)
            if self._on:
                self._note(channel, off_ns - NOTE_NS)
                self._parts.outputs.set(channel, Drive.OFF, off_ns)
                self._on = False
            now_ns += SLOT_NS
            yield now_ns

    def _start_sampling(self, channel: int, on_ns: int, off_ns: int) -> None:
        """Begin the samples so late that the last of them is the one before the end."""
        profile = self._parts.profile
        room_ns = max(0, off_ns - NOTE_NS - on_ns - profile.first_sample_ns)
        wait_ns = room_ns % profile.sample_period_ns
        self._sampler.start(on_ns + wait_ns, channel, {channel: self._parts.limit_a(channel)}, None)

    def _note(self, channel: int, time_ns: int) -> None:
        sample = self._parts.plant.sample(channel, time_ns / 1e9)
        counts = self._parts.readback.counts(
            channel, np.array([sample.current_a]), np.array([sample.supply_v]), np.array([sample.drain_v])
        )
        self._counts[1, channel - 1], self._counts[2, channel - 1] = counts[0, FINE], counts[0, WIDE]

    def _result(self) -> ScanResult:
        drain, fine, wide = (tuple(int(count) for count in row) for row in self._counts)
        return ScanResult(self._mask, self._sensed, self._on_time_us, self._supply, drain, fine, wide)
