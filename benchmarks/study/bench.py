"""One loom on one box without run sheet and wire: plant and read-back straight into evidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.study.jobs import LOGIC
from benchmarks.study.parts import Ripple, Truth
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import Signature
from loomproof.job.model import Job
from loomproof.measure.settle.filament import cold_filament
from loomproof.measure.signature import measure
from loomproof.procedure.steps.pull_verdict import judge_pull
from loomproof_sim.hands.senses import acted
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, WoundSpec
from loomproof_sim.profiles import BoardProfile
from testbed.bareboard import BareBoard

Floats = NDArray[np.float64]
MISHEARD = 0.01
"""How often the operator is mistaken about what was heard or seen."""
FLEX_S, WATCH_HZ, DEPTH = 3.0, 5000, 0.3
"""As the run sheet's wiggle test."""
LOST_SHARE = 0.35


class StudyBench(BareBoard):
    """`evidence()` is what a complete run sheet would gather; `noise` and `gain` make the hardware worse than it says."""

    def __init__(
        self,
        job: Job,
        truth: Truth,
        board: BoardProfile,
        rng: np.random.Generator,
        wired: dict[int, int],
        noise: float = 1.0,
        gain: float = 1.0,
    ) -> None:
        self.job, self.truth, self.rng, self.wired = job, truth, rng, wired
        seed = int(rng.integers(1 << 31))
        super().__init__(Plant(truth.loom, seed=seed), board, seed, noise=noise, gain=gain)

    # -- pulses --------------------------------------------------------------------------------------------------

    def _sampled(self, channel: int, times: Floats, off_s: float) -> tuple[Floats, Floats, Floats]:
        """Current, supply and pin at their own instants, the ripple on top."""
        amps, volts, pins = super()._sampled(channel, times, off_s)
        ripple = self.truth.ripple
        if not ripple.amplitude_v or self.job.load_type(channel).kind in LOGIC:
            return amps, volts, pins
        board, start = self.board, self.now_s
        late_v, late_pin = times + board.supply_skew_ns * 1e-9, times + board.drain_skew_ns * 1e-9
        pin_amps = self.plant.sample_many(channel, start + late_pin)[0]
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
        wave = _wave(ripple, self.now_s + times)
        if not _plain(branch) or np.abs(amps).max(initial=0.0) < 0.02:
            return np.where(on, amps * wave / supply_v, 0.0)
        load = branch.load
        assert isinstance(load, WoundSpec)
        heat = 1.0 + load.temperature_coefficient_per_k * (self.truth.temperature_c - 20.0)
        ohm = load.resistance_ohm * heat + branch.wire_ohm + branch.series_ohm + 0.1
        omega = 2.0 * np.pi * ripple.frequency_hz
        size = ripple.amplitude_v / np.hypot(ohm, omega * load.inductance_h)
        phase = omega * self.now_s + ripple.phase - np.arctan2(omega * load.inductance_h, ohm)

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

    # -- at rest -------------------------------------------------------------------------------------------------

    def dropouts(self, channel: int, settled_v: float) -> tuple[int, bool]:
        """Breaks seen while the loom is flexed, and whether the pin lets itself be watched at all."""
        bias = self.board.bias_v
        if abs(settled_v - bias) < 0.5:
            return 0, False
        self.plant.flex(channel, self.now_s, FLEX_S)
        times = self.now_s + np.arange(int(FLEX_S * WATCH_HZ)) / WATCH_HZ
        self.now_s += FLEX_S + 0.1
        if self.truth.loom.branch(channel).intermittent is None:
            return 0, True  # nothing breaks there, and the noise of the pin is far from its threshold
        pins = self.plant.sample_many(channel, times)[1]
        below = np.abs(pins - bias) < (1.0 - DEPTH) * abs(settled_v - bias)
        return int(np.count_nonzero(np.diff(below.astype(np.int8)) == 1)), True

    def pull(self, channel: int, before: dict[int, float]) -> PullResult:
        """Pull the connector that the job puts on this channel; see whose pin goes to its bias."""
        really = self.wired[channel]
        self.plant.pull(really, self.now_s)
        self.now_s += 0.1
        after = {c: self.rest(c)[0] for c in before}
        self.plant.seat(really, self.now_s)
        self.now_s += 0.2
        bias = self.board.bias_v
        lost = tuple(
            c
            for c, was in before.items()
            if abs(was - bias) > 0.5 and (after[c] - bias) / (was - bias) < LOST_SHARE
        )
        return PullResult(channel, lost, judge_pull(channel, (channel,), lost))

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
        traces = self.measuring_pulses(
            channel, load, self.job.wire_ohm(channel), self.truth.loom.supply.emf_v
        )
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
