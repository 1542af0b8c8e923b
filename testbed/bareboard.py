"""A plant behind a board's read-back, with neither controller nor wire between: pulses straight into traces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.trace import Calibration, Trace
from loomproof.job.catalogue import LoadType
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.measure.trace.from_counts import trace_from_counts
from loomproof.procedure.conversion import calibration_of
from loomproof_sim.controller.info import channel_info
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import CEILINGS, ChannelKind

Floats = NDArray[np.float64]
PAUSE_S = 0.25
"""From the end of a pulse to the next."""


class BareBoard:
    """One plant and what a board reads of it.

    Args:
        plant: loom, loads and supply.
        board: what the board says of itself.
        seed: of the read-back's errors and noise.
        noise: how many times noisier the read-back is than the board says.
        gain: how many times further off its scales are than the board says.

    Attributes:
        now_s: the plant's time, at which the next pulse begins.
    """

    def __init__(
        self, plant: Plant, board: BoardProfile, seed: int, *, noise: float = 1.0, gain: float = 1.0
    ) -> None:
        self.plant = plant
        self.board = board
        real = replace(
            board, noise_counts=board.noise_counts * noise, gain_u_relative=board.gain_u_relative * gain
        )
        self.readback = Readback(real, seed)
        self.now_s = 0.01

    def calibration(self, channel: int) -> Calibration:
        """The scales as the board states them."""
        info = channel_info(channel, ChannelKind.LOW_SIDE, self.board, self.readback)
        return calibration_of(info, self.board.adc_bits)

    def pulse(
        self,
        channel: int,
        on_s: float,
        period_s: float,
        samples: int,
        limit_a: float,
        *,
        pause_s: float = PAUSE_S,
    ) -> Trace:
        """One pulse and its trace; over-current switches it off at the sample that sees it."""
        board, start = self.board, self.now_s
        first, step = board.first_sample_ns * 1e-9, board.sample_period_ns * 1e-9
        times = first + period_s * np.arange(samples, dtype=np.float64)
        self.plant.switch(channel, Drive.ON, start)
        every = first + step * np.arange(int(on_s / step) + 1, dtype=np.float64)
        over = np.flatnonzero(self.plant.sample_many(channel, start + every[every < on_s])[0] > limit_a)
        tripped = over.size > 0
        off = float(every[over[0]]) if tripped else on_s
        self.plant.switch(channel, Drive.OFF, start + off)
        fine, wide, supply, drain = self.readback.counts(channel, *self._sampled(channel, times, off)).T
        self.now_s = start + max(on_s, float(times[-1])) + pause_s
        return trace_from_counts(
            fine,
            wide,
            supply,
            drain,
            self.calibration(channel),
            channel=channel,
            sample_period_s=period_s,
            first_sample_s=float(times[0]),
            supply_skew_s=board.supply_skew_ns * 1e-9,
            drain_skew_s=board.drain_skew_ns * 1e-9,
            on_time_s=off,
            truncated=bool(times[-1] < off),
            tripped=tripped,
        )

    def _sampled(self, channel: int, times: Floats, off_s: float) -> tuple[Floats, Floats, Floats]:
        """Current, supply and pin at their own instants, in s from now; `off_s` is when the pulse ended."""
        del off_s
        at, board = self.now_s + times, self.board
        amps, _, _ = self.plant.sample_many(channel, at)
        _, _, volts = self.plant.sample_many(channel, at + board.supply_skew_ns * 1e-9)
        _, pins, _ = self.plant.sample_many(channel, at + board.drain_skew_ns * 1e-9)
        return amps, volts, pins

    def measuring_pulses(
        self, channel: int, load: LoadType, wire_ohm: float, supply_v: float, pause_s: float = PAUSE_S
    ) -> list[Trace]:
        """The pulses that the console plans for this load, until one trips."""
        period_s = self.board.sample_period_ns * 1e-9
        plan = plan_pulse(load, wire_ohm, supply_v, period_s, CEILINGS.max_trace_samples)
        on_s, limit_a = plan.on_time_us * 1e-6, load.limits.max_current_a
        traces: list[Trace] = []
        while len(traces) < plan.count and not any(trace.tripped for trace in traces):
            traces.append(
                self.pulse(channel, on_s, period_s * plan.decimation, plan.samples, limit_a, pause_s=pause_s)
            )
        return traces

    def rest(self, channel: int) -> tuple[float, float]:
        """Pin and supply at rest, as read, in V."""
        sample = self.plant.sample(channel, self.now_s)
        one = np.ones(1)
        row = self.readback.counts(channel, 0.0 * one, sample.supply_v * one, sample.drain_v * one)[0]
        scales = self.calibration(channel)
        return float(row[3]) * scales.drain_v_per_count, float(row[2]) * scales.supply_v_per_count
