"""A bench without a wire: the simulated plant, a board's read-back, and hands, straight into evidence."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from loomproof.diagnose import ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.job.kinds import LoadKind
from loomproof.job.loading import load_job
from loomproof.job.model import Job
from loomproof.measure import Calibration, measure, plan_pulse, trace_from_counts
from loomproof_sim.fault_text import parse_fault
from loomproof_sim.faulty import put_fault
from loomproof_sim.hands import connector_map
from loomproof_sim.loom import Draw, sound_loom
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import Drive, SupplySpec
from loomproof_sim.profiles import REFERENCE, BoardProfile
from loomproof_sim.readback import Readback

EXAMPLES = Path(__file__).parents[2] / "examples"
LOGIC = (LoadKind.IGNITER_COIL, LoadKind.LOGIC_INPUT)


@dataclass
class Bench:
    """One loom on one box; `evidence()` is what a complete run sheet would gather."""

    job: Job
    faults: tuple[str, ...] = ()
    seed: int = 0
    spread: float = 0.6
    supply_v: float = 13.5
    temperature_c: float | None = None
    profile: BoardProfile = REFERENCE
    listening: bool = True
    now: float = 0.01
    plant: Plant = field(init=False)
    readback: Readback = field(init=False)

    def __post_init__(self):
        draw = Draw(self.seed, self.spread)
        heat = self.job.ambient_c if self.temperature_c is None else self.temperature_c
        loom = sound_loom(self.job, draw, self.profile, SupplySpec(self.supply_v, 0.03), heat)
        texts = [parse_fault(f, self.job) for f in self.faults]
        for text in texts:
            loom = put_fault(loom, text, self.job, draw)
        self.wired = connector_map(self.job, texts)
        self.plant = Plant(loom, seed=self.seed)
        self.readback = Readback(self.profile, self.seed)

    def calibration(self, channel: int) -> Calibration:
        scale, board = self.readback.scale(channel), self.profile
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

    def pulse(self, channel: int, on_s: float, period_s: float, samples: int, limit_a: float):
        """One pulse and its trace; over-current switches it off at the sample that sees it."""
        board, start = self.profile, self.now
        times = board.first_sample_ns * 1e-9 + period_s * np.arange(samples)
        self.plant.switch(channel, Drive.ON, start)
        every = board.first_sample_ns * 1e-9 + board.sample_period_ns * 1e-9 * np.arange(
            int(on_s / board.sample_period_ns * 1e9) + 1
        )
        over = np.flatnonzero(self.plant.sample_many(channel, start + every[every < on_s])[0] > limit_a)
        tripped = over.size > 0
        off = float(every[over[0]]) if tripped else on_s
        self.plant.switch(channel, Drive.OFF, start + off)
        amps, _, _ = self.plant.sample_many(channel, start + times)
        _, _, volts = self.plant.sample_many(channel, start + times + board.supply_skew_ns * 1e-9)
        _, pins, _ = self.plant.sample_many(channel, start + times + board.drain_skew_ns * 1e-9)
        counts = self.readback.counts(channel, amps, volts, pins)
        self.now = (
            start
            + max(on_s, float(times[-1]))
            + (30.0 if self.job.load_type(channel).kind is LoadKind.LAMP else 0.25)  # a filament cools slowly
        )
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

    def traces(self, channel: int):
        load = self.job.load_type(channel)
        period = self.profile.sample_period_ns * 1e-9
        plan = plan_pulse(load, self.job.wire_ohm(channel), self.supply_v, period, 600)
        out = []
        for _ in range(plan.count):
            out.append(
                self.pulse(
                    channel,
                    plan.on_time_us * 1e-6,
                    period * plan.decimation,
                    plan.samples,
                    load.limits.max_current_a,
                )
            )
            if out[-1].tripped:
                break
        return out

    def rest(self, channel: int) -> tuple[float, float]:
        """Pin and supply at rest, as read."""
        sample = self.plant.sample(channel, self.now)
        one = np.array([1.0])
        row = self.readback.counts(channel, 0.0 * one, sample.supply_v * one, sample.drain_v * one)[0]
        scales = self.calibration(channel)
        return row[3] * scales.drain_v_per_count, row[2] * scales.supply_v_per_count

    def channel_evidence(self, channel: int) -> ChannelEvidence:
        load = self.job.load_type(channel)
        rest, _ = self.rest(channel)
        sense = None
        if load.limits.max_sense_us:
            count = int(load.limits.max_sense_us * 1e3 / self.profile.sample_period_ns) + 20
            sense = self.pulse(
                channel, load.limits.max_sense_us * 1e-6, self.profile.sample_period_ns * 1e-9, count, 20.0
            )
        if self.job.channel(channel).partner is not None:
            # A half-bridge pair is driven as a pair; nothing of it is measured on one pin.
            return ChannelEvidence(channel, resting_drain_v=rest, noticed=Noticed.HEARD)
        traces = self.traces(channel)
        acted = self.plant.moved(channel)
        signature = measure(traces, load)
        return ChannelEvidence(
            channel,
            resting_drain_v=rest,
            sense=measure([sense], load) if sense is not None else None,
            signature=signature,
            noticed=self.noticed(channel, load, signature, acted),
            tripped=any(t.tripped for t in traces) or (sense is not None and sense.tripped),
            pull=self.pull(channel),
        )

    def noticed(self, channel, load, signature, acted):
        if not self.listening:
            return Noticed.NOT_ASKED
        final = signature.final_current_a
        flows = final is not None and final.value > 5 * final.u and not signature.tripped
        if load.moves or load.kind is LoadKind.MOTOR:
            return Noticed.HEARD if acted else Noticed.NOTHING
        if load.kind in LOGIC:
            flows = final is not None and final.value > 1e-3
        return Noticed.SEEN if flows else Noticed.NOTHING

    def pull(self, channel: int) -> PullResult:
        """Pull the connector that the job puts on this channel; see whose pin moves."""
        numbers = [c.channel for c in self.job.channels if c.fitted]
        before = {c: self.rest(c)[0] for c in numbers}
        really = self.wired[channel]
        self.plant.pull(really, self.now)
        self.now += 0.1
        after = {c: self.rest(c)[0] for c in numbers}
        self.plant.seat(really, self.now)
        self.now += 0.2
        lost = tuple(
            c
            for c in numbers
            if abs(before[c] - 2.5) > 0.6 and abs(after[c] - 2.5) < 0.4 * abs(before[c] - 2.5)
        )
        if self.job.load_type(channel).kind in LOGIC:
            return PullResult(channel, (), "skipped")
        if channel in lost:
            return PullResult(channel, lost, "matched" if len(lost) == 1 else "several")
        return PullResult(channel, lost, ("none", "other")[len(lost)] if len(lost) < 2 else "several")

    def evidence(self) -> LoomEvidence:
        numbers = [c.channel for c in self.job.channels if c.fitted]
        _, supply = self.rest(numbers[0])
        return LoomEvidence(
            channels={c: self.channel_evidence(c) for c in numbers},
            supply_rest_v=supply,
            drain_u_v=0.05,
        )


@dataclass(frozen=True)
class Benches:
    """What tests get: the jobs and the bench."""

    jobs: dict[str, Job]

    def __call__(self, job: str, *faults: str, **keywords) -> Bench:
        return Bench(self.jobs[job], faults, **keywords)

    def with_job(self, job: Job, *faults: str, **keywords) -> Bench:
        return Bench(job, faults, **keywords)

    def change(self, evidence: LoomEvidence, channel: int, **changes) -> LoomEvidence:
        new = dict(evidence.channels)
        new[channel] = replace(new[channel], **changes)
        return replace(evidence, channels=new)


@pytest.fixture(scope="session")
def bench() -> Benches:
    names = ("inline-five-turbo", "boat-four-wasted-spark", "bench-relays-lamps-stepper", "classroom-vee-six")
    return Benches({name.split("-")[0]: load_job(EXAMPLES / f"{name}.toml") for name in names})
