"""A plant behind a board's read-back, with neither controller nor wire between: pulses straight into traces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loomproof.box.drive_outcome import RawTrace
from loomproof.facts.presence import ScanReading
from loomproof.facts.trace import Calibration, Trace
from loomproof.job.catalogue import LoadType
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.procedure.conversion import calibration_of, trace_of
from loomproof_sim.controller.info import channel_info
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import DRAIN, SUPPLY, Readback
from loomproof_wire.messages import CEILINGS, ChannelInfo, ChannelKind, TraceReady

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

    def info(self, channel: int, kind: ChannelKind = ChannelKind.LOW_SIDE) -> ChannelInfo:
        """What the board says of a channel."""
        return channel_info(channel, kind, self.board, self.readback)

    def calibration(self, channel: int) -> Calibration:
        """The scales as the board states them."""
        return calibration_of(self.info(channel), self.board.adc_bits)

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
        """One pulse and its trace; over-current switches it off at the sample that sees it.

        Args:
            channel: to be switched.
            on_s: how long.
            period_s: from one sample set to the next.
            samples: sample sets from the first on.
            limit_a: over-current.
            pause_s: from the end of pulse and trace to the next pulse.
        """
        raw = self.counted_pulse(channel, on_s, period_s, samples, limit_a)
        self.now_s += pause_s
        return trace_of(raw, self.calibration(channel))

    def counted_pulse(
        self,
        channel: int,
        on_s: float,
        period_s: float,
        samples: int,
        limit_a: float,
        *,
        pulse_index: int = 0,
    ) -> RawTrace:
        """The same in counts, as a box hands it over; time goes on to the end of pulse and trace.

        Args:
            channel: to be switched.
            on_s: how long.
            period_s: from one sample set to the next.
            samples: sample sets from the first on.
            limit_a: over-current.
            pulse_index: of its train.
        """
        board, start = self.board, self.now_s
        times = board.first_sample_ns * 1e-9 + period_s * np.arange(samples, dtype=np.float64)
        off_s, tripped = self.switched_pulse(channel, on_s, limit_a)
        fine, wide, supply, drain = self.readback.counts(channel, *self._sampled(channel, times, off_s)).T
        self.now_s = start + max(on_s, float(times[-1]))
        header = TraceReady(
            trace_id=1,
            channel=channel,
            pulse_index=pulse_index,
            sample_count=samples,
            sample_period_ns=round(period_s * 1e9),
            on_time_us=round(off_s * 1e6),
            first_sample_ns=board.first_sample_ns,
            supply_skew_ns=board.supply_skew_ns,
            drain_skew_ns=board.drain_skew_ns,
            truncated=int(times[-1] < off_s),
            tripped=int(tripped),
        )
        return RawTrace(header, fine, wide, supply, drain)

    def switched_pulse(self, channel: int, on_s: float, limit_a: float) -> tuple[float, bool]:
        """Switch a channel on and off again from now on; after how long it went off, and whether it tripped."""
        start, step = self.now_s, self.board.sample_period_ns * 1e-9
        self.plant.switch(channel, Drive.ON, start)
        every = self.board.first_sample_ns * 1e-9 + step * np.arange(int(on_s / step) + 1, dtype=np.float64)
        over = np.flatnonzero(self.plant.sample_many(channel, start + every[every < on_s])[0] > limit_a)
        off_s = float(every[over[0]]) if over.size else on_s
        self.plant.switch(channel, Drive.OFF, start + off_s)
        return off_s, bool(over.size)

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
        supply, drain = self.rest_counts(channel)
        scales = self.calibration(channel)
        return drain * scales.drain_v_per_count, supply * scales.supply_v_per_count

    def reading(self, channel: int) -> ScanReading:
        """The same of the pin, as a scan without sense pulses gives it."""
        _, drain = self.rest_counts(channel)
        scales = self.calibration(channel)
        u_v = scales.sample_u_counts * scales.drain_v_per_count
        return ScanReading(drain * scales.drain_v_per_count, scales.bias_v, u_v)

    def rest_counts(self, channel: int) -> tuple[int, int]:
        """Supply and pin at rest, in counts."""
        sample = self.plant.sample(channel, self.now_s)
        row = self.readback.counts(
            channel, np.zeros(1), np.array([sample.supply_v]), np.array([sample.drain_v])
        )[0]
        return int(row[SUPPLY]), int(row[DRAIN])
