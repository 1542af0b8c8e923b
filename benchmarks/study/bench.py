"""One loom on one box without run sheet and wire: plant and read-back straight into evidence."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from benchmarks.study.jobs import LOGIC
from benchmarks.study.parts import Ripple, Truth
from numpy.typing import NDArray

from loomproof.diagnose import ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.diagnose.evidence import PullOutcome
from loomproof.job.kinds import LoadKind
from loomproof.job.model import Job
from loomproof.measure import (
    Calibration,
    Signature,
    Trace,
    cold_filament,
    measure,
    plan_pulse,
    trace_from_counts,
)
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, Drive, WoundSpec
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_sim.senses import acted

Floats = NDArray[np.float64]
MISHEARD = 0.01
"""How often the operator is mistaken about what was heard or seen."""
FLEX_S, WATCH_HZ, DEPTH = 3.0, 5000, 0.3
"""As the run sheet's wiggle test."""
LOST_SHARE = 0.35


@dataclass
class StudyBench:
    """`evidence()` is what a complete run sheet would gather; `noise` and `gain` make the hardware worse than it says."""

    job: Job
    truth: Truth
    board: BoardProfile
    rng: np.random.Generator
    wired: dict[int, int]
    noise: float = 1.0
    gain: float = 1.0
    now: float = 0.01
    plant: Plant = field(init=False)
    readback: Readback = field(init=False)

    def __post_init__(self) -> None:
        seed = int(self.rng.integers(1 << 31))
        self.plant = Plant(self.truth.loom, seed=seed)
        worse = replace(
            self.board,
            noise_counts=self.board.noise_counts * self.noise,
            gain_u_relative=self.board.gain_u_relative * self.gain,
        )
        self.readback = Readback(worse, seed)

    def calibration(self, channel: int) -> Calibration:
        scale, board = self.readback.scale(channel), self.board
        return Calibration(
            fine_a_per_count=scale.fine_na_per_count * 1e-9,
            fine_offset_counts=scale.fine_offset_x100 / 100,
            wide_a_per_count=scale.wide_na_per_count * 1e-9,
            wide_offset_counts=scale.wide_offset_x100 / 100,
            supply_v_per_count=self.readback.supply_uv_per_count * 1e-6,
            drain_v_per_count=self.readback.drain_uv_per_count * 1e-6,
            adc_bits=board.adc_bits,
            gain_u_relative=board.gain_u_relative,
            noise_counts=board.noise_counts,
            bias_v=board.bias_v,
            bias_ohm=board.bias_ohm,
            clamp_v=board.clamp_v,
        )

    # -- pulses --------------------------------------------------------------------------------------------------

    def pulse(self, channel: int, on_s: float, period_s: float, samples: int, limit_a: float) -> Trace:
        """One pulse and its trace; over-current switches it off at the sample that sees it."""
        board, start = self.board, self.now
        first = board.first_sample_ns * 1e-9
        times = first + period_s * np.arange(samples)
        self.plant.switch(channel, Drive.ON, start)
        every = first + board.sample_period_ns * 1e-9 * np.arange(
            int(on_s / board.sample_period_ns * 1e9) + 1
        )
        over = np.flatnonzero(self.plant.sample_many(channel, start + every[every < on_s])[0] > limit_a)
        tripped = over.size > 0
        off = float(every[over[0]]) if tripped else on_s
        self.plant.switch(channel, Drive.OFF, start + off)
        amps, volts, pins = self._sampled(channel, times, off)
        counts = self.readback.counts(channel, amps, volts, pins)
        self.now = start + max(on_s, float(times[-1])) + 0.25
        return trace_from_counts(
            *counts.T,
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
        """Current, supply and pin at their own instants, the ripple on top."""
        board, start = self.board, self.now
        late_v, late_pin = times + board.supply_skew_ns * 1e-9, times + board.drain_skew_ns * 1e-9
        amps = self.plant.sample_many(channel, start + times)[0]
        volts = self.plant.sample_many(channel, start + late_v)[2]
        pin_amps, pins, _ = self.plant.sample_many(channel, start + late_pin)
        ripple = self.truth.ripple
        if not ripple.amplitude_v or self.job.load_type(channel).kind in LOGIC:
            return amps, volts, pins
        supply = float(np.median(volts))
        more = self._ripple_a(channel, times, off_s, amps, supply)
        pin_more = self._ripple_a(channel, late_pin, off_s, pin_amps, supply)
        on = late_pin < off_s
        follows = ~on & (pins > 0.5 * supply) & (pins < 1.3 * supply)
        drop = np.divide(pins, pin_amps, out=np.zeros_like(pins), where=np.abs(pin_amps) > 1e-3)
        flowing = ~on & (np.abs(pin_amps) < 1e-3) & (pin_more > 2e-3)  # its decay ends a little later
        pins = pins + np.where(on, pin_more * drop, 0.0) + follows * _wave(ripple, start + late_pin)
        pins = np.where(flowing, self.truth.loom.driver(channel).clamp_v, pins)
        return amps + more, volts + _wave(ripple, start + late_v), pins

    def _ripple_a(self, channel: int, times: Floats, off_s: float, amps: Floats, supply_v: float) -> Floats:
        """Current that the ripple adds, to first order: a sound winding by its own R and L, all else in proportion."""
        ripple, on = self.truth.ripple, times < off_s
        branch = self.truth.loom.branch(channel)
        wave = _wave(ripple, self.now + times)
        if not _plain(branch) or np.abs(amps).max(initial=0.0) < 0.02:
            return np.where(on, amps * wave / supply_v, 0.0)
        load = branch.load
        assert isinstance(load, WoundSpec)
        heat = 1.0 + load.temperature_coefficient_per_k * (self.truth.temperature_c - 20.0)
        ohm = load.resistance_ohm * heat + branch.wire_ohm + branch.series_ohm + 0.1
        omega = 2.0 * np.pi * ripple.frequency_hz
        size = ripple.amplitude_v / np.hypot(ohm, omega * load.inductance_h)
        phase = omega * self.now + ripple.phase - np.arctan2(omega * load.inductance_h, ohm)

        def driven(t: Floats) -> Floats:
            steady = np.sin(omega * t + phase) - np.sin(phase) * np.exp(-t * ohm / load.inductance_h)
            out: Floats = size * steady
            return out

        rest = np.zeros_like(amps)
        if load.suppression.kind == "none":
            rest = self._ripple_left(
                times, off_s, amps, float(driven(np.array([off_s]))[0]), load.inductance_h
            )
        return np.where(on, driven(times), rest)

    def _ripple_left(
        self, times: Floats, off_s: float, amps: Floats, left_a: float, inductance_h: float
    ) -> Floats:
        """What is left of it while the clamp takes the current down: the decay ends earlier or later by so much."""
        slope = (self.board.clamp_v - self.truth.loom.supply.emf_v) / inductance_h
        falling = (times >= off_s) & (amps > 1e-3)
        end_s = float(times[falling][-1]) if falling.any() else off_s
        after = np.maximum(0.0, left_a - slope * np.maximum(times - end_s, 0.0)) if left_a > 0.0 else 0.0
        return np.where(falling, np.maximum(left_a, -amps), after)

    def traces(self, channel: int) -> list[Trace]:
        """The load's own measuring pulses."""
        load, period = self.job.load_type(channel), self.board.sample_period_ns * 1e-9
        plan = plan_pulse(load, self.job.wire_ohm(channel), self.truth.loom.supply.emf_v, period, 600)
        out: list[Trace] = []
        for _ in range(plan.count):
            trace = self.pulse(
                channel,
                plan.on_time_us * 1e-6,
                period * plan.decimation,
                plan.samples,
                load.limits.max_current_a,
            )
            out.append(trace)
            if trace.tripped:
                break
        return out

    # -- at rest -------------------------------------------------------------------------------------------------

    def rest(self, channel: int) -> tuple[float, float]:
        """Pin and supply at rest, as read."""
        sample = self.plant.sample(channel, self.now)
        one = np.ones(1)
        row = self.readback.counts(channel, 0.0 * one, sample.supply_v * one, sample.drain_v * one)[0]
        scales = self.calibration(channel)
        return float(row[3]) * scales.drain_v_per_count, float(row[2]) * scales.supply_v_per_count

    def dropouts(self, channel: int, settled_v: float) -> tuple[int, bool]:
        """Breaks seen while the loom is flexed, and whether the pin lets itself be watched at all."""
        bias = self.board.bias_v
        if abs(settled_v - bias) < 0.5:
            return 0, False
        self.plant.flex(channel, self.now, FLEX_S)
        times = self.now + np.arange(int(FLEX_S * WATCH_HZ)) / WATCH_HZ
        self.now += FLEX_S + 0.1
        if self.truth.loom.branch(channel).intermittent is None:
            return 0, True  # nothing breaks there, and the noise of the pin is far from its threshold
        pins = self.plant.sample_many(channel, times)[1]
        below = np.abs(pins - bias) < (1.0 - DEPTH) * abs(settled_v - bias)
        return int(np.count_nonzero(np.diff(below.astype(np.int8)) == 1)), True

    def pull(self, channel: int, before: dict[int, float]) -> PullResult:
        """Pull the connector that the job puts on this channel; see whose pin goes to its bias."""
        really = self.wired[channel]
        self.plant.pull(really, self.now)
        self.now += 0.1
        after = {c: self.rest(c)[0] for c in before}
        self.plant.seat(really, self.now)
        self.now += 0.2
        bias = self.board.bias_v
        lost = tuple(
            c
            for c, was in before.items()
            if abs(was - bias) > 0.5 and (after[c] - bias) / (was - bias) < LOST_SHARE
        )
        return PullResult(channel, lost, _outcome(channel, lost))

    # -- evidence ------------------------------------------------------------------------------------------------

    def evidence(self) -> LoomEvidence:
        """Everything, in the order of the run sheet."""
        numbers = [c.channel for c in self.job.channels if c.fitted]
        rest = {c: self.rest(c)[0] for c in numbers}
        _, supply = self.rest(numbers[0])
        sensed = {c: self._sensed(c, rest[c]) for c in numbers}
        driven = {c: self._driven(c, sensed[c]) for c in numbers}
        pulled = {c: self.pull(c, rest) for c in numbers}
        channels = {}
        for c in numbers:
            breaks, watched = self.dropouts(c, rest[c])
            channels[c] = replace(
                driven[c], pull=pulled[c], dropouts=breaks, watched=watched, unwatchable=not watched
            )
        u_v = self.calibration(numbers[0]).sample_u_counts * self.readback.drain_uv_per_count * 1e-6
        return LoomEvidence(channels=channels, supply_rest_v=supply, bias_v=self.board.bias_v, drain_u_v=u_v)

    def _sensed(self, channel: int, rest_v: float) -> ChannelEvidence:
        load, period = self.job.load_type(channel), self.board.sample_period_ns * 1e-9
        longest = load.limits.max_sense_us * 1e-6
        if longest < 10e-6:
            return ChannelEvidence(channel, resting_drain_v=rest_v)
        trace = self.pulse(channel, longest, period, 41 + int(longest / period), 20.0)
        on = trace.on
        current = float(trace.current_a[on][-1]) if on.any() else None
        signature = measure([trace], load)
        if load.kind is LoadKind.LAMP:
            signature = signature.but(resistance_ohm=cold_filament(trace))
        return ChannelEvidence(
            channel,
            resting_drain_v=rest_v,
            sense=signature,
            sense_current_a=current,
            sense_current_u_a=float(trace.current_u_a[on][-1]) if current is not None else None,
            sense_on_time_s=float(trace.time_s[on][-1]) if current is not None else None,
            tripped=trace.tripped,
        )

    def _driven(self, channel: int, own: ChannelEvidence) -> ChannelEvidence:
        load = self.job.load_type(channel)
        traces = self.traces(channel)
        signature = measure(traces, load)
        return replace(
            own,
            signature=signature,
            noticed=self._noticed(channel, signature),
            tripped=own.tripped or any(t.tripped for t in traces),
        )

    def _noticed(self, channel: int, signature: Signature) -> Noticed:
        """Hands and ears are where the job puts the load; now and then they are mistaken."""
        there = acted(self.plant, self.wired[channel]) and self.wired[channel] == channel
        if signature.tripped:
            there = False
        if self.rng.random() < MISHEARD:
            there = not there
        return Noticed.HEARD if there else Noticed.NOTHING


def _wave(ripple: Ripple, times: Floats) -> Floats:
    wave: Floats = ripple.amplitude_v * np.sin(2.0 * np.pi * ripple.frequency_hz * times + ripple.phase)
    return wave


def _plain(branch: BranchSpec) -> bool:
    """A sound winding between feed and pin."""
    load = branch.load
    paths = (branch.to_ground_ohm, branch.to_supply_ohm, branch.across_load_ohm)
    return (
        isinstance(load, WoundSpec) and not load.shorted_fraction and not branch.open and paths == (None,) * 3
    )


def _outcome(channel: int, lost: tuple[int, ...]) -> PullOutcome:
    if channel in lost:
        return "matched" if len(lost) == 1 else "several"
    if not lost:
        return "none"
    return "other" if len(lost) == 1 else "several"
